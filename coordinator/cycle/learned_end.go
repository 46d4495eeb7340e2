package cycle

import "time"

// due says what has come to pass by now without a reading: silence, and the end
// of a lull that has lasted long enough.
func (l *Learned) due(now time.Time) []Event {
	m := &l.mem
	if m.ReadAt.IsZero() {
		return l.events
	}
	if m.Running && m.Lull.Active && l.over(now) {
		l.finish(now)
	}
	if m.Running && !m.Stalled && !m.Silent && !now.Before(m.StallAt) {
		m.Stalled = true
		l.say(Event{Kind: Stalled, At: now, Start: m.Start})
	}
	if !m.Silent && now.Sub(m.HeardAt) >= l.s.SilentAfter {
		m.Silent = true
		l.say(Event{Kind: Silent, At: now, Start: m.ReadAt})
	}
	return l.events
}

// over reports whether the lull has lasted long enough to be the end.
func (l *Learned) over(now time.Time) bool {
	d := l.lasted(now)
	return !l.mem.High && d >= max(pauseLeast, l.mem.NeedLeast) && d >= l.needs()
}

// lasted is how long the lull has lasted by now, as far as the meter was heard.
func (l *Learned) lasted(now time.Time) time.Duration {
	m := &l.mem
	// The meter's clock may be late: what has passed since it was heard is told by
	// the clock here, and what passed before by the meter's.
	more := m.ReadAt.Sub(m.LastAt) + now.Sub(m.HeardAt)
	return m.Lull.lasted() + max(0, min(more, m.cadence(m.High).hold(l.s.SilentAfter)))
}

// needs is how long the lull must last to be the end.
func (l *Learned) needs() time.Duration {
	m := &l.mem
	if m.Lull.Need == 0 || m.Lull.FloorAsked != m.Lull.FloorW {
		l.follow()
		m.Lull.Need = m.Pauses.need(l.s.Doubt, m.Lull.At, l.habit(), m.Rests.favours(m.Lull.FloorW))
		m.Lull.FloorAsked = m.Lull.FloorW
		m.NeedLeast = l.needsAtLeast()
	}
	return m.Lull.Need
}

// needsAtLeast is what no lull of this cycle is over before, as far as its pauses
// are known now: most are shorter, and nothing else need be reckoned for them.
func (l *Learned) needsAtLeast() time.Duration {
	return l.mem.Pauses.need(l.s.Doubt, place{Near: 1}, l.habit(), 1.0/restMost) * 3 / 4
}

// habit is what the pauses of such a machine are like as its meter shows them.
func (l *Learned) habit() habit {
	h := habitOf(l.s)
	h.cadence = l.mem.Meter[1].Usual
	return h
}

