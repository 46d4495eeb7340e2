package cycle

import (
	"math"
	"time"
)

// hysteresis is how far above the threshold power must be to be work beyond doubt.
const hysteresis = 1.5

// Fixed is the fixed rule as an Engine (common practice, no source): power above
// Settings.IdleBelowW starts a cycle, power below it for IdleFor ends it at the
// first low reading. It is made honest in what the plain rule leaves open:
//
//   - A start needs power that goes on (see fixedRise): one noisy sample is none. And
//     there is hysteresis in the level: within half as much again above the
//     threshold a cycle goes on, but neither starts nor comes out of a low stretch,
//     so that a display that glows at the threshold is no train of cycles.
//   - A reading holds until the next, as meters that report on change have it, so
//     an end is declared by Tick too; but nothing is concluded from a meter that
//     has been silent for SilentAfter, and a hole is never taken for 0 W. (What it
//     cannot tell is a meter that reports on change from one that lost readings
//     just after a low one: a hole within SilentAfter can make a pause an end.)
//   - Time without a reading counts by now, time between readings by Reading.At:
//     a meter whose clock is late is not declared done at its first low reading.
//
// Remaining time is that of LastRun.
type Fixed struct {
	set    Settings
	mem    fixedMemory
	events []Event
}

// NewFixed returns a fixed rule that knows nothing of its machine yet.
func NewFixed(s Settings) *Fixed {
	f := &Fixed{set: s, events: make([]Event, 0, 8)}
	f.clear()
	return f
}

func (f *Fixed) clear() {
	f.mem = fixedMemory{}
	f.mem.Energy.Power.MaxGap = f.set.SilentAfter
	f.mem.Energy.Register.Modulus = f.set.RegisterModulusWh
	f.mem.Derived.Register.Modulus = f.set.RegisterModulusWh
}

// Read implements Engine.
func (f *Fixed) Read(now time.Time, r Reading) []Event {
	f.events = f.events[:0]
	r.Watts, r.Wh = finite(r.Watts), finite(r.Wh)
	says := !math.IsNaN(r.Watts) || !math.IsNaN(r.Wh)
	if says && now.Before(r.At) {
		now = r.At
	}
	f.due(now)
	if says && (f.mem.LastAt.IsZero() || r.At.After(f.mem.LastAt)) {
		f.fold(now, r)
		f.due(now)
	}
	return f.events
}

// Tick implements Engine.
func (f *Fixed) Tick(now time.Time) []Event {
	f.events = f.events[:0]
	f.due(now)
	return f.events
}

// fold takes a reading that is newer than the last.
func (f *Fixed) fold(now time.Time, r Reading) {
	m := &f.mem
	before := m.LastAt
	f.hear(now, r.At)
	w := f.power(r)
	m.Energy.Add(r, w)
	m.LastAt, m.LastWatts, m.LastWh, m.HeardAt = r.At, fixedNumber(r.Watts), fixedNumber(r.Wh), now
	if math.IsNaN(w) {
		return
	}
	high := w > f.set.IdleBelowW || w == f.set.IdleBelowW && m.High
	if m.Running {
		f.work(now, r, w, high)
	} else if f.rise(before, r.At, w, high); m.Rise.sure() {
		f.start(now)
	}
	m.High, m.Strong = high, f.strong(w)
	f.phase(r.At, w, high)
}

// power is the reading's watts, or what its register says about them.
func (f *Fixed) power(r Reading) float64 {
	if math.IsNaN(r.Watts) {
		return f.mem.Derived.Add(r.At, r.Wh)
	}
	f.mem.Derived.Forget()
	return math.Max(0, r.Watts)
}

// strong tells work from what may be a flicker around the threshold.
func (f *Fixed) strong(w float64) bool { return w >= f.set.IdleBelowW*hysteresis }

// seen is the instant that a reading's power was last known to be true for: its
// own, or that of the last step of a register without watts.
func (f *Fixed) seen(r Reading) time.Time {
	if math.IsNaN(r.Watts) {
		return f.mem.Derived.Changed
	}
	return r.At
}

// finite takes an infinite value for none.
func finite(v float64) float64 {
	if math.IsInf(v, 0) {
		return math.NaN()
	}
	return v
}

// work follows a running cycle through its pauses.
func (f *Fixed) work(now time.Time, r Reading, w float64, high bool) {
	m := &f.mem
	m.PeakW = math.Max(m.PeakW, w)
	// A flicker around the threshold does not interrupt a low stretch; work does.
	if f.strong(w) || high && !m.Low && m.Hole == 0 {
		if m.Hole > 0 && !f.same(r.At) {
			f.split(now, r.At, w)
			return
		}
		m.Low, m.Hole = false, 0
		m.WorkAt, m.WorkWh = f.seen(r), m.Energy.Wh()
		return
	}
	if high || m.Low {
		m.LowMaxW = math.Max(m.LowMaxW, w)
		return
	}
	m.Low, m.LowAt, m.LowWh, m.LowMaxW = true, f.seen(r), m.Energy.Wh(), w
}

// Status implements Engine.
func (f *Fixed) Status() Status {
	m := &f.mem
	s := Status{
		Running: m.Running, Silent: m.Silent, Start: m.Start, Phase: m.Phase, PhaseSince: m.PhaseAt,
		EnergyWh: m.CycleWh, PeakW: m.PeakW, Stalled: m.Stalled,
		Last: Reading{At: m.LastAt, Watts: float64(m.LastWatts), Wh: float64(m.LastWh)},
	}
	if m.Running {
		s.EnergyWh = m.Energy.Wh() - m.StartWh
		s.LastWork = m.WorkAt
		if m.Low && m.Hole == 0 {
			s.LastWork = m.LowAt
		}
	}
	return s
}

// Remaining implements Engine.
func (f *Fixed) Remaining(now time.Time) (Estimate, bool) {
	if !f.mem.Running {
		return Estimate{}, false
	}
	return f.mem.Runs.Remaining(f.set, max(0, now.Sub(f.mem.Start))), true
}

// say appends an event of the running cycle.
func (f *Fixed) say(k Kind, now time.Time) *Event {
	f.events = append(f.events, Event{Kind: k, At: now, Start: f.mem.Start, PeakW: f.mem.PeakW})
	return &f.events[len(f.events)-1]
}
