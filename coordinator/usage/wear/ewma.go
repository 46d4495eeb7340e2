package wear

import "math"

// EWMA is a chart of the exponentially weighted moving average: of each value
// and all before it, the newer the heavier. It sees small lasting shifts that a
// look at single values misses.
//
// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
type EWMA struct {
	// Target is what the values are when all is well, and where the average
	// begins; Sigma their standard deviation. In the values' unit.
	Target, Sigma float64
	// Lambda, 0 to 1, is the weight of the newest value; 1 forgets all others.
	Lambda float64
	// Width is how many standard deviations of the average the limits lie from the target.
	Width float64
}

// AveragePoint is the chart after one value.
type AveragePoint struct {
	Value, Average float64
	// Low and High are the limits at this value. They widen towards Limits, since
	// an average of few values begins at the target.
	Low, High float64
}

// Out reports whether the average has left its limits.
func (p AveragePoint) Out() bool { return p.Average < p.Low || p.Average > p.High }

// Limits are those that the chart tends to.
func (e EWMA) Limits() (low, high float64) { return e.limits(1) }

// limits are Target -+ Width sigma sqrt(lambda/(2-lambda) grown).
func (e EWMA) limits(grown float64) (low, high float64) {
	half := e.Width * e.Sigma * math.Sqrt(e.Lambda/(2-e.Lambda)*grown)
	return e.Target - half, e.Target + half
}

// Points is the chart of the values, one point for each.
func (e EWMA) Points(values []float64) []AveragePoint {
	points := make([]AveragePoint, len(values))
	average, left := e.Target, 1.0
	for i, v := range values {
		average = e.Lambda*v + (1-e.Lambda)*average
		left *= (1 - e.Lambda) * (1 - e.Lambda)
		low, high := e.limits(1 - left)
		points[i] = AveragePoint{Value: v, Average: average, Low: low, High: high}
	}
	return points
}