// Next implements Engine.
func (l *Learned) Next() time.Time {
	m := &l.mem
	if m.ReadAt.IsZero() || m.Silent {
		return time.Time{}
	}
	next := m.HeardAt.Add(l.s.SilentAfter)
	if m.Running && m.Lull.Active && !m.High {
		wait := max(pauseLeast, m.NeedLeast, m.Lull.Need) - m.Lull.lasted()
		if wait <= m.cadence(m.High).hold(l.s.SilentAfter) {
			next = earlier(next, m.HeardAt.Add(max(wait, 0)-m.ReadAt.Sub(m.LastAt)))
		}
	}
	if m.Running && !m.Stalled {
		next = earlier(next, m.StallAt)
	}
	return next
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

const (
	// A cycle has stalled when it takes this much longer than any before it.
	stallSlackLearned = 30 * time.Minute
	// stallUnknown is when it has where none is known: a washer-dryer's longest
	// programme takes 6 to 7 hours (common practice, no source).
	stallUnknown = 7 * time.Hour
)

// stalls is when the running cycle will have gone on for far too long.
func (l *Learned) stalls() time.Time {
	var longest time.Duration
	for _, r := range l.mem.Past.Runs {
		longest = max(longest, r.Length)
	}
	if longest == 0 {
		return l.mem.Start.Add(stallUnknown)
	}
	return l.mem.Start.Add(longest + longest/2 + stallSlackLearned)
}

// finish ends the cycle with the work before the lull.
func (l *Learned) finish(now time.Time) {
	m := &l.mem
	end, wh := m.Lull.From, m.Lull.Wh
	if l.tooLittle(end, wh) {
		l.withdraw(now)
		return
	}
	k := Finished
	if l.cutShort(end) {
		k = StoppedEarly
	}
	l.close(k, now, end, wh)
}

const (
	// What is shorter than this and takes less than that is no load's cycle.
	cycleLeast   = 18 * time.Minute
	cycleLeastWh = 40
)

func (l *Learned) tooLittle(end time.Time, wh float64) bool {
	m := &l.mem
	return end.Sub(m.Start) < cycleLeast && wh-m.StartWh < cycleLeastWh
}

// withdraw takes back a start.
func (l *Learned) withdraw(now time.Time) {
	m := &l.mem
	l.follow()
	m.Running, m.Stalled = false, false
	m.Lull, m.Onset = lull{}, onset{}
	m.Phases.Now, m.Phases.Since = NoPhase, now
	l.say(Event{Kind: Withdrawn, At: now, Start: m.Start})
}

// cutShort reports whether a cycle that is over did not complete its programme:
// it ended out of a heat, which no programme does, or without the last spin or
// the cool-down that this machine's programmes end with.
func (l *Learned) cutShort(end time.Time) bool {
	m := &l.mem
	p := &m.Phases
	after := end.Sub(p.StrongUntil)
	if l.cutsHeat(end) {
		return true
	}
	if m.Endings.N < 3 {
		return false
	}
	if m.Endings.None == 0 && l.s.Washer && !l.s.Dryer && !p.Spun {
		return true
	}
	return p.Strong != NoPhase && after+time.Minute < m.Endings.soonest()/2
}

// close ends the cycle and learns from it.
func (l *Learned) close(k Kind, now, end time.Time, wh float64) {
	m := &l.mem
	l.follow()
	m.Running, m.Stalled = false, false
	// A register that was exchanged may have gone back.
	m.End, m.CycleWh = end, max(0, wh-m.StartWh)
	l.say(Event{Kind: k, At: now, Start: m.Start, End: end, EnergyWh: m.CycleWh, PeakW: m.PeakW})
	l.learn(end, k != Finished)
	m.Closed, m.ClosedW, m.RestW = m.Lull.At, m.Lull.FloorW, m.Lull.FloorW
	m.Lull = lull{}
	m.Onset = onset{}
	m.AfterGlow = 0
	m.Levels.Idle.scale(forget)
	m.Phases.Now, m.Phases.Since = After, end
}

// learn keeps what a whole cycle has shown.
func (l *Learned) learn(end time.Time, cut bool) {
	m := &l.mem
	length := end.Sub(m.Start)
	m.Levels.watch(&m.Cycle, end, l.s)
	m.Levels.learn(&m.Cycle, l.s)
	if !cut {
		m.Pauses.ended()
		m.Rests.end(m.Lull.FloorW)
		m.Trust.learn(length)
		if m.Phases.Strong == NoPhase {
			m.Endings.None++
		} else {
			m.Endings.add(end.Sub(m.Phases.StrongUntil))
		}
	}
	m.Kept = false
	if glow := 1.5*m.Lull.QuietW + 1; glow > m.Levels.WorkW && m.Levels.Idle.total(0, histogramBins) < idleLeast.Seconds() {
		m.Levels.RaisedW = max(m.Levels.RaisedW, glow)
	}
	n := min(len(m.Profile.Codes), int((length+profileStep/2)/profileStep))
	if n < 1 {
		m.Levels.threshold(l.s, m.Meter[1].Usual >= slowCadence)
		return
	}
	if !cut && n > 5 {
		codes := m.Profile.Codes[n-4 : n-1]
		m.Levels.cool(wattsOf(min(codes[0], codes[1], codes[2])))
	}
	m.Levels.threshold(l.s, m.Meter[1].Usual >= slowCadence)
	r := run{Codes: append([]byte(nil), m.Profile.Codes[:n]...), Length: length, Wh: m.CycleWh, Cut: cut}
	r.Marks = landmarks(r.Codes)
	m.Past.keep(r, l.match.likest(m.Past.Runs, &r))
	m.Kept = true
}
