package cycle

import "time"

// onset is the beginning of activity of which it is not yet sure that it goes
// on. A single high reading among low ones is a meter's artefact or a relay and
// starts nothing; nor does a train of short pulses after a cycle.
type onset struct {
	Active bool
	// From is the first reading of the activity, Wh the energy tally at it.
	From time.Time
	Wh   float64
	// Work and Low are the times at work and below it since From, Run the
	// length of the present stretch of work.
	Work, Low, Run time.Duration
	// LowRun is the length of the present stretch below work.
	LowRun time.Duration
	// N is the number of readings at work.
	N int
	// High says on which side the newest reading was.
	High bool
	// Usual is how often the meter reports at work; zero when that is not known.
	Usual time.Duration
	// Whole says that the work must be in one stretch.
	Whole bool
	// PeakW is the second highest power, so that no artefact is the peak.
	PeakW, TopW float64
}

const (
	// onsetSure is how much work makes a start: short enough to know of it
	// within the first minute.
	onsetSure = 20 * time.Second
	// onsetGives is how long a stop loses the onset.
	onsetGives = 45 * time.Second
)

// step takes the next reading, d after the last, and reports whether it is now
// sure that a cycle runs. need is how much work in one stretch that takes.
func (o *onset) step(at time.Time, d time.Duration, w float64, high bool, wh float64, need time.Duration) bool {
	if !o.Active {
		if high {
			*o = onset{Active: true, From: at, Wh: wh, N: 1, High: true, TopW: w, Usual: o.Usual}
		}
		return false
	}
	work, low := split(d, o.High, high, o.Usual)
	o.Work, o.Run = o.Work+work, o.Run+work
	o.Low, o.LowRun = o.Low+low, o.LowRun+low
	o.High = high
	if !high {
		o.Run = 0
		if o.LowRun > onsetGives || o.N == 1 && d > onsetGives {
			*o = onset{Usual: o.Usual}
		}
		return false
	}
	o.LowRun = 0
	o.N++
	o.PeakW = max(o.PeakW, min(w, o.TopW))
	o.TopW = max(o.TopW, w)
	enough := o.N >= 3 || o.N == 2 && d >= slowCadence
	return enough && (o.Run >= need || !o.Whole && o.Work >= need && o.Work >= o.Low)
}

// split is how much of the time d between two readings was spent at work, and how
// much below it. Where the meter is late, readings are missing: when the first was
// at work and the second is not, work may have ended at any of them, and when both
// are, it may have rested in between, which is known neither way.
func split(d time.Duration, was, is bool, usual time.Duration) (work, low time.Duration) {
	switch {
	case !was:
		return 0, d
	case usual == 0:
		return d, 0
	case is:
		return min(d, max(2*usual, onsetSure)), 0
	}
	work = min(d, usual)
	return work, d - work
}
