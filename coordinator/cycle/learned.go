package cycle

import (
	"math"
	"time"
)

// Learned is the engine that learns its machine: its power levels, its pauses,
// its programmes and how they end. A new one begins with what is usual of its
// kind and gets surer with each cycle.
type Learned struct {
	s   Settings
	mem learnedMemory
	// match and outlook follow the running cycle's profile as far as somebody has
	// wanted to know: see follow.
	match   matcher
	outlook outlook
	// bare and ahead are room to reckon a remaining time in.
	bare, ahead spread
	prior       [priorPoints]time.Duration
	events      []Event
}

// New makes an engine that knows nothing but the kind of its machine.
func New(s Settings) *Learned {
	d := DefaultSettings()
	if s.SilentAfter <= 0 {
		s.SilentAfter = d.SilentAfter
	}
	if s.IdleBelowW <= 0 {
		s.IdleBelowW = d.IdleBelowW
	}
	if s.Doubt <= 0 || s.Doubt >= 1 {
		s.Doubt = d.Doubt
	}
	if !s.Washer && !s.Dryer {
		s.Washer = true
	}
	l := &Learned{s: s, prior: priorSpread(s), events: make([]Event, 0, 8)}
	l.clear()
	return l
}

func (l *Learned) clear() {
	l.mem = learnedMemory{}
	l.mem.set(l.s)
	l.mem.Levels.threshold(l.s, false)
	l.mem.Profile.Codes = make([]byte, 0, profileMost)
	l.mem.Profile.Began = make([]byte, 0, profileMost)
	l.mem.Stops = make([]stopped, 0, stopsMost)
	l.mem.Trust.Said = make([]said, 0, profileMost)
	l.match, l.outlook = matcher{}, outlook{}
	l.match.jumpsOne, l.match.holds = pliant(l.s)
}

// Read implements Engine.
func (l *Learned) Read(now time.Time, r Reading) []Event {
	l.events = l.events[:0]
	m := &l.mem
	r.Watts, r.Wh = within(r.Watts, mostWatts), within(r.Wh, mostWh)
	if math.IsNaN(r.Watts) && math.IsNaN(r.Wh) {
		// A read that failed is no word of the meter.
		return l.due(now)
	}
	if r.At.IsZero() || !m.ReadAt.IsZero() && !r.At.After(m.ReadAt) {
		return l.events
	}
	l.hear(now, r.At)
	w := l.power(r)
	m.keep(r)
	if math.IsNaN(w) {
		// Nothing is said of the power: the last one stands as long as any does.
		return l.due(now)
	}
	l.take(now, r.At, w, r)
	return l.due(now)
}

// Tick implements Engine.
func (l *Learned) Tick(now time.Time) []Event {
	l.events = l.events[:0]
	return l.due(now)
}

// power is what a reading says of the power, W; not a number when nothing.
func (l *Learned) power(r Reading) float64 {
	w := r.Watts
	if math.IsNaN(w) && !math.IsNaN(r.Wh) {
		w = l.mem.Derived.Add(r.At, r.Wh)
	}
	return max(0, within(w, mostWatts))
}

// within is a value if it lies between -most and most, else not a number.
func within(v, most float64) float64 {
	if v >= -most && v <= most {
		return v
	}
	return math.NaN()
}

// mostWatts is more than any machine on a household's circuit takes: a value
// beyond is a fault of the meter.
const mostWatts = 30_000

// mostWh is more than any register counts to, Wh.
const mostWh = 1e15

// take folds one reading.
func (l *Learned) take(now, at time.Time, w float64, r Reading) {
	m := &l.mem
	first := m.LastAt.IsZero()
	d, held := l.since(at)
	high := w >= l.worksFrom(at)
	if !first {
		l.pass(now, at, d, held)
		m.cadence(m.High).add(d)
	}
	m.Energy.Add(r, w)
	if m.Running {
		l.run(at, d, held, w, high)
	} else {
		l.idle(now, at, d, w, high)
	}
	if w != m.Watts || first {
		m.Code = codeOf(w)
	}
	m.LastAt, m.Watts = at, w
	m.High = w >= l.worksFrom(at)
}

// worksFrom is the power from which the machine works now, W: for a dryer whose
// motor's power is known, a good part of that, since pulses against creases that a
// meter blends with rest lie below it.
func (l *Learned) worksFrom(at time.Time) float64 {
	m := &l.mem
	if l.s.Washer || !m.Running {
		return m.Levels.WorkW
	}
	return max(m.Levels.WorkW, min(motorShare*m.Phases.motor(at), motorShareMostW))
}

const (
	motorShare      = 0.45
	motorShareMostW = 150
)

// since is the time from the last reading, and how much of it that reading is
// believed for.
func (l *Learned) since(at time.Time) (d, held time.Duration) {
	m := &l.mem
	if m.LastAt.IsZero() {
		return 0, 0
	}
	d = at.Sub(m.LastAt)
	return d, min(d, m.cadence(m.High).hold(l.s.SilentAfter))
}

// rested is how much of the time since the last reading was surely without work,
// when both this reading and the last were: a meter that reports changes says
// nothing in between.
func (l *Learned) rested(d, held time.Duration, high bool) time.Duration {
	if high || l.mem.High || d > l.s.SilentAfter {
		return held
	}
	return max(held, min(d, restedMost))
}

const restedMost = 2 * time.Minute

