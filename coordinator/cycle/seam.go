package cycle

import "time"

// seam is a place in the running cycle where it may have ended and another load
// begun, minutes later, before the end was sure. A new heat after it, where the
// programme had come to its end, tells.
type seam struct {
	// End is the last work before it, Next the first work after it; EndWh and
	// NextWh are the energy tally there.
	End, Next     time.Time
	EndWh, NextWh float64
	// Strong and StrongUntil are the last strong phase before it.
	Strong      Phase
	StrongUntil time.Time
	// Pause is the length of the stop as it was counted, At where it was.
	Pause time.Duration
	At    place
}

const (
	// A stop shorter than this is too short to change a load.
	seamLeast = 45 * time.Second
	// seamChance is how likely an end must have been: the heat which then tells is
	// rare after a spin, but where it may be the drying's.
	seamChance, seamChanceDries = 0.5, 0.8
	// seamMost is how long after a start a heat begins at the latest.
	seamMost = 30 * time.Minute
)

// sew remembers a pause that may have been an end.
func (l *Learned) sew(at time.Time, d time.Duration) {
	m := &l.mem
	lu := &m.Lull
	if d < seamLeast {
		return
	}
	l.follow()
	least := seamChance
	if l.s.Dryer {
		least = seamChanceDries
	}
	if 1-m.Pauses.goesOn(d, lu.At, l.habit(), 1) < least {
		return
	}
	m.Seam = seam{
		End: lu.From, Next: at, EndWh: lu.Wh, NextWh: m.Energy.Wh(),
		Strong: m.Phases.Strong, StrongUntil: m.Phases.StrongUntil, Pause: d, At: lu.At,
	}
}

// rip ends the cycle at the seam and starts another one after it, at a heat that
// has begun by now.
func (l *Learned) rip(now, at time.Time) {
	m := &l.mem
	s := m.Seam
	m.Seam = seam{}
	if s.Next.IsZero() || at.Sub(s.Next) > seamMost || s.Strong == NoPhase || s.End.Sub(m.Start) < cycleLeast {
		return
	}
	heat := m.Phases
	m.Phases.Strong, m.Phases.StrongUntil = s.Strong, s.StrongUntil
	m.Pauses.forget(s.Pause, s.At)
	from := min(len(m.Profile.Codes), int(s.Next.Sub(m.Start)/profileStep))
	rest := m.Profile.since(from)
	l.close(Finished, now, s.End, s.EndWh)
	m.Onset = onset{From: s.Next, Wh: s.NextWh, PeakW: m.PeakW, TopW: m.TopW}
	l.begin(now)
	m.Profile.set(rest)
	m.Phases = heat
	m.Phases.Spun, m.Phases.Reheated = false, false
	m.WorkAt, m.WorkWh = at, m.Energy.Wh()
}
