package queue

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestSpreadOfGoesThrough: a spread has the span that it was made of.
func TestSpreadOfGoesThrough(t *testing.T) {
	s := SpreadOf(Span{10 * time.Minute, 20 * time.Minute, 50 * time.Minute})
	for u, want := range map[float64]time.Duration{
		0: 7*time.Minute + 30*time.Second, 0.1: 10 * time.Minute, 0.3: 15 * time.Minute, 0.5: 20 * time.Minute,
		0.7: 35 * time.Minute, 0.9: 50 * time.Minute,
	} {
		if got := s.quantile(u); (got - want).Abs() > time.Millisecond {
			t.Errorf("the share %g is below %s, want %s", u, got, want)
		}
	}
	if s.Span() != (Span{10 * time.Minute, 20 * time.Minute, 50 * time.Minute}) {
		t.Errorf("its span is %v", s.Span())
	}
}

// TestSpreadTailIsExponential: above High the exponential law through Median and
// High goes on. Its quantiles are -ln(1-u) times the mean.
func TestSpreadTailIsExponential(t *testing.T) {
	law := func(u float64) time.Duration { return time.Duration(-math.Log(1-u) * float64(time.Hour)) }
	s := SpreadOf(Span{law(0.1), law(0.5), law(0.9)})
	for _, u := range []float64{0.9, 0.95, 0.99, 0.999} {
		if got, want := s.quantile(u), law(u); (got - want).Abs() > time.Second {
			t.Errorf("the share %g is below %s, want %s", u, got, want)
		}
	}
}

func TestSpreadOddSpans(t *testing.T) {
	for _, c := range []struct{ given, want Span }{
		{Span{}, Span{}},
		{Span{-time.Hour, -time.Minute, -time.Second}, Span{}},
		{Span{30 * time.Minute, 20 * time.Minute, 10 * time.Minute}, exactly(30 * time.Minute)},
		{exactly(math.MaxInt64), exactly(longestSpread)},
		{Span{math.MinInt64, 0, math.MaxInt64}, Span{0, 0, longestSpread}},
	} {
		if s := SpreadOf(c.given); s.Span() != c.want {
			t.Errorf("%v becomes %v, want %v", c.given, s.Span(), c.want)
		}
	}
	var zero Spread
	if zero.quantile(0.99) != 0 || zero.share(time.Hour) < 0.999 || zero.share(0) != 0 {
		t.Error("the zero spread is not always zero")
	}
}

// TestSampledFadesThePrior: a prior of two hours counts as four loads at first and
// as none from twenty on.
func TestSampledFadesThePrior(t *testing.T) {
	prior := exactly(2 * time.Hour)
	for _, c := range []struct{ seen, prior int }{{1, 4}, {4, 4}, {5, 3}, {10, 2}, {15, 1}, {19, 1}, {20, 0}, {40, 0}} {
		s := Sampled(slices.Repeat([]time.Duration{time.Hour}, c.seen), prior)
		if got := len(s.samples) - c.seen; got != c.prior {
			t.Errorf("%d seen: the prior counts as %d, want %d", c.seen, got, c.prior)
		}
	}
	if s := Sampled(nil, prior); s.Span() != prior {
		t.Errorf("with nothing seen: %v", s.Span())
	}
}

// TestSampledKeepsNothing: the caller may go on using its list.
func TestSampledKeepsNothing(t *testing.T) {
	list := []time.Duration{3 * time.Hour, time.Hour, 2 * time.Hour}
	s := Sampled(list, Span{})
	before := s.Span()
	list[0], list[1] = -5, 99*time.Hour
	if !slices.Equal(list, []time.Duration{-5, 99 * time.Hour, 2 * time.Hour}) || s.Span() != before {
		t.Error("the list and the spread share something")
	}
}

// TestSampledQuantiles: the 10th, 50th and 90th percentile of 1 to 100 minutes lie
// between two of them, by Hazen's rule (position u n - 1/2), common practice.
func TestSampledQuantiles(t *testing.T) {
	var list []time.Duration
	for i := range 100 {
		list = append(list, time.Duration(100-i)*time.Minute)
	}
	s := Sampled(list, Span{})
	want := Span{10*time.Minute + 30*time.Second, 50*time.Minute + 30*time.Second, 90*time.Minute + 30*time.Second}
	if got := s.Span(); (got.Low-want.Low).Abs() > 1 || (got.Median-want.Median).Abs() > 1 || (got.High-want.High).Abs() > 1 {
		t.Errorf("%v, want %v", got, want)
	}
}

