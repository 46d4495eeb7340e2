package cycle

import "math"

// Power is compared on a logarithmic scale, for a machine's levels (standby,
// pump, drum, spin, heater) lie factors apart, not watts. A code is 20 steps an
// octave of 1 + watts/2: half a watt of standby and 5 kW both fit in a byte.
const (
	codesAnOctave = 20
	codeUnitW     = 2
)

// codeOf is the code of a power, W; what is not positive is 0.
func codeOf(watts float64) uint8 {
	if !(watts > 0) {
		return 0
	}
	return uint8(min(255, math.Round(codesAnOctave*math.Log2(1+watts/codeUnitW))))
}

// wattsOf is the power that a code stands for, W.
func wattsOf(code uint8) float64 {
	return codeUnitW * (math.Exp2(float64(code)/codesAnOctave) - 1)
}
