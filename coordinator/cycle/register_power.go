package cycle

import (
	"math"
	"time"
)

const (
	// registerUnitWh is the step that a register is taken to count in until a
	// smaller or a larger one has been seen, Wh.
	registerUnitWh = 1
	// registerFineWh is the finest step that is told from the rounding of numbers.
	registerFineWh = 0.01
	// registerStillW is how low the bound must be until the power of a register
	// that has not moved twice is taken for known, W.
	registerStillW = 3
)

// RegisterPower derives power from a register alone, for meters that give no
// watts. Between two steps of the register the power is their height over their
// distance. While it stands still, all that is known is an upper bound: one unit
// over the time since the last step. So the power of a standby becomes known
// only slowly: a register of 1 Wh takes 20 minutes to say "below 3 W", as a
// meter of 1000 pulses a kWh does (3,600,000 / (1000 x 1200 s) = 3 W).
//
// The fields are its whole memory.
type RegisterPower struct {
	Register Register
	// Unit is the smallest step seen, or the smallest difference between two
	// steps in a row (5 Wh and then 6 are a register of 1 Wh), Wh; zero before
	// the first. Step is the last one.
	Unit, Step float64
	// Changed is when the register last moved (or was first read); Moved says
	// that it was a whole step, so that the next one can be timed.
	Changed time.Time
	Moved   bool
	// Watts is the power, W; only when Known.
	Watts float64
	Known bool
}

// Add takes a register value, Wh, and returns the power, W; not a number while unknown.
func (p *RegisterPower) Add(at time.Time, wh float64) float64 {
	delta, ok := p.Register.Add(at, wh)
	switch {
	case !ok:
		if p.Register.At.Equal(at) {
			p.Changed, p.Moved, p.Known = at, false, false
		}
	case delta > 0:
		p.moved(at, delta)
	default:
		p.still(at)
	}
	if !p.Known {
		return math.NaN()
	}
	return p.Watts
}

// Forget is for a hole between readings: what the register gained in it says
// nothing about the power now.
func (p *RegisterPower) Forget() {
	p.Register.Known, p.Moved, p.Known = false, false, false
}

func (p *RegisterPower) moved(at time.Time, delta float64) {
	p.learn(delta)
	if p.Step > 0 {
		p.learn(math.Abs(delta - p.Step))
	}
	p.Step = delta
	if p.Moved {
		p.Watts, p.Known = delta*secondsPerHour/at.Sub(p.Changed).Seconds(), true
	}
	p.Changed, p.Moved = at, true
}

// learn takes a height that is a whole number of units. Below 0.01 Wh, two
// heights differ by the rounding of numbers, and a register is fine enough.
func (p *RegisterPower) learn(height float64) {
	if height >= registerFineWh && (p.Unit == 0 || height < p.Unit) {
		p.Unit = height
	}
}

func (p *RegisterPower) still(at time.Time) {
	unit := p.Unit
	if unit == 0 {
		unit = registerUnitWh
	}
	d := at.Sub(p.Changed)
	bound := unit * secondsPerHour / d.Seconds()
	if p.Known && bound < p.Watts || !p.Known && bound <= registerStillW {
		p.Watts, p.Known = bound, true
	}
}
