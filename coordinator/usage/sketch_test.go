package usage

import (
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// exact is the p-quantile of waits in rising order by the rule of the
// NIST/SEMATECH e-Handbook, 7.2.6.2: the value of rank p(n+1), between two ranks
// in proportion, and never beyond the smallest and largest.
func exact(rising []time.Duration, p float64) time.Duration {
	n := len(rising)
	rank := p * float64(n+1)
	k := int(math.Floor(rank))
	switch {
	case k < 1:
		return rising[0]
	case k >= n:
		return rising[n-1]
	}
	below, above := rising[k-1], rising[k]
	return below + time.Duration(math.Round((rank-float64(k))*float64(above-below)))
}

// TestQuantileOfTheHandbook: NIST/SEMATECH e-Handbook of Statistical Methods,
// 7.2.6.2 "Percentiles": the 90th percentile of these 12 measurements is
// 95.1981 (values and result from memory; Python's statistics.quantiles, method
// "exclusive", gives 95.19807 and 95.1579 for the median).
func TestQuantileOfTheHandbook(t *testing.T) {
	var rising []time.Duration
	for _, v := range []float64{
		95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610,
		95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682,
	} {
		rising = append(rising, time.Duration(math.Round(v*1e9)))
	}
	slices.Sort(rising)
	sketch := SketchOf(rising...)
	for p, want := range map[float64]float64{0.9: 95.19807, 0.5: 95.1579} {
		near(t, "exact", exact(rising, p).Seconds(), want, 5e-6)
		near(t, "sketched", sketch.Quantile(p).Seconds(), want, want/100)
	}
}

// The 19 values are those of Python's statistics.quantiles(waits, n=20,
// method="exclusive"), seconds.
func TestQuantilesOfWaits(t *testing.T) {
	var waits Sketch
	for _, s := range []int{60, 120, 180, 300, 420, 600, 900, 1200, 2400, 3600, 5400} {
		waits.Add(time.Duration(s) * time.Second)
	}
	python := []float64{36, 72, 108, 144, 180, 252, 324, 396, 492, 600, 780, 960, 1140, 1680, 2400, 3120, 3960, 5040, 6120}
	for i, want := range python {
		want = max(60, min(want, 5400)) // Python goes on beyond the ends, we do not
		near(t, "quantile", waits.Quantile(float64(i+1)/20).Seconds(), want, want/100)
	}
}

func TestQuantilesOfFew(t *testing.T) {
	var empty Sketch
	if empty.Median() != 0 || empty.P95() != 0 || !empty.IsZero() {
		t.Error("no waits have a wait")
	}
	one := SketchOf(time.Hour)
	if !about(one.Median(), time.Hour) || !about(one.P95(), time.Hour) {
		t.Errorf("one wait of an hour has the median %v", one.Median())
	}
	if s := SketchOf(0, time.Millisecond, -time.Hour); s.P95() != 0 || s.Count() != 3 {
		t.Errorf("waits of no time: %v of %d", s.P95(), s.Count())
	}
	if long := SketchOf(1e6 * time.Hour); long.Median() > 2*longestWait {
		t.Errorf("the longest wait is %v", long.Median())
	}
}

// TestSketchAnyWaits: however waits are divided and put together, the sketch is
// the same, its quantiles are within 1 % (and below a second, 1 s) of the exact
// ones, and it comes back from its text as it was.
func TestSketchAnyWaits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		waits := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) time.Duration {
			return time.Duration(math.Exp(rapid.Float64Range(-2, 14).Draw(t, "ln s")) * 1e9)
		}), 1, 60).Draw(t, "waits")
		whole := SketchOf(waits...)
		cut := rapid.IntRange(0, len(waits)).Draw(t, "cut")
		parts, rest := SketchOf(waits[:cut]...), SketchOf(waits[cut:]...)
		rest.Merge(&parts)
		if !reflect.DeepEqual(rest, whole) {
			t.Fatalf("put together %+v, at once %+v", rest, whole)
		}
		slices.Sort(waits)
		p := rapid.Float64Range(0, 1).Draw(t, "p")
		got, want := whole.Quantile(p), exact(waits, p)
		if slack := want/100 + time.Second; (got - want).Abs() > slack {
			t.Fatalf("the %v quantile is %v, exactly %v", p, got, want)
		}
		text, err := json.Marshal(whole)
		must(t, err)
		var back Sketch
		must(t, json.Unmarshal(text, &back))
		if !reflect.DeepEqual(back, whole) {
			t.Fatalf("%s came back as %+v", text, back)
		}
	})
}

// TestSketchStaysSmall: a hundred thousand waits take no more room than there are
// bins between a second and ten years.
func TestSketchStaysSmall(t *testing.T) {
	var s Sketch
	for i := range 100_000 {
		s.Add(time.Duration(i*i) * time.Second)
	}
	if len(s.bins) > 1000 || s.Count() != 100_000 {
		t.Errorf("%d bins for %d waits", len(s.bins), s.Count())
	}
}

func FuzzPacked(f *testing.F) {
	for _, text := range []string{"", "AQE", "AAAA", "!", "AQEAAQ"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		var s Sketch
		if s.UnmarshalText([]byte(text)) == nil {
			back, err := s.MarshalText()
			must(t, err)
			var again Sketch
			if again.UnmarshalText(back) != nil || !reflect.DeepEqual(s, again) {
				t.Errorf("%q was read as %+v, written as %s", text, s, back)
			}
		}
		var h Hours
		var w Week
		_, _ = h.UnmarshalText([]byte(text)), w.UnmarshalText([]byte(text)) // must not panic
	})
}
