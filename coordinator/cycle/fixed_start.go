package cycle

import (
	"math"
	"time"
)

const (
	// riseSure is how much longer power must have been seen strong than not until
	// that is work.
	riseSure = 20 * time.Second
	// riseHeld is how long a single high reading must stand uncontradicted; longer
	// than the interval of meters that are asked once a minute, so that the
	// next reading of such a meter can still deny it.
	riseHeld = 90 * time.Second
	// riseBack is how far a start is dated back before the first strong reading: a
	// display that was lit for an hour is not the begin of the cycle.
	riseBack = 2 * time.Minute
)

// fixedRise weighs whether power above the threshold is work or a stray sample:
// time between two strong readings in a row speaks for work, time between two
// others against it, and below zero it is forgotten (a one-sided cumulative sum). A
// single strong sample, a meter's artefact, gains nothing at all; a drum that
// turns 10 seconds in 15 is known within a minute.
type fixedRise struct {
	Active bool
	// At is the first high reading: where the cycle would begin.
	At    time.Time
	For   time.Duration
	PeakW float64
	// Strong says that power was clearly above the threshold since.
	Strong bool
	// Wh is the energy tally at At.
	Wh float64
}

func (r *fixedRise) sure() bool { return r.Strong && r.For >= riseSure }

// rise folds a reading into the weighing.
func (f *Fixed) rise(before, at time.Time, w float64, high bool) {
	m := &f.mem
	r := &m.Rise
	d := at.Sub(before)
	switch {
	case high && (!r.Active || !r.Strong && at.Sub(r.At) > riseBack):
		*r = f.rising(at, w)
	case f.strong(w):
		if m.Strong {
			r.For += min(d, f.set.SilentAfter)
		}
		r.Strong, r.PeakW = true, math.Max(r.PeakW, w)
	case r.Strong && !m.Strong:
		if r.For -= d; r.For < 0 {
			*r = fixedRise{}
		}
	case r.Active && !r.Strong && !high && !m.High:
		*r = fixedRise{}
	}
}

// rising begins the weighing at a first reading above the threshold.
func (f *Fixed) rising(at time.Time, w float64) fixedRise {
	return fixedRise{Active: true, At: at, PeakW: w, Wh: f.mem.Energy.Wh(), Strong: f.strong(w)}
}

// startDue is when the newest reading has stood long enough to start a cycle.
func (f *Fixed) startDue() time.Time {
	m := &f.mem
	if m.Running || !m.Rise.Strong || !m.Strong {
		return time.Time{}
	}
	return m.LastAt.Add(riseHeld)
}

func (f *Fixed) start(now time.Time) {
	m := &f.mem
	m.Running, m.Stalled, m.Low, m.Hole = true, false, false, 0
	m.Start, m.StartWh, m.PeakW = m.Rise.At, m.Rise.Wh, m.Rise.PeakW
	m.WorkAt, m.WorkWh = m.LastAt, m.Energy.Wh()
	m.Phase, m.PhaseAt, m.Coming, m.ComingAt = NoPhase, m.Start, NoPhase, m.Start
	f.say(Started, now)
}
