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
			*o = onset{Active: true, From: at, Wh: wh, N: 1, High: true, TopW: w}
		}
		return false
	}
	if o.High {
		o.Work += d
		o.Run += d
	} else {
		o.Low += d
		o.LowRun += d
	}
	o.High = high
	if !high {
		o.Run = 0
		if o.LowRun > onsetGives || o.N == 1 && d > onsetGives {
			*o = onset{}
		}
		return false
	}
	o.LowRun = 0
	o.N++
	o.PeakW = max(o.PeakW, min(w, o.TopW))
	o.TopW = max(o.TopW, w)
	enough := o.N >= 3 || o.N == 2 && d >= slowCadence
	return enough && (o.Run >= need || o.Work >= need && o.Work >= o.Low)
}
