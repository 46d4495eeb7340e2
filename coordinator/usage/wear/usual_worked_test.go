package wear

import (
	"math"
	"testing"
	"time"
)

// TestNoiseByHand: the deviation is the root of the mean square, wider by the root of
// (1+phi)/(1-phi), where phi, the sum of products of neighbours by that of squares, counts
// from 0 to 0.6; and from the eleventh on a value counts as four deviations at most.
func TestNoiseByHand(t *testing.T) {
	const many = 1e15 // values before, so that their mean is exact
	nine := []float64{0.1, -0.1, 0.1, -0.1, 0.1, -0.1, 0.1, -0.1, 0.1}
	wild := 25.09 // 9 * 0.01 + 25
	phi := (-8*0.01 + 0.5) / wild
	for name, c := range map[string]struct {
		off  []float64
		n    float64
		want float64
	}{
		"nothing":                      {nil, many, 0.03},
		"one":                          {[]float64{0.3}, many, 0.03},
		"none of it":                   {[]float64{0, 0, 0}, many, 0.03},
		"less than is believed":        {[]float64{0.02, -0.02}, many, 0.03},
		"two alike":                    {[]float64{0.3, 0.3}, many, 0.3 * math.Sqrt(3)}, // phi 1/2
		"two against each other":       {[]float64{0.3, -0.3}, many, 0.3},
		"three alike":                  {[]float64{0.3, 0.3, 0.3}, many, 0.3 * 2}, // phi 2/3 counts as 0.6
		"of a mean of four":            {[]float64{0.5, -0.5}, 4, 0.5 * math.Sqrt(0.8)},
		"a wild tenth":                 {append(nine[:9:9], 5), many, math.Sqrt(wild / 10 * (1 + phi) / (1 - phi))},
		"a wild eleventh counts as .4": {append(nine[:9:9], -0.1, 5), many, math.Sqrt(0.26 / 11)},
		"and below":                    {append(nine[:9:9], -0.1, -5), many, math.Sqrt(0.26 / 11)},
	} {
		var q noise
		for _, off := range c.off {
			q.add(off, c.n)
		}
		near(t, name, q.sigma(Length), c.want, 1e-9)
	}
}

// TestSumLimitSolves Siegmund's formula, put in again: the run length of one side is twice
// the wanted one.
func TestSumLimitSolves(t *testing.T) {
	for _, k := range []float64{0.05, 0.5, 1, 2.33} {
		for _, quiet := range []float64{20, 500, 15_000, 1e6} {
			h := sumLimit(k, 1, quiet)
			b := 2 * k * (h + 1.166)
			length := (math.Exp(b) - b - 1) / (2 * k * k)
			if h > 0 && math.Abs(length/(2*quiet)-1) > 1e-9 {
				t.Errorf("k %v, quiet %v: limit %v gives a run length of %v", k, quiet, h, length/2)
			}
			near(t, "in another unit", sumLimit(7*k, 7, quiet), 7*h, 1e-6*h)
		}
	}
	if h := sumLimit(1e-9, 1, 1e300); math.IsNaN(h) || h > 2e6 {
		t.Errorf("a limit for ever is %v", h)
	}
}

