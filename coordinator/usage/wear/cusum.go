package wear

// CUSUM is a tabular chart of cumulative sums: what the values exceed the target
// by, less an allowance, is added up until it is beyond doubt.
//
// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.
type CUSUM struct {
	// Target is what the values are when all is well.
	Target float64
	// K is the allowance for each value, usually half of the shift to be found; H
	// the sum that signals. Both in the values' unit.
	K, H float64
}

// SumPoint is the chart after one value. Both sums are 0 or more.
type SumPoint struct {
	Value     float64
	Rise, Sag float64
}

// Next is the chart after one more value.
func (c CUSUM) Next(before SumPoint, value float64) SumPoint {
	return SumPoint{
		Value: value,
		Rise:  max(0, before.Rise+value-c.Target-c.K),
		Sag:   max(0, before.Sag+c.Target-c.K-value),
	}
}

// Points is the chart of the values, one point for each.
func (c CUSUM) Points(values []float64) []SumPoint {
	points := make([]SumPoint, len(values))
	var p SumPoint
	for i, v := range values {
		p = c.Next(p, v)
		points[i] = p
	}
	return points
}

// Signals reports whether a point says that the values have shifted.
func (c CUSUM) Signals(p SumPoint) bool { return p.Rise > c.H || p.Sag > c.H }
