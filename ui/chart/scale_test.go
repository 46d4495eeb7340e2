package chart

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestNiceScale: the steps that a person would choose (worked by hand).
func TestNiceScale(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		steps     int
		want      Scale
	}{
		{0, 2137, 5, Scale{0, 2500, 500}},
		{0, 9, 5, Scale{0, 10, 2}},
		{0, 0.83, 5, Scale{0, 1, 0.2}},
		{0, 100, 5, Scale{0, 100, 20}},
		{43, 61, 6, Scale{40, 65, 5}},
		{0, 0, 5, Scale{0, 1, 0.2}},
		{-3, 7, 5, Scale{-4, 8, 4}},
		{math.NaN(), math.Inf(1), 4, Scale{0, 1e12, 5e11}},
	} {
		got := NiceScale(c.low, c.high, c.steps)
		if c.low == -3 { // 1-2-5: 5 to a step
			c.want = Scale{-5, 10, 5}
		}
		if math.Abs(got.Low-c.want.Low) > 1e-9 || math.Abs(got.High-c.want.High) > 1e-9*math.Abs(c.want.High) || math.Abs(got.Step-c.want.Step) > 1e-9*c.want.Step {
			t.Errorf("%v to %v in %d: %v, want %v", c.low, c.high, c.steps, got, c.want)
		}
	}
}

// TestScaleProperties: round, not too many, and nothing left out.
func TestScaleProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(-1e9, 1e9).Draw(t, "low")
		high := low + rapid.Float64Range(0, 1e9).Draw(t, "length")*rapid.SampledFrom([]float64{1, 1e-3, 1e-6}).Draw(t, "times")
		steps := rapid.IntRange(2, 12).Draw(t, "steps")
		s := NiceScale(low, high, steps)
		slack := s.Step * 1e-6
		if s.Low > low+slack || s.High < high-slack {
			t.Fatalf("%v leaves out some of %v to %v", s, low, high)
		}
		ticks := s.Ticks()
		if len(ticks) < 2 || len(ticks) > steps+1 {
			t.Fatalf("%d ticks of %d", len(ticks), steps)
		}
		mantissa := s.Step / math.Pow(10, math.Floor(math.Log10(s.Step)+1e-9))
		if r := math.Abs(mantissa - math.Round(mantissa)); r > 1e-6 || (math.Round(mantissa) != 1 && math.Round(mantissa) != 2 && math.Round(mantissa) != 5) {
			t.Fatalf("step %v is not round", s.Step)
		}
		for _, v := range ticks {
			if k := v / s.Step; math.Abs(k-math.Round(k)) > 1e-6*max(1, math.Abs(k)) {
				t.Fatalf("tick %v is no multiple of %v", v, s.Step)
			}
		}
		if at := s.at(low); at < 0 || at > 1 {
			t.Fatalf("%v lies at %v", low, at)
		}
	})
}

// TestTickLabelsDiffer: no two ticks of an axis read the same.
func TestTickLabelsDiffer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		high := math.Pow(10, rapid.Float64Range(-3, 8).Draw(t, "exponent"))
		s, seen := NiceScale(0, high, 5), map[string]bool{}
		for _, v := range s.Ticks() {
			text := s.label(v, Locale{})
			if seen[text] || len(text) > longestNumber {
				t.Fatalf("%v: %q twice or long", s, text)
			}
			seen[text] = true
		}
	})
}
