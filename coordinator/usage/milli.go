package usage

import "math"

// milli rounds to three decimals, so that sums do not depend on their order.
func milli(v float64) float64 { return math.Round(v*1000) / 1000 }