// pass accounts for the time since the last reading, in which its power held.
func (l *Learned) pass(now, at time.Time, d, held time.Duration) {
	m := &l.mem
	if !m.Running {
		m.RestW = min(m.RestW, m.Watts)
		if m.AfterGlow < glowMost && !m.End.IsZero() {
			before := m.AfterGlow
			m.AfterGlow += held
			m.Levels.Idle.add(m.Code, held)
			if before < idleLeast && m.AfterGlow >= idleLeast || m.AfterGlow >= glowMost {
				m.Levels.threshold(l.s, m.Meter[1].Usual >= slowCadence)
			}
		}
		return
	}
	m.Cycle.add(m.Code, held)
	low := !m.High
	if m.Phases.add(at, m.Watts, held, low, &m.Levels, l.s) {
		l.say(Event{Kind: PhaseBegan, At: now, Start: m.Start, Phase: m.Phases.Now})
		if m.Phases.Now == Heat && !m.Seam.Next.IsZero() {
			l.rip(now, at)
		}
	}
	if n := m.Profile.add(m.Watts, d, held); n > 0 {
		m.Profile.phase(n, m.Phases.Count)
	}
}

// glowMost is how much of the time after a cycle is learned from.
const glowMost = time.Hour

// run folds a reading of a running cycle.
func (l *Learned) run(at time.Time, d, held time.Duration, w float64, high bool) {
	m := &l.mem
	if high {
		m.PeakW = max(m.PeakW, min(w, m.TopW))
		m.TopW = max(m.TopW, w)
	}
	if !m.Lull.Active {
		if high {
			l.glows(at, w)
		}
		if m.Lull.Active {
			return
		}
		if high {
			m.WorkAt, m.WorkWh = at, m.Energy.Wh()
			return
		}
		l.lulls(w)
		return
	}
	rule := resumesWasher
	if !l.s.Washer {
		rule = resumesDryer
	}
	rule.loosens, rule.usual = l.loosens(at, w), m.Meter[1].steady()
	if high {
		l.trains(at, w, rule.loosens)
	}
	m.Lull.quiet(w)
	if m.Lull.step(at, l.rested(d, held, high), high, rule) {
		l.resume(at, high)
	}
}

// resume ends a lull that was a pause.
func (l *Learned) resume(at time.Time, high bool) {
	m := &l.mem
	d := m.Lull.Low + m.Lull.Work - m.Lull.Run
	if d >= pauseLeast {
		l.stops(d)
	}
	if high {
		l.sew(m.Lull.Began, d)
	}
	m.Lull = lull{}
	if high {
		m.WorkAt, m.WorkWh = at, m.Energy.Wh()
	} else {
		m.WorkAt, m.WorkWh = m.LastAt, m.Energy.Wh()
	}
}

// loosens reports whether a pulse of w at this instant belongs to the programme:
// a washer's drum that turns now and then while it washes, and for some minutes
// after the last spin; later it only keeps the load from creasing.
func (l *Learned) loosens(at time.Time, w float64) bool {
	m := &l.mem
	if !l.s.Washer || w < m.Phases.Drum/4 {
		return false
	}
	if l.s.Dryer && m.Phases.Strong == Heat {
		return false
	}
	return m.Phases.Strong != Spin || at.Sub(m.Phases.StrongUntil) < loosenMost
}

// loosenMost is for how long after a last spin turns of the drum are loosening.
const loosenMost = 6 * time.Minute

// idle folds a reading while no cycle runs.
func (l *Learned) idle(now, at time.Time, d time.Duration, w float64, high bool) {
	m := &l.mem
	need := l.startsAfter(at, w)
	// A dryer's drum turns without a rest while it dries.
	m.Onset.Whole = !l.s.Washer && need > onsetSure
	m.Onset.Usual = m.Meter[1].steady()
	if m.Onset.step(at, d, w, high, m.Energy.Wh(), need) {
		if l.goesOn() {
			l.reopen(now, at)
			return
		}
		l.start(now, at)
	}
}

// startsAfter is how much work makes a start now: more for a while after a cycle,
// when the drum may turn against creases, unless the machine heats or fills,
// which it does not do then.
func (l *Learned) startsAfter(at time.Time, w float64) time.Duration {
	m := &l.mem
	switch {
	case m.End.IsZero() || at.Sub(m.End) > afterMost || w >= m.Levels.heats(l.s):
		return onsetSure
	case !l.s.Washer:
		return 3 * onsetSure
	case w < m.Levels.DrumW/2:
		return onsetSure
	}
	return 2 * onsetSure
}

// afterMost is for how long pulses may follow a cycle.
const afterMost = 40 * time.Minute

// start begins a cycle at the onset.
func (l *Learned) start(now, at time.Time) {
	m := &l.mem
	l.begin(now)
	m.WorkAt, m.WorkWh = at, m.Energy.Wh()
	if d := at.Sub(m.Start); d > 0 {
		mean := (m.WorkWh - m.StartWh) * secondsPerHour / d.Seconds()
		m.Profile.add(mean, d, d)
		m.Cycle.add(codeOf(mean), d)
		m.Profile.phase(len(m.Profile.Codes), m.Phases.Count)
	}
}

// begin sets everything to the start of a cycle at the onset.
func (l *Learned) begin(now time.Time) {
	m := &l.mem
	m.Running, m.Stalled = true, false
	m.Start, m.StartWh = m.Onset.From, m.Onset.Wh
	m.PeakW, m.TopW = m.Onset.PeakW, m.Onset.TopW
	m.Lull, m.Seam, m.Onset, m.Flat, m.Train = lull{}, seam{}, onset{}, flat{}, train{}
	m.Cycle = histogram{}
	m.Profile.reset()
	m.Stops = m.Stops[:0]
	m.Phases.reset(m.Start)
	m.StallAt = l.stalls()
	m.NeedLeast = l.needsAtLeast()
	l.rematch()
	l.say(Event{Kind: Started, At: now, Start: m.Start})
}

func (l *Learned) say(e Event) { l.events = append(l.events, e) }
