// Package cycle turns the meter readings of one machine into knowledge: when a
// cycle starts, what phase it is in, how long it still takes, that it is over.
// It is pure and online: time is passed in, and each reading is seen once.
package cycle

import (
	"math"
	"time"
)

// Reading is what a meter said at one instant.
type Reading struct {
	// At is the instant that the values stand for.
	At time.Time
	// Watts is the active power, W; NaN when the meter gives only its register.
	Watts float64
	// Wh is the meter's cumulative register, Wh; NaN when it has none.
	Wh float64
}

// Power is a reading of watts alone.
func Power(at time.Time, watts float64) Reading {
	return Reading{At: at, Watts: watts, Wh: math.NaN()}
}