func drawSpread(t *rapid.T, name string) Spread {
	d := rapid.Int64Range(-int64(time.Hour), int64(3*time.Hour))
	if rapid.Bool().Draw(t, name+" sampled") {
		list := rapid.SliceOfN(d, 0, 30).Draw(t, name)
		samples := make([]time.Duration, len(list))
		for i := range list {
			samples[i] = time.Duration(list[i])
		}
		return Sampled(samples, exactly(time.Hour))
	}
	return SpreadOf(Span{time.Duration(d.Draw(t, name)), time.Duration(d.Draw(t, name)), time.Duration(d.Draw(t, name))})
}

// TestSpreadProperties: quantiles rise and are never negative, share undoes
// quantile, and what is left after a while is never negative.
func TestSpreadProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSpread(t, "spread")
		u := rapid.Float64Range(0, 0.999).Draw(t, "u")
		v := rapid.Float64Range(u, 0.9999).Draw(t, "v")
		a, b := s.quantile(u), s.quantile(v)
		if a < 0 || b < a || b > longestSpread {
			t.Fatalf("quantile %g is %s, %g is %s", u, a, v, b)
		}
		if back := s.quantile(s.share(a)); (back - a).Abs() > time.Second+b/100 {
			t.Fatalf("%s has the share %g below it, which is %s", a, s.share(a), back)
		}
		gone := time.Duration(rapid.Int64Range(0, int64(4*time.Hour)).Draw(t, "gone"))
		left := s.after(gone, s.share(gone), u)
		if left < 0 || gone+left > longestSpread+gone {
			t.Fatalf("after %s there is %s left", gone, left)
		}
	})
}

// TestSpreadForgets: what is left of an exponential law is the same law, however
// much has gone by (its lack of memory).
func TestSpreadForgets(t *testing.T) {
	s := Sampled(exponential(2000, time.Hour), Span{})
	for _, gone := range []time.Duration{0, 10 * time.Minute, time.Hour, 2 * time.Hour} {
		below := s.share(gone)
		for _, u := range []float64{0.1, 0.5, 0.9} {
			got, want := s.after(gone, below, u), s.quantile(u)
			if math.Abs(float64(got-want)) > 0.03*float64(want) {
				t.Errorf("after %s the share %g is below %s more, at first %s", gone, u, got, want)
			}
		}
	}
}

// exponential is an exponential law as n equally likely values.
func exponential(n int, mean time.Duration) []time.Duration {
	list := make([]time.Duration, n)
	for i := range list {
		list[i] = time.Duration(-math.Log(1-(float64(i)+0.5)/float64(n)) * float64(mean))
	}
	return list
}

func TestShare(t *testing.T) {
	for _, c := range []struct {
		count, of   int
		prior, want float64
	}{{0, 0, 0.1, 0.1}, {0, 90, 0.1, 0.01}, {30, 90, 0.1, 0.31}, {-1, 5, 0.1, 0.1}, {6, 5, 0.1, 0.1}} {
		if got := Share(c.count, c.of, c.prior); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%d of %d: %g, want %g", c.count, c.of, got, c.want)
		}
	}
}

// FuzzSpread: whatever was seen or assumed, draws lie in their bounds.
func FuzzSpread(f *testing.F) {
	f.Add(int64(1), int64(2), int64(3), int64(4), uint8(3))
	f.Add(int64(math.MinInt64), int64(math.MaxInt64), int64(0), int64(-1), uint8(0))
	f.Fuzz(func(t *testing.T, a, b, c, d int64, n uint8) {
		span := Span{time.Duration(a), time.Duration(b), time.Duration(c)}
		s := Sampled(slices.Repeat([]time.Duration{time.Duration(d)}, int(n%40)), span)
		last := time.Duration(0)
		for _, at := range s.table() {
			if at < last || at > longestSpread {
				t.Fatalf("%v and %d of %d: %s after %s", span, n, d, at, last)
			}
			last = at
		}
		if left := s.after(time.Duration(d), s.share(time.Duration(d)), 0.5); left < 0 {
			t.Fatalf("%s left", left)
		}
	})
}
