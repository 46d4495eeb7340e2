package cycle

import (
	"math"
	"time"
)

const secondsPerHour = 3600

// Integrator adds up energy from watts that were read at irregular instants.
//
// It holds each reading until the next one (a sum of rectangles with the
// height of the earlier reading). A heater or a motor is switched, so its power
// is a staircase, and a meter that reports on change says exactly where the
// steps are: holding is then exact, while a trapezoid would draw a ramp from
// the last idle reading to the first working one and invent energy in between.
// Holding also needs no later reading, so the sum is right at any instant.
//
// The fields are its whole memory, so that it can be part of a checkpoint.
type Integrator struct {
	// MaxGap is the longest stretch without a reading over which the last one
	// is held; a longer hole adds nothing. Zero means: any stretch.
	MaxGap time.Duration
	// Wh is the energy up to At, Wh.
	Wh float64
	// At is the instant of the newest reading, zero before the first.
	At time.Time
	// Watts is the power that holds from At on, W; only when Known.
	Watts float64
	Known bool
}

// Add takes a reading and returns the energy from the one before to it, Wh. A
// reading that is not newer is ignored. Watts that are not a number make the
// power unknown from then on; below 0 (a meter's noise) counts as 0.
func (g *Integrator) Add(at time.Time, watts float64) float64 {
	if !g.At.IsZero() && !at.After(g.At) {
		return 0
	}
	wh := g.held(at)
	g.Wh += wh
	g.At = at
	g.Known = !math.IsNaN(watts) && !math.IsInf(watts, 0)
	g.Watts = 0
	if g.Known && watts > 0 {
		g.Watts = watts
	}
	return wh
}

// Until returns the energy up to an instant at or after the newest reading, Wh,
// with that reading held as far as MaxGap allows.
func (g *Integrator) Until(at time.Time) float64 { return g.Wh + g.held(at) }

// held is the energy from the newest reading to at, Wh; 0 when the hole is too
// long to be filled, for nothing is known about it.
func (g *Integrator) held(at time.Time) float64 {
	if !g.Known {
		return 0
	}
	d := at.Sub(g.At)
	if d <= 0 || (g.MaxGap > 0 && d > g.MaxGap) {
		return 0
	}
	return g.Watts * d.Seconds() / secondsPerHour
}
