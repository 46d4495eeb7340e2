package cycle

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestCodesAreLogarithms: an octave of 1 + watts/2 is 20 codes (closed form), so that
// powers whose 1 + watts/2 is a power of two have whole codes.
func TestCodesAreLogarithms(t *testing.T) {
	for octave := range 12 {
		watts := 2 * (math.Exp2(float64(octave)) - 1)
		if got := codeOf(watts); int(got) != 20*octave {
			t.Errorf("%v W is %d, want %d", watts, got, 20*octave)
		}
		if got := wattsOf(uint8(20 * octave)); math.Abs(got-watts) > 1e-9*watts {
			t.Errorf("code %d is %v W, want %v", 20*octave, got, watts)
		}
	}
	for code := range 256 {
		if back := codeOf(wattsOf(uint8(code))); int(back) != code {
			t.Errorf("code %d comes back as %d", code, back)
		}
	}
}

// TestCodesAreFine: a power is known to half a step, 1.75 % of 2 W more than it.
func TestCodesAreFine(t *testing.T) {
	half := math.Exp2(1.0/40) - 1
	rapid.Check(t, func(rt *rapid.T) {
		w := rapid.Float64Range(0, 13_000).Draw(rt, "watts")
		if back := wattsOf(codeOf(w)); math.Abs(back-w) > half*(w+codeUnitW)+1e-9 {
			rt.Fatalf("%v W comes back as %v W", w, back)
		}
	})
}

// TestHistogramWeighsByTime, by hand: a meter that reports each second and one that
// reports a change once give the same histogram, and a level counts for as long as it
// stood, however many readings said so.
func TestHistogramWeighsByTime(t *testing.T) {
	var often, seldom histogram
	for range 600 {
		often.add(codeOf(2000), time.Second)
	}
	for range 1200 {
		often.add(codeOf(150), time.Second)
	}
	seldom.add(codeOf(2000), 10*time.Minute)
	seldom.add(codeOf(150), 20*time.Minute)
	if often != seldom {
		t.Error("who reports more often counts for more")
	}
	heat, drum := int(codeOf(2000))/codesABin, int(codeOf(150))/codesABin
	for bin, s := range often.Seconds {
		want := map[int]float64{heat: 600, drum: 1200}[bin]
		if s != want {
			t.Errorf("bin %d has %v s, want %v", bin, s, want)
		}
	}
	if got := often.total(drum, heat); got != 1200 {
		t.Errorf("below the heater there are %v s", got)
	}
	if got := often.total(drum, heat+1); got != 1800 {
		t.Errorf("with the heater there are %v s", got)
	}
}

// TestQuantilesByHand: time is spread evenly over a bin. 30 s in bin 10 and 90 s in
// bin 20: a quarter of the time is over at the upper end of bin 10, the half a third
// of the way (60 - 30 of 90 s) up bin 20, all of it at its end.
func TestQuantilesByHand(t *testing.T) {
	var h histogram
	h.Seconds[10], h.Seconds[20] = 30, 90
	for _, c := range []struct{ p, bins float64 }{
		{0, 10}, {0.125, 10.5}, {0.25, 11}, {0.5, 20 + 1.0/3}, {1, 21},
	} {
		want := wattsOf(uint8(c.bins * codesABin))
		if got := h.quantile(c.p, 0, histogramBins); got != want {
			t.Errorf("the %v quantile is %v W, want %v", c.p, got, want)
		}
	}
	if got, want := h.quantile(0.5, 0, 15), wattsOf(uint8(10.5*codesABin)); got != want {
		t.Errorf("of the lower bins the median is %v W, want %v", got, want)
	}
}

// TestQuantilesRise with the share, and lie within the levels that there were.
func TestQuantilesRise(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var h histogram
		low, high := 255, 0
		for range rapid.IntRange(1, 8).Draw(rt, "levels") {
			code := rapid.IntRange(0, 250).Draw(rt, "code")
			h.add(uint8(code), time.Duration(rapid.IntRange(1, 9000).Draw(rt, "seconds"))*time.Second)
			low, high = min(low, code), max(high, code)
		}
		last := wattsOf(uint8(low / codesABin * codesABin))
		for p := 0.0; p <= 1; p += 0.05 {
			q := h.quantile(p, 0, histogramBins)
			if q < last {
				rt.Fatalf("the %.2f quantile is %v W, a smaller one %v W", p, q, last)
			}
			last = q
		}
		if most := wattsOf(uint8((high/codesABin + 1) * codesABin)); last > most {
			rt.Fatalf("nearly all the time lies below %v W, there was none above %v W", last, most)
		}
	})
}

// TestVarianceIsDivided: the variance between Otsu's classes and that within them are
// the whole variance (law of total variance; Otsu 1979, equation 17). For the weights
// [8 7 2 6 9 4] the part within is 0.49088407 (computed with scikit-image 0.19.3).
func TestVarianceIsDivided(t *testing.T) {
	ws := []float64{8, 7, 2, 6, 9, 4}
	at, between := otsu(ws)
	if within := withinClasses(ws, at); math.Abs(within-0.49088407) > 1e-8 {
		t.Errorf("within the classes there is %.8f", within)
	}
	rapid.Check(t, func(rt *rapid.T) {
		ws := rapid.SliceOfN(rapid.Float64Range(0.1, 50), 2, 20).Draw(rt, "weights")
		at, between = otsu(ws)
		whole := withinClasses(ws, len(ws)-1)
		if got := withinClasses(ws, at) + between; math.Abs(got-whole) > 1e-6*(1+whole) {
			rt.Fatalf("within and between make %v of %v", got, whole)
		}
	})
}

// withinClasses is the variance of levels about the mean of their class, of which the
// first has the levels up to t.
func withinClasses(ws []float64, t int) float64 {
	var all, sum float64
	for _, w := range ws {
		all += w
	}
	for _, class := range [][2]int{{0, t + 1}, {t + 1, len(ws)}} {
		var n, mean float64
		for i := class[0]; i < class[1]; i++ {
			n, mean = n+ws[i], mean+ws[i]*float64(i)
		}
		for i := class[0]; i < class[1]; i++ {
			d := float64(i) - mean/n
			sum += ws[i] * d * d
		}
	}
	return sum / all
}

// TestOtsuOfNothing: no time at all, or all of it at one level, has no split.
func TestOtsuOfNothing(t *testing.T) {
	for _, ws := range [][]float64{{0, 0, 0}, {5, 0, 0}, {0, 0, 5}, {0, 7, 0}} {
		if at, between := otsu(ws); at != 0 || between != 0 {
			t.Errorf("%v is split after %d, variance %v", ws, at, between)
		}
	}
}

// TestOtsuHasNoUnit: twice the time at every level, or empty levels below, change the
// split by nothing but the place of the levels.
func TestOtsuHasNoUnit(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		ws := rapid.SliceOfN(rapid.Float64Range(0.5, 50), 2, 16).Draw(rt, "weights")
		at, between := otsu(ws)
		double := make([]float64, len(ws))
		for i, w := range ws {
			double[i] = 2 * w
		}
		if at2, between2 := otsu(double); at2 != at || math.Abs(between2-between) > 1e-9*(1+between) {
			rt.Fatalf("of twice the time it is after %d with %v, of once after %d with %v", at2, between2, at, between)
		}
		if at3, _ := otsu(append([]float64{0, 0, 0}, ws...)); at3 != at+3 {
			rt.Fatalf("three levels up it is after %d, else after %d", at3, at)
		}
	})
}
