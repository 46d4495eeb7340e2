package cycle

import (
	"math"
	"time"
)

const (
	// registerMaxW is more than any one machine of a laundry room draws, W.
	registerMaxW = 50_000
	// registerSlackWh allows for registers that count in coarse steps, Wh.
	registerSlackWh = 1000
)

// Register follows a meter's cumulative energy register through its roll-over
// (a counter of 16 or 32 bits, or of so many digits, begins again at 0) and
// through a reset (the meter lost its count, or is another meter now).
//
// A fall is taken for a roll-over when the register is known to roll over and
// the energy that this would mean can have been drawn in the time between the
// readings; otherwise for a reset, after which the register counts from 0. A
// step that no machine can have drawn says that the register is another one.
//
// The fields are its whole memory, so that it can be part of a checkpoint.
type Register struct {
	// Modulus is the value at which the register is 0 again, Wh; zero when it
	// never rolls over. See RegisterModulusBits and RegisterModulusDigits.
	Modulus float64
	// Last is the newest value, Wh, read at At; only when Known.
	Last  float64
	At    time.Time
	Known bool
}

// RegisterModulusBits is the modulus of a binary counter, Wh, that counts unitWh a step.
func RegisterModulusBits(bits int, unitWh float64) float64 { return math.Ldexp(unitWh, bits) }

// RegisterModulusDigits is the modulus of a decimal counter, Wh, of so many digits
// in all whose last one stands for unitWh: 7 digits of 10 Wh count to 99999.99 kWh.
func RegisterModulusDigits(digits int, unitWh float64) float64 {
	return unitWh * math.Pow10(digits)
}

// Add takes a value and returns the energy since the one before, Wh. ok is false
// when the register cannot say: at its first value, when the value is not a
// number or not newer, and when the register was replaced by another.
func (g *Register) Add(at time.Time, wh float64) (delta float64, ok bool) {
	if math.IsNaN(wh) || math.IsInf(wh, 0) || wh < 0 {
		return 0, false
	}
	if !g.Known {
		g.Last, g.At, g.Known = wh, at, true
		return 0, false
	}
	if !at.After(g.At) {
		return 0, false
	}
	delta, ok = g.step(wh, at.Sub(g.At))
	g.Last, g.At = wh, at
	return delta, ok
}

// step is the energy between the last value and wh, Wh, read d later.
func (g *Register) step(wh float64, d time.Duration) (float64, bool) {
	most := registerSlackWh + registerMaxW*d.Hours()
	if wh >= g.Last {
		return plausible(wh-g.Last, most)
	}
	if turn := wh - g.Last + g.Modulus; g.Modulus > g.Last && turn <= math.Min(most, g.Modulus/8) {
		return turn, true
	}
	return plausible(wh, most)
}

func plausible(delta, most float64) (float64, bool) {
	if delta > most {
		return 0, false
	}
	return delta, true
}
