package cycle

import (
	"math"
	"time"
)

// flat is a stretch of low and steady power. A display that glows more brightly
// than this kind of machine's usually do looks like work until its level is
// known; but no work is so steady for so long after a spin or a heat.
type flat struct {
	// Level is the power, W, From the first reading at it.
	Level float64
	From  time.Time
	// WorkAt is the last reading at work before, WorkWh the energy tally at it.
	WorkAt time.Time
	WorkWh float64
	// Out counts readings in a row that lie off the level.
	Out int
}

const (
	flatLeast = 150 * time.Second
	flatMostW = 20
	// flatLearned is how long it must last where a glow is known already.
	flatLearned = 45 * time.Minute
)

// step takes a reading; the last work before it is workAt.
func (f *flat) step(at time.Time, w float64, workAt time.Time, workWh float64) {
	if !f.From.IsZero() && math.Abs(w-f.Level) <= max(2.5, 0.3*f.Level) {
		f.Out = 0
		f.Level += 0.1 * (w - f.Level)
		return
	}
	f.Out++
	if f.From.IsZero() || f.Out >= 2 || w > 30 {
		*f = flat{Level: w, From: at, WorkAt: workAt, WorkWh: workWh}
	}
}

// glows looks for a glow that is taken for work, and if there is one raises the
// threshold above it and begins the lull that it has been since.
func (l *Learned) glows(at time.Time, w float64) {
	m := &l.mem
	f := &m.Flat
	f.step(at, w, m.WorkAt, m.WorkWh)
	lasted := at.Sub(f.From)
	if lasted < flatLeast || f.Level > flatMostW || f.WorkAt.IsZero() || m.Phases.Strong == NoPhase ||
		at.Sub(m.Start) < cycleLeast || m.Phases.Drum > 0 && f.Level > m.Phases.Drum/3 {
		return
	}
	if known := m.Levels.Idle.total(0, histogramBins) >= idleLeast.Seconds(); known && lasted < flatLearned {
		return
	}
	m.Levels.RaisedW = max(m.Levels.WorkW, 1.5*f.Level+1)
	m.Levels.WorkW = m.Levels.RaisedW
	m.Levels.Idle = histogram{}
	m.WorkAt, m.WorkWh = f.WorkAt, f.WorkWh
	l.lulls(w)
	m.Lull.Low = lasted
}
