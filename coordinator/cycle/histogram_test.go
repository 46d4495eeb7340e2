package cycle

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestOtsu: values computed with scikit-image 0.19.3 (class 0 = level <= t) and
// by brute force; that of [8 7 2 6 9 4] is a well-known tutorial's example. At a
// tie scikit-image takes the lowest level, here it is the middle.
func TestOtsu(t *testing.T) {
	for _, c := range []struct {
		weights []float64
		t       int
		between float64
	}{
		{[]float64{8, 7, 2, 6, 9, 4}, 2, 2.62871469},
		{[]float64{10, 20, 10, 0, 0, 10, 20, 10}, 3, 6.25},                                 // tie 2 to 4
		{[]float64{500, 40, 5, 0, 1, 0, 2, 10, 60, 80, 30, 4}, 4, 14.15845635},             // tie 4 and 5
		{[]float64{900, 80, 10, 3, 2, 2, 1, 1, 1, 0, 0, 0, 0, 10, 40, 10}, 6, 10.27128273}, //
		{[]float64{50, 5, 0, 0, 30, 40, 30, 0, 0, 0, 5, 20, 5}, 2, 0},                      // tie 1 to 3
	} {
		got, between := otsu(c.weights)
		if got != c.t {
			t.Errorf("%v: split after %d, want %d", c.weights, got, c.t)
		}
		if c.between > 0 && math.Abs(between-c.between) > 1e-8 {
			t.Errorf("%v: variance %.8f, want %.8f", c.weights, between, c.between)
		}
	}
}

// TestOtsuOnLogWatts: on raw watts Otsu's split of these readings lies at 149 W
// and puts the drum's turns beside standby; on the logarithm it does not (both
// computed with scikit-image; there at 1.31 W).
func TestOtsuOnLogWatts(t *testing.T) {
	watts := []float64{1.2, 1.3, 1.1, .9, 1.0, 120, 150, 135, 2000, 2050, 1980, 1.1, 1.0, 90, 110}
	var h histogram
	for _, w := range watts {
		h.add(codeOf(w), time.Second)
	}
	at, _ := otsu(h.Seconds[:])
	edge := wattsOf(uint8((at + 1) * codesABin))
	if edge < 1.3 || edge > 90 {
		t.Errorf("split at %.1f W", edge)
	}
	raw := make([]float64, 2100)
	for _, w := range watts {
		raw[int(w)]++
	}
	if at, _ := otsu(raw); at < 150 {
		t.Errorf("on raw watts the split is at %d W, and the trap is none", at)
	}
}

// TestOtsuIsBest compares with trying every split.
func TestOtsuIsBest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ws := rapid.SliceOfN(rapid.Float64Range(0, 50), 2, 20).Draw(t, "weights")
		_, between := otsu(ws)
		for k := range len(ws) - 1 {
			if v := variance(ws, k); v > between+1e-6 {
				t.Fatalf("split after %d has %v, otsu says %v", k, v, between)
			}
		}
	})
}

func variance(ws []float64, k int) float64 {
	var a, b, ma, mb float64
	for i, w := range ws {
		if i <= k {
			a, ma = a+w, ma+w*float64(i)
		} else {
			b, mb = b+w, mb+w*float64(i)
		}
	}
	if a == 0 || b == 0 {
		return 0
	}
	d := ma/a - mb/b
	return a * b / (a + b) / (a + b) * d * d
}

func TestHistogram(t *testing.T) {
	var h histogram
	if h.quantile(0.5, 0, histogramBins) != 0 {
		t.Error("a quantile of nothing")
	}
	h.add(codeOf(100), time.Minute)
	h.add(codeOf(2000), 3*time.Minute)
	if got := h.total(0, histogramBins); got != 240 {
		t.Errorf("%v s", got)
	}
	if got := h.quantile(0.1, 0, histogramBins); got < 80 || got > 125 {
		t.Errorf("lowest tenth at %.0f W", got)
	}
	if got := h.quantile(0.5, 0, histogramBins); got < 1600 || got > 2400 {
		t.Errorf("median at %.0f W", got)
	}
	var sum histogram
	sum.join(&h, 2)
	sum.scale(0.5)
	if sum != h {
		t.Error("twice and half is not the same")
	}
}

func TestCodes(t *testing.T) {
	for _, w := range []float64{0, 0.5, 1, 2, 7, 60, 400, 2000, 5200} {
		if back := wattsOf(codeOf(w)); math.Abs(back-w) > 0.02*w+0.05 {
			t.Errorf("%v W comes back as %v W", w, back)
		}
	}
	if codeOf(-5) != 0 || codeOf(math.NaN()) != 0 || codeOf(1e9) != 255 {
		t.Error("what is no power")
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64Range(0, 9000).Draw(t, "a"), rapid.Float64Range(0, 9000).Draw(t, "b")
		if a < b && codeOf(a) > codeOf(b) {
			t.Fatalf("%v W has a higher code than %v W", a, b)
		}
	})
}
