package chart

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The rule that steps of axes are held against is Heckbert's: Paul S. Heckbert,
// Nice numbers for graph labels, in: Andrew Glassner (ed.), Graphics Gems, Academic
// Press 1990, pages 61 to 63, with its code on pages 657 to 659; the rule, its
// thresholds and its example of 105 to 543 are from memory.

// niceNumber is Heckbert's nicenum: a number near x, or not below it, that is 1, 2
// or 5 times a power of ten.
func niceNumber(x float64, rounded bool) float64 {
	power := math.Pow(10, math.Floor(math.Log10(x)))
	bounds := [...]float64{1, 2, 5}
	if rounded {
		bounds = [...]float64{1.5, 3, 7}
	}
	f := x / power
	for i, nice := range [...]float64{1, 2, 5} {
		if rounded && f < bounds[i] || !rounded && f <= bounds[i] {
			return nice * power
		}
	}
	return 10 * power
}

// looseLabels is Heckbert's loose_label: the first and last label, their distance,
// and how many digits behind the decimal mark they need.
func looseLabels(low, high float64, ticks int) (first, last, step float64, digits int) {
	step = niceNumber(niceNumber(high-low, false)/float64(ticks-1), true)
	first, last = math.Floor(low/step)*step, math.Ceil(high/step)*step
	return first, last, step, int(max(-math.Floor(math.Log10(step)), 0))
}

func near(a, b, unit float64) bool { return math.Abs(a-b) <= 1e-6*math.Abs(unit) }

// TestHeckbertsExample: 105 to 543 is labelled from 100 to 600 by 100.
func TestHeckbertsExample(t *testing.T) {
	first, last, step, digits := looseLabels(105, 543, 5)
	if first != 100 || last != 600 || step != 100 || digits != 0 {
		t.Fatalf("the rule as written here: %v to %v by %v, %d digits", first, last, step, digits)
	}
	if got := NiceScale(105, 543, 5); got != (Scale{100, 600, 100}) {
		t.Errorf("%+v", got)
	}
}

// TestStepsAsHeckberts: with as many steps as his rule takes, ours is never coarser;
// where the steps are the same, so are the ends and the digits.
func TestStepsAsHeckberts(t *testing.T) {
	same, all := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		low := float64(rapid.IntRange(-1e6, 1e6).Draw(t, "low")) // whole: ours forgives a billionth of a step
		high := low + math.Ceil(math.Pow(10, rapid.Float64Range(0, 7).Draw(t, "exponent")))
		first, last, step, digits := looseLabels(low, high, rapid.IntRange(3, 8).Draw(t, "ticks"))
		took := int(math.Round((last - first) / step))
		s := NiceScale(low, high, took)
		all++
		if s.Step > step*(1+1e-9) {
			t.Fatalf("%v to %v: a step of %v where Heckbert's is %v", low, high, s.Step, step)
		}
		if !near(s.Step, step, step) {
			return
		}
		same++
		if !near(s.Low, first, step) || !near(s.High, last, step) || s.Decimals() != min(digits, 6) {
			t.Fatalf("%v to %v: %+v with %d digits, Heckbert's %v to %v by %v with %d", low, high, s, s.Decimals(), first, last, step, digits)
		}
	})
	if same < all/2 {
		t.Errorf("only %d of %d steps are Heckbert's: the comparison says little", same, all)
	}
}

// TestTheFinestStep: the next finer round step would take more than was asked for.
func TestTheFinestStep(t *testing.T) {
	finer := map[int]float64{1: 0.5, 2: 0.5, 5: 0.4}
	rapid.Check(t, func(t *rapid.T) {
		low := float64(rapid.IntRange(-1e5, 1e5).Draw(t, "low"))
		high := low + math.Ceil(math.Pow(10, rapid.Float64Range(0, 6).Draw(t, "exponent")))
		steps := rapid.IntRange(2, 10).Draw(t, "steps")
		s := NiceScale(low, high, steps)
		lead := s.Step / math.Pow(10, math.Floor(math.Log10(s.Step)+1e-9))
		next := s.Step * finer[int(math.Round(lead))]
		if took := math.Ceil(high/next-1e-9) - math.Floor(low/next+1e-9); took <= float64(steps) {
			t.Fatalf("%v to %v in %d: a step of %v, though %v takes %v", low, high, steps, s.Step, next, took)
		}
	})
}