// TestLikelihoodByHand: half a side of the box is three deviations of a normal law, whose
// logarithm is -d²/2: half way out in both, (1.5² + 1.5²)/2 = 2.25 less.
func TestLikelihoodByHand(t *testing.T) {
	g := group{n: 5, centre: [2]float64{1, 2}}
	for _, c := range []struct {
		at   [2]float64
		want float64
	}{
		{[2]float64{1, 2}, math.Log(5)}, {[2]float64{1.125, 2.25}, math.Log(5) - 2.25}, {[2]float64{0.75, 2}, math.Log(5) - 4.5}, {[2]float64{1.25, 1.5}, math.Log(5) - 9},
		{[2]float64{1.2501, 2}, math.Inf(-1)}, {[2]float64{1, 1.4999}, math.Inf(-1)},
	} {
		if got := g.likelihood(c.at, [2]float64{0.25, 0.5}); got != c.want && math.Abs(got-c.want) > 1e-9 {
			t.Errorf("at %v: %v, want %v", c.at, got, c.want)
		}
	}
	g = group{}
	for i := range 40 { // thirty make the centre: 29 at 0, one at 3
		v := 0.0
		if i >= 29 {
			v = 3
		}
		g.add([2]float64{v, -v})
	}
	near(t, "the centre", g.centre[0], 0.1, 1e-12)
	near(t, "the centre", g.centre[1], -0.1, 1e-12)
	if g.n != 40 {
		t.Errorf("%d are counted", g.n)
	}
}

// TestLimitsThemselves are not beyond the limits.
func TestLimitsThemselves(t *testing.T) {
	c := CUSUM{Target: 1, K: 0.5, H: 2}
	for p, want := range map[SumPoint]bool{{Rise: 2, Sag: 2}: false, {Rise: 2.001}: true, {Sag: 2.001}: true} {
		if c.Signals(p) != want {
			t.Errorf("%+v signals: %v", p, !want)
		}
	}
	for _, v := range []AveragePoint{{Average: 1, Low: 1, High: 3}, {Average: 3, Low: 1, High: 3}} {
		if v.Out() {
			t.Errorf("%+v is out", v)
		}
	}
	if got := c.Points([]float64{3, 4}); len(got) != 2 || got[0] != (SumPoint{3, 1.5, 0}) || got[1] != (SumPoint{4, 4, 0}) {
		t.Errorf("points %+v", got)
	}
}

// TestSinceWhen: from the cycle that began at the instant or after it, counted anew.
func TestSinceWhen(t *testing.T) {
	all := []Cycle{washOf(60, 0.6), washOf(120, 1.1), washOf(60, 0.6)}
	for i := range all {
		all[i].Start = dayOne.AddDate(0, 0, i)
	}
	for _, c := range []struct {
		at   time.Time
		want []int
	}{{time.Time{}, []int{0, 1, 0}}, {dayOne.AddDate(0, 0, 1), []int{0, 1}}, {dayOne.AddDate(0, 0, 1).Add(1), []int{0}}, {dayOne.AddDate(0, 0, 9), nil}} {
		h := Since(c.at, all, false)
		if len(h.Cycles) != len(c.want) || len(h.Programmes) != len(c.want) {
			t.Errorf("since %v: %d cycles", c.at, len(h.Cycles))
			continue
		}
		for i, p := range c.want {
			if h.Programmes[i] != p {
				t.Errorf("since %v: cycle %d is of programme %d, want %d", c.at, i, h.Programmes[i], p)
			}
		}
	}
	if h := Since(dayOne, nil, false); len(h.Cycles) != 0 {
		t.Error("there are cycles of none")
	}
}

// TestOtherProgrammesAreNoDrift: cycles of a programme that is still learned are charted
// beside it, and neither count nor change what is found of another.
func TestOtherProgrammesAreNoDrift(t *testing.T) {
	values := []float64{60, 62, 59, 61, 60, 66, 58, 75, 90, 80, 82, 79}
	s := Settings{0.15, 4, 1000}
	alone := Watch(Length, worked(Length, values...), s).Drift
	h := worked(Length, append(values[:9:9], 20, 21, 80, 82, 79)...)
	h.Programmes[9], h.Programmes[10] = 1, 1
	c := Watch(Length, h, s)
	if c.Drift == nil || alone == nil || c.Drift.Cycles != alone.Cycles || math.Abs(c.Drift.Change-alone.Change) > 1e-12 {
		t.Errorf("found %+v, want %+v", c.Drift, alone)
	}
	if p := c.Points[9]; p.Charted || p.Programme != 1 {
		t.Errorf("a new programme is charted as %+v", p)
	}
}
