package cycle

import "time"

// train remembers where the turns of the drum after a spin began. A few of them
// loosen the load and belong to the programme; a train that goes on for longer
// than loosening does keeps it from creasing, and the programme was over before.
type train struct {
	// Spin is the end of the spin that it follows.
	Spin time.Time
	// From is the last work before its first turn, Wh the energy tally there.
	From time.Time
	Wh   float64
}

// trains notes a turn of the drum in the lull, and moves the lull's begin to
// before the train where it has gone on for too long.
func (l *Learned) trains(at time.Time, w float64, loosens bool) {
	m := &l.mem
	if !l.s.Washer || m.Phases.Strong != Spin || w < m.Phases.Drum/4 {
		return
	}
	spin := m.Phases.StrongUntil
	switch {
	case loosens && !m.Train.Spin.Equal(spin):
		m.Train = train{Spin: spin, From: m.Lull.From, Wh: m.Lull.Wh}
	case !loosens && m.Train.Spin.Equal(spin) && at.Sub(spin) < 2*loosenMost:
		m.Lull.From, m.Lull.Wh = m.Train.From, m.Train.Wh
	}
}
