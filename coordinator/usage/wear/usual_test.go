package wear

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestSumLimit: the limit for a wanted run length, against R's spc 0.6.7
// (xcusum.arl, two-sided): with K 0.5, H 4 gives 167.6838 and H 5 gives
// 465.4435. Siegmund's formula is good to some hundredths of H.
func TestSumLimit(t *testing.T) {
	for quiet, h := range map[float64]float64{167.6838: 4, 465.4435: 5} {
		near(t, "the limit", sumLimit(0.5, 1, quiet), h, 0.03)
		near(t, "the limit in another unit", sumLimit(0.5*7, 7, quiet), 7*h, 0.2)
	}
}

// TestSumLimitGrows with what is asked of it: fewer false alarms, and noise.
func TestSumLimitGrows(t *testing.T) {
	last := 0.0
	for _, quiet := range []float64{10, 100, 1000, 1e4, 1e5, 1e6} {
		h := sumLimit(0.07, 0.1, quiet)
		if h <= last {
			t.Errorf("quiet %v: limit %v after %v", quiet, h, last)
		}
		last = h
	}
	if sumLimit(0.07, 0.2, 1e4) <= sumLimit(0.07, 0.1, 1e4) {
		t.Error("more noise needs no higher limit")
	}
}

// TestNoise: the deviation of independent values, and of values that follow each
// other alike, whose sums spread wider by sqrt((1+phi)/(1-phi)).
func TestNoise(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for _, phi := range []float64{0, 0.3, 0.5} {
		var q noise
		v := 0.0
		for range 20000 {
			v = phi*v + math.Sqrt(1-phi*phi)*0.1*random.NormFloat64()
			q.add(v, 1e9)
		}
		near(t, "sigma", q.sigma(Length), 0.1*math.Sqrt((1+phi)/(1-phi)), 0.006)
	}
	var none noise
	near(t, "sigma of nothing", none.sigma(Length), 0.03, 0)
	near(t, "sigma of no standby", none.sigma(Standby), 0.3, 0)
}

func TestUsualFollows(t *testing.T) {
	var u usual
	for range 100 {
		u.add(1, 50)
	}
	for range 500 {
		u.add(2, 50)
	}
	near(t, "what was usual at first", u.first, 1, 1e-12)
	near(t, "what is usual now", u.mean, 2, 1e-3)
}
