package wear

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// series are values round zero.
func series(t *rapid.T) []float64 {
	return rapid.SliceOfN(rapid.Float64Range(-10, 10), 1, 60).Draw(t, "values")
}

// TestSumsAreSums: the tabular chart is what its definition says: the upper sum is
// the largest of all sums of the newest values above the target and the allowance
// (the "V-mask form" of the handbook's 6.3.2.3), or 0, and the lower one mirrors it.
func TestSumsAreSums(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := CUSUM{Target: rapid.Float64Range(-3, 3).Draw(t, "target"), K: rapid.Float64Range(0, 2).Draw(t, "k"), H: 5}
		values := series(t)
		mirror := make([]float64, len(values))
		for i, v := range values {
			mirror[i] = 2*c.Target - v
		}
		points, mirrored := c.Points(values), c.Points(mirror)
		for i, p := range points {
			rise, sum := 0.0, 0.0
			for k := i; k >= 0; k-- {
				sum += values[k] - c.Target - c.K
				rise = max(rise, sum)
			}
			if math.Abs(p.Rise-rise) > 1e-9 {
				t.Fatalf("the upper sum of point %d is %v, want %v", i, p.Rise, rise)
			}
			if math.Abs(p.Sag-mirrored[i].Rise) > 1e-9 || math.Abs(p.Rise-mirrored[i].Sag) > 1e-9 {
				t.Fatalf("point %d is %+v, mirrored %+v", i, p, mirrored[i])
			}
			if c.Signals(p) != (p.Rise > 5 || p.Sag > 5) {
				t.Fatalf("point %d signals %v", i, c.Signals(p))
			}
		}
	})
}

// TestAverageIsWeighted: the average is each value with the weight that its age
// gives it, and what is left for the target (the handbook's 6.3.2.4 unrolled).
func TestAverageIsWeighted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := EWMA{Target: rapid.Float64Range(-5, 5).Draw(t, "target"), Sigma: 1, Lambda: rapid.Float64Range(0.05, 1).Draw(t, "lambda"), Width: 3}
		values := series(t)
		low, high := e.Limits()
		for i, p := range e.Points(values) {
			want := e.Target * math.Pow(1-e.Lambda, float64(i+1))
			for k := range i + 1 {
				want += e.Lambda * math.Pow(1-e.Lambda, float64(i-k)) * values[k]
			}
			if math.Abs(p.Average-want) > 1e-9 {
				t.Fatalf("the average of point %d is %v, want %v", i, p.Average, want)
			}
			if p.Low < low-1e-9 || p.High > high+1e-9 || math.Abs(p.Low+p.High-2*e.Target) > 1e-9 {
				t.Fatalf("the limits of point %d are %v and %v, in the end %v and %v", i, p.Low, p.High, low, high)
			}
		}
	})
}

// TestAverageOfOne: with all weight on the newest value the chart is Shewhart's,
// whose limits are three deviations (handbook, 6.3.2).
func TestAverageOfOne(t *testing.T) {
	e := EWMA{Target: 10, Sigma: 2, Lambda: 1, Width: 3}
	for i, p := range e.Points([]float64{10, 15.9, 16.1, 3.9, 10}) {
		near(t, "the lower limit", p.Low, 4, 1e-12)
		near(t, "the upper limit", p.High, 16, 1e-12)
		if p.Average != p.Value || p.Out() != (i == 2 || i == 3) {
			t.Errorf("point %d: %+v, out %v", i, p, p.Out())
		}
	}
}

// TestSumsForget: sums are held at one and a half of the limit, so that after a
// repair they are below it within as many cycles as half the limit takes.
func TestSumsForget(t *testing.T) {
	c := CUSUM{Target: 0, K: 0.5, H: 4}
	var s sums
	for i := range 200 {
		s.add(c, 2, i)
	}
	near(t, "the sum after a long drift", s.Rise, 6, 1e-12)
	if s.first() != 0 || s.most() != s.Rise {
		t.Errorf("it grows since point %d, most %v", s.first(), s.most())
	}
	n := 0
	for ; s.Rise > 4; n++ {
		s.add(c, 0, 200+n)
	}
	if n != 4 { // (6 - 4) / 0.5
		t.Errorf("signals for %d cycles after the repair", n)
	}
	for i := range 40 {
		s.add(c, -3, 300+i)
	}
	if s.Rise != 0 || s.first() != 300 {
		t.Errorf("after values below, %+v grows since %d", s.SumPoint, s.first())
	}
}

// TestUsualByHand: 10, 20, 30 with a memory of two: the mean of the first two stays,
// the other follows by half of what each value is off.
func TestUsualByHand(t *testing.T) {
	var u usual
	for i, c := range []struct{ x, first, mean float64 }{{10, 10, 10}, {20, 15, 15}, {30, 15, 22.5}, {22.5, 15, 22.5}} {
		u.add(c.x, 2)
		if u.n != i+1 {
			t.Errorf("%d values", u.n)
		}
		near(t, "what was first", u.first, c.first, 1e-12)
		near(t, "what is usual", u.mean, c.mean, 1e-12)
	}
}

// TestNoiseOfWildValues: one load in fifty that is far off widens the limits by no
// more than four deviations would.
func TestNoiseOfWildValues(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	var calm, wild noise
	for i := range 5000 {
		v := 0.05 * random.NormFloat64()
		calm.add(v, 1e9)
		if i%50 == 49 {
			v = 100
		}
		wild.add(v, 1e9)
	}
	a, b := calm.sigma(Length), wild.sigma(Length)
	// A value in fifty at four deviations: sqrt(49/50 + 16/50 s²/1) solved for s is 1.2.
	if b < a || b > 1.35*a {
		t.Errorf("the deviation is %v, with wild values %v", a, b)
	}
}
