package queue

import (
	"math"
	"slices"
	"time"
)

// Span is a time with its uncertainty, Low <= Median <= High: one in ten is
// below Low, one in ten above High.
type Span struct{ Low, Median, High time.Duration }

// longestSpread bounds every length that a forecast reckons with; a longer one
// counts as this long.
const longestSpread = 30 * 24 * time.Hour

// Spread is a distribution of lengths of time, none below zero. The zero Spread
// is always zero. A Spread is immutable.
type Spread struct {
	span    Span
	samples []time.Duration // rising; nil when only the span is known
}

// SpreadOf is a distribution of which no more is known than its span. Between the
// three values it is even; above High it falls off like the exponential law
// through Median and High.
func SpreadOf(s Span) Spread {
	low := clampSpread(s.Low)
	median := max(low, clampSpread(s.Median))
	return Spread{span: Span{low, median, max(median, clampSpread(s.High))}}
}

// Always is a length without uncertainty.
func Always(d time.Duration) Spread { return SpreadOf(Span{d, d, d}) }

// Sampled is the distribution of lengths that were seen, each as likely as the
// other. While they are few, the prior counts as up to four of them; from twenty
// on it counts no more. samples is not kept.
func Sampled(samples []time.Duration, prior Span) Spread {
	p := SpreadOf(prior)
	if len(samples) == 0 {
		return p
	}
	assumed := max(0, 4-len(samples)/5)
	all := make([]time.Duration, 0, len(samples)+assumed)
	for _, d := range samples {
		all = append(all, clampSpread(d))
	}
	for k := range assumed {
		all = append(all, p.quantile((float64(k)+0.5)/float64(assumed)))
	}
	slices.Sort(all)
	s := Spread{samples: all}
	s.span = Span{s.quantile(0.1), s.quantile(0.5), s.quantile(0.9)}
	return s
}

// Share is a share learned from counts, with a prior share that counts as ten:
// (count + 10 prior) / (of + 10). Odd counts give the prior.
func Share(count, of int, prior float64) float64 {
	if count < 0 || of < count {
		return prior
	}
	return (float64(count) + 10*prior) / (float64(of) + 10)
}

// Span is the distribution's 10th, 50th and 90th percentile.
func (s *Spread) Span() Span { return s.span }

func clampSpread(d time.Duration) time.Duration { return min(max(d, 0), longestSpread) }

// quantile is the length that the share u, 0 <= u < 1, does not exceed.
func (s *Spread) quantile(u float64) time.Duration {
	if len(s.samples) > 0 {
		return s.sampleQuantile(u)
	}
	low, median, high := float64(s.span.Low), float64(s.span.Median), float64(s.span.High)
	var d float64
	switch {
	case u < 0.5:
		d = median - (0.5-u)/0.4*(median-low)
	case u < 0.9:
		d = median + (u-0.5)/0.4*(high-median)
	case high > median:
		d = high + (high-median)*math.Log(0.1/(1-u))/math.Log(5)
	default:
		d = high
	}
	return time.Duration(min(max(d, 0), float64(longestSpread)))
}

func (s *Spread) sampleQuantile(u float64) time.Duration {
	at := u*float64(len(s.samples)) - 0.5
	i := int(at)
	switch {
	case at <= 0:
		return s.samples[0]
	case i >= len(s.samples)-1:
		return s.samples[len(s.samples)-1]
	}
	a, b := s.samples[i], s.samples[i+1]
	return a + time.Duration((at-float64(i))*float64(b-a))
}

// share is the share of lengths below d: what quantile turns back into d.
func (s *Spread) share(d time.Duration) float64 {
	lo, hi := 0.0, 1.0
	if d <= s.quantile(lo) {
		return 0
	}
	// By halving, so that there is one law to keep right, not two; 20 steps are a millionth.
	for range 20 {
		if mid := (lo + hi) / 2; s.quantile(mid) < d {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// after draws how much longer a length lasts of which gone has passed, with the
// share that is shorter than gone already known. u is even in 0 to 1.
func (s *Spread) after(gone time.Duration, below, u float64) time.Duration {
	return max(0, s.quantile(below+(1-below)*u)-gone)
}

// table are the lengths in the middle of each cell, so that a draw is a look-up.
func (s *Spread) table() []time.Duration {
	t := make([]time.Duration, cells)
	for i := range t {
		t[i] = s.quantile(share(i))
	}
	return t
}
