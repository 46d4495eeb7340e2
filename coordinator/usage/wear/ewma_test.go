package wear

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// handbookAverage is the worked example of the NIST/SEMATECH e-Handbook,
// 6.3.2.4 (seen in transcription; recomputed with R's qcc 2.7).
var handbookAverage = struct {
	chart           EWMA
	data, average   []float64
	low, high       float64
	lowAt1, highAt1 float64
}{
	chart: EWMA{Target: 50, Sigma: 2.0539, Lambda: 0.3, Width: 3},
	data:  []float64{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1},
	average: []float64{
		50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
	},
	low: 47.41156826, high: 52.58843174, lowAt1: 48.15149, highAt1: 51.84851,
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

func TestAverageOfTheHandbook(t *testing.T) {
	h := handbookAverage
	points := h.chart.Points(h.data)
	if len(points) != len(h.data) {
		t.Fatalf("%d points of %d values", len(points), len(h.data))
	}
	for i, p := range points {
		near(t, "the average", p.Average, h.average[i], 0.005+1e-9)
		if p.Out() || p.Value != h.data[i] {
			t.Errorf("point %d is %+v; the handbook finds none out of control", i+1, p)
		}
	}
	low, high := h.chart.Limits()
	near(t, "the lower limit", low, h.low, 1e-8)
	near(t, "the upper limit", high, h.high, 1e-8)
	near(t, "the first lower limit", points[0].Low, h.lowAt1, 1e-9)
	near(t, "the first upper limit", points[0].High, h.highAt1, 1e-9)
	near(t, "the twentieth upper limit", points[19].High, 52.58843091412438, 1e-9)
}

// runLength is how many values a chart takes on average, by simulation with
// normal values of deviation 1 shifted by shift, and the 3-sigma error of that.
func runLength(seed uint64, shift float64, runs int, first func(next func() float64) int) (mean, wide float64) {
	random := rand.New(rand.NewPCG(seed, 1))
	var sum, squares float64
	for range runs {
		n := float64(first(func() float64 { return shift + random.NormFloat64() }))
		sum, squares = sum+n, squares+n*n
	}
	mean = sum / float64(runs)
	return mean, 3 * math.Sqrt((squares/float64(runs)-mean*mean)/float64(runs))
}

// TestAverageRunLengths: with lambda 0.2 and 2.962 deviations, how many values
// until the average leaves its final limits, as R's spc 0.6.7 computes it
// (xewma.arl, fixed limits, two-sided).
func TestAverageRunLengths(t *testing.T) {
	chart := EWMA{Sigma: 1, Lambda: 0.2, Width: 2.962}
	_, high := chart.Limits()
	for shift, want := range map[float64]float64{0: 499.735, 0.5: 41.764, 1: 10.542, 2: 3.743} {
		mean, wide := runLength(7, shift, 4000, func(next func() float64) int {
			average := 0.0
			for n := 1; ; n++ {
				average = chart.Lambda*next() + (1-chart.Lambda)*average
				if math.Abs(average) > high {
					return n
				}
			}
		})
		near(t, "the run length", mean, want, wide)
	}
}

// TestAverageOfAShift: values all moved and stretched give a chart moved and stretched.
func TestAverageOfAShift(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(-3, 3), 1, 40).Draw(rt, "values")
		move, stretch := rapid.Float64Range(-50, 50).Draw(rt, "move"), rapid.Float64Range(0.1, 9).Draw(rt, "stretch")
		plain := EWMA{Sigma: 1, Lambda: rapid.Float64Range(0.05, 1).Draw(rt, "lambda"), Width: 3}
		other := EWMA{Target: move, Sigma: stretch, Lambda: plain.Lambda, Width: 3}
		moved := make([]float64, len(values))
		for i, v := range values {
			moved[i] = move + stretch*v
		}
		a, b := plain.Points(values), other.Points(moved)
		for i := range a {
			for _, pair := range [][2]float64{{a[i].Average, b[i].Average}, {a[i].Low, b[i].Low}, {a[i].High, b[i].High}} {
				if got, want := pair[1], move+stretch*pair[0]; math.Abs(got-want) > 1e-9*(1+math.Abs(want)) {
					rt.Fatalf("point %d: %v, want %v", i, got, want)
				}
			}
		}
	})
}
