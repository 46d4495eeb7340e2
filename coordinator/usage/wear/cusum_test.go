package wear

import "testing"

// TestSumsOfTheHandbook: NIST/SEMATECH e-Handbook, 6.3.2.3 (seen in
// transcription; recomputed with R's qcc 2.7). The handbook prints two decimals
// and cuts the ties 14.445 and 19.035 either way, so these are the exact sums.
func TestSumsOfTheHandbook(t *testing.T) {
	chart := CUSUM{Target: 325, K: 0.3175, H: 4.1959}
	data := []float64{
		324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
		324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
	}
	rise := []float64{0, 0, 0, 0, 0.0325, 0, 0, 0, 0, 0, 0, 0, 3.0075, 4.9400, 7.4475, 10.6300, 11.9875, 14.4450, 16.0025, 19.0350}
	sag := []float64{0, 0.0075, 0, 0.3325, 0, 0, 0.5575, 0.7150, 0.1725, 0.2550, 0.3125, 0, 0, 0, 0, 0, 0, 0, 0, 0}
	for i, p := range chart.Points(data) {
		near(t, "the upper sum", p.Rise, rise[i], 1e-9)
		near(t, "the lower sum", p.Sag, sag[i], 1e-9)
		if got, want := chart.Signals(p), i >= 13; got != want {
			t.Errorf("group %d signals: %v; the first that does is 14", i+1, got)
		}
	}
}

// TestSumsOfTheTextbook: Montgomery & Runger, Applied Statistics and Probability
// for Engineers, tables 16-7 and 16-8.
func TestSumsOfTheTextbook(t *testing.T) {
	chart := CUSUM{Target: 99, K: 1, H: 10}
	data := []float64{
		102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1, 101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0,
	}
	rise := []float64{2.0, 0, 0, 0, 2.0, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0}
	sag := []float64{0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0}
	for i, p := range chart.Points(data) {
		near(t, "the upper sum", p.Rise, rise[i], 1e-9)
		near(t, "the lower sum", p.Sag, sag[i], 1e-9)
		if chart.Signals(p) {
			t.Errorf("point %d signals; the book finds none", i+1)
		}
	}
}

// TestSumRunLengths: two-sided, K 0.5 and H 4 or 5, as R's spc 0.6.7 computes
// them (xcusum.arl).
func TestSumRunLengths(t *testing.T) {
	for _, c := range []struct{ h, shift, want float64 }{
		{4, 0, 167.6838}, {4, 0.5, 26.6302}, {4, 1, 8.3831}, {4, 2, 3.3428},
		{5, 0, 465.4435}, {5, 0.5, 37.9961}, {5, 1, 10.376}, {5, 2, 4.0089},
	} {
		chart := CUSUM{K: 0.5, H: c.h}
		mean, wide := runLength(11, c.shift, 4000, func(next func() float64) int {
			var p SumPoint
			for n := 1; ; n++ {
				if p = chart.Next(p, next()); chart.Signals(p) {
					return n
				}
			}
		})
		near(t, "the run length", mean, c.want, wide)
	}
}
