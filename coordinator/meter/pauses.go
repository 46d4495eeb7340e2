package meter

import (
	"math/rand/v2"
	"time"
)

// Pauses are those before a driver is started again: First, then twice as long
// each time up to Longest, each shortened by chance down to half so that
// many drivers that failed together do not come back together. A driver that
// ran longer than Longest begins with First again. They are of real time, also
// where the rooms follow a recording.
type Pauses struct {
	// First and Longest are 1 second and 1 minute when zero.
	First, Longest time.Duration
	// Random is a number from 0 up to 1; nil for a random one.
	Random func() float64
}

func (p Pauses) withDefaults() Pauses {
	if p.First <= 0 {
		p.First = time.Second
	}
	if p.Longest <= 0 {
		p.Longest = time.Minute
	}
	if p.Random == nil {
		p.Random = rand.Float64
	}
	return p
}

// pause is the one after so many failures in a row, counted from 0.
func (p Pauses) pause(failures int) time.Duration {
	d := p.First
	for ; failures > 0 && d < p.Longest; failures-- {
		d *= 2
	}
	d = min(d, p.Longest)
	return d - time.Duration(p.Random()*float64(d)/2)
}