// TestTicksOfAScale: they begin and end where the scale does, each a step behind the
// last, and none lies outside; where 0 is among them it is plain 0.
func TestTicksOfAScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.OneOf(rapid.Just(0.0), rapid.Float64Range(-1e9, 1e9), rapid.Float64Range(-1e-3, 1e-3)).Draw(t, "low")
		high := low + rapid.OneOf(rapid.Just(0.0), rapid.Float64Range(0, 1e9), rapid.Float64Range(0, 1e-3)).Draw(t, "length")
		s := NiceScale(low, high, rapid.IntRange(1, 12).Draw(t, "steps"))
		ticks := s.Ticks()
		if !near(ticks[0], s.Low, s.Step) || !near(ticks[len(ticks)-1], s.High, s.Step) {
			t.Fatalf("%+v has ticks %v", s, ticks)
		}
		zero := false
		for i, v := range ticks {
			if i > 0 && !near(v-ticks[i-1], s.Step, s.Step) {
				t.Fatalf("%+v: from %v to %v is no step", s, ticks[i-1], v)
			}
			if v < s.Low-s.Step*1e-6 || v > s.High+s.Step*1e-6 {
				t.Fatalf("%+v: %v is outside", s, v)
			}
			if math.Abs(v) < s.Step/2 {
				zero = true
				if v != 0 || math.Signbit(v) {
					t.Fatalf("%+v: zero is %v", s, v)
				}
			}
			if got, want := s.at(v), float64(i)/float64(len(ticks)-1); math.Abs(got-want) > 1e-6 {
				t.Fatalf("%+v: tick %d of %d lies at %v", s, i, len(ticks), got)
			}
		}
		if !zero && s.Low < -s.Step/2 && s.High > s.Step/2 {
			t.Fatalf("%+v: no tick at 0", s)
		}
	})
}

// TestScaleAtItsEdges: what lies beyond is drawn at the edge, and what is no
// number as 0 would be; nothing makes the scale endless.
func TestScaleAtItsEdges(t *testing.T) {
	s := Scale{-10, 30, 10}
	for v, want := range map[float64]float64{-10: 0, 0: 0.25, 10: 0.5, 30: 1, -11: 0, 31: 1, 1e300: 1, -1e300: 0, math.Inf(1): 1, math.Inf(-1): 0} {
		if got := s.at(v); got != want {
			t.Errorf("%v lies at %v, want %v", v, got, want)
		}
	}
	if got := s.at(math.NaN()); got != 0.25 {
		t.Errorf("no number lies at %v", got)
	}
	for _, c := range [][2]float64{
		{math.NaN(), math.NaN()}, {math.Inf(-1), math.Inf(1)}, {0, math.MaxFloat64}, {-math.MaxFloat64, 0}, {1e-300, 2e-300},
		{1e12, 1e12}, {5, 5}, {-5, -5}, {7, -7}, {0, 1e-12},
	} {
		for steps := -1; steps <= 9; steps++ {
			s := NiceScale(c[0], c[1], steps)
			if !(s.High > s.Low) || !(s.Step > 0) || math.IsInf(s.High, 0) || math.IsInf(s.Low, 0) {
				t.Errorf("%v in %d: %+v", c, steps, s)
			}
			if n := len(s.Ticks()); n < 2 || n > max(1, steps)+2 {
				t.Errorf("%v in %d: %d ticks of %+v", c, steps, n, s)
			}
		}
	}
	if got := NiceScale(7, -7, 4); got.Low > -7 || got.High < 7 {
		t.Errorf("ends that are the wrong way round: %+v", got)
	}
	if got := NiceScale(-3, 4, 1); got.Low != -got.High || got.Low > -3 || got.High < 4 {
		t.Errorf("one step around 0: %+v", got)
	}
}

// TestDigitsOfLabels: as many as tell the steps apart, no more (worked by hand).
func TestDigitsOfLabels(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		steps     int
		want      []string
	}{
		{0, 100, 5, []string{"0", "20", "40", "60", "80", "100"}},
		{0, 0.5, 5, []string{"0.0", "0.1", "0.2", "0.3", "0.4", "0.5"}},
		{0, 0.02, 4, []string{"0.000", "0.005", "0.010", "0.015", "0.020"}},
		{-40, 40, 4, []string{"-40", "-20", "0", "20", "40"}},
		{0, 4e8, 4, []string{"0", "100000000", "200000000", "300000000", "400000000"}},
		{0, 4e9, 4, []string{"0", "1e+09", "2e+09", "3e+09", "4e+09"}},
		{0.98, 1.01, 3, []string{"0.98", "0.99", "1.00", "1.01"}},
	} {
		s := NiceScale(c.low, c.high, c.steps)
		var got []string
		for _, v := range s.Ticks() {
			got = append(got, s.label(v, Locale{}))
		}
		if len(got) != len(c.want) {
			t.Errorf("%v to %v: %q, want %q", c.low, c.high, got, c.want)
			continue
		}
		for i := range got {
			if got[i] != c.want[i] {
				t.Errorf("%v to %v: %q, want %q", c.low, c.high, got, c.want)
				break
			}
		}
	}
}

// TestLabelsAreTheLocales: the page's language writes the numbers.
func TestLabelsAreTheLocales(t *testing.T) {
	asked := map[float64]int{}
	l := Locale{Number: func(v float64, decimals int) string { asked[v] = decimals; return "n" }}
	s := Scale{0, 1, 0.25}
	for _, v := range s.Ticks() {
		if got := s.label(v, l); got != "n" {
			t.Errorf("%v is written %q", v, got)
		}
	}
	if len(asked) != 5 || asked[0.5] != 1 {
		t.Errorf("asked for %v", asked)
	}
}
