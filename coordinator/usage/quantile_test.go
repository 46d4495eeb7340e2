package usage

import (
	"math"
	"slices"
	"testing"
	"time"
)

// TestQuantileOfTheHandbook: NIST/SEMATECH e-Handbook of Statistical Methods,
// 7.2.6.2 "Percentiles": the 90th percentile of these 12 measurements is
// 95.1981 (values and result from memory; Python's statistics.quantiles, method
// "exclusive", gives 95.19807 and 95.1579 for the median).
func TestQuantileOfTheHandbook(t *testing.T) {
	values := []float64{
		95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610,
		95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682,
	}
	var rising Waits
	for _, v := range values {
		rising = append(rising, time.Duration(math.Round(v*1e9)))
	}
	slices.Sort(rising)
	for p, want := range map[float64]float64{0.9: 95.19807, 0.5: 95.1579} {
		if got := quantile(rising, p).Seconds(); math.Abs(got-want) > 5e-6 {
			t.Errorf("the %v quantile is %v, want %v", p, got, want)
		}
	}
}

// The 19 values are those of Python's statistics.quantiles(waits, n=20,
// method="exclusive"), seconds.
func TestQuantilesOfWaits(t *testing.T) {
	var waits Waits
	for _, s := range []int{60, 120, 180, 300, 420, 600, 900, 1200, 2400, 3600, 5400} {
		waits = append(waits, time.Duration(s)*time.Second)
	}
	python := []float64{36, 72, 108, 144, 180, 252, 324, 396, 492, 600, 780, 960, 1140, 1680, 2400, 3120, 3960, 5040, 6120}
	for i, want := range python {
		want = max(60, min(want, 5400)) // Python goes on beyond the ends, we do not
		if got := quantile(waits, float64(i+1)/20).Seconds(); math.Abs(got-want) > 1e-6 {
			t.Errorf("the %d/20 quantile is %v s, want %v", i+1, got, want)
		}
	}
	if waits.Median() != 10*time.Minute || waits.P95() != 90*time.Minute {
		t.Errorf("median %v, 95th percentile %v", waits.Median(), waits.P95())
	}
}

func TestQuantilesOfFew(t *testing.T) {
	if w := (Waits{}); w.Median() != 0 || w.P95() != 0 {
		t.Error("no waits have a wait")
	}
	if w := (Waits{time.Hour}); w.Median() != time.Hour || w.P95() != time.Hour {
		t.Error("one wait is not its own median")
	}
	if got := Merge(Waits{3, 9}, nil, Waits{1, 4}); !slices.Equal(got, Waits{1, 3, 4, 9}) {
		t.Errorf("merged to %v", got)
	}
}
