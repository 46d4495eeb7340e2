package cycle

import "time"

// due says what has come to pass by now without a reading: silence, and the end
// of a lull that has lasted long enough.
func (l *Learned) due(now time.Time) []Event {
	m := &l.mem
	if m.Last.At.IsZero() {
		return l.events
	}
	if m.Running && m.Lull.Active && l.over(now) {
		l.finish(now)
	}
	if !m.Silent && now.Sub(m.HeardAt) >= l.s.SilentAfter {
		m.Silent = true
		l.say(Event{Kind: Silent, At: now, Start: m.Last.At})
	}
	return l.events
}

// over reports whether the lull has lasted long enough to be the end.
func (l *Learned) over(now time.Time) bool {
	d := l.lasted(now)
	return d >= pauseLeast && d >= l.needs()
}

// lasted is how long the lull has lasted by now, as far as the meter was heard.
func (l *Learned) lasted(now time.Time) time.Duration {
	m := &l.mem
	more := now.Sub(m.Last.At)
	return m.Lull.lasted() + max(0, min(more, m.cadence(m.High).hold(l.s.SilentAfter)))
}

// needs is how long the lull must last to be the end.
func (l *Learned) needs() time.Duration {
	m := &l.mem
	if m.Lull.Need == 0 {
		m.Lull.Need = m.Pauses.need(l.s.Doubt, m.Lull.Near, habitOf(l.s))
	}
	return m.Lull.Need
}

// Next implements Engine.
func (l *Learned) Next() time.Time {
	m := &l.mem
	if m.Last.At.IsZero() || m.Silent {
		return time.Time{}
	}
	next := m.HeardAt.Add(l.s.SilentAfter)
	if m.Running && m.Lull.Active {
		wait := max(pauseLeast, m.Lull.Need) - m.Lull.lasted()
		if wait <= m.cadence(m.High).hold(l.s.SilentAfter) {
			if at := m.Last.At.Add(max(wait, 0)); at.Before(next) {
				next = at
			}
		}
	}
	return next
}

// finish ends the cycle with the work before the lull.
func (l *Learned) finish(now time.Time) {
	m := &l.mem
	l.close(Finished, now, m.Lull.From, m.Lull.Wh)
}

// close ends the cycle and learns from it.
func (l *Learned) close(k Kind, now, end time.Time, wh float64) {
	m := &l.mem
	m.Running, m.Stalled = false, false
	m.End, m.CycleWh = end, wh-m.StartWh
	l.say(Event{Kind: k, At: now, Start: m.Start, End: end, EnergyWh: m.CycleWh, PeakW: m.PeakW})
	l.learn(end.Sub(m.Start))
	m.Lull = lull{}
	m.Onset = onset{}
	m.AfterGlow = 0
	m.Levels.Idle.scale(forget)
	m.Phases.Now, m.Phases.Since = After, end
}

// learn keeps what a whole cycle has shown.
func (l *Learned) learn(length time.Duration) {
	m := &l.mem
	m.Levels.learn(&m.Cycle, l.s)
	m.Levels.glow(m.Meter[1].Usual >= slowCadence)
	m.Pauses.ended()
	m.Trust.learn(length)
	n := min(len(m.Profile.Codes), int((length+profileStep/2)/profileStep))
	if n < 1 {
		return
	}
	like, weight := l.match.likest()
	if weight < 0.5 {
		like = -1
	}
	r := run{Codes: append([]byte(nil), m.Profile.Codes[:n]...), Length: length, Wh: m.CycleWh}
	m.Past.keep(r, like)
}
