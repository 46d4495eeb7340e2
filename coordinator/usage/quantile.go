package usage

import (
	"math"
	"slices"
	"time"
)

// quantile is the p-quantile (0 to 1) of values in rising order, by the rule of
// the NIST/SEMATECH e-Handbook, 7.2.6.2: the value of rank p(n+1), between two
// ranks in proportion, and never beyond the smallest and largest. It is zero
// for no values.
func quantile(rising []time.Duration, p float64) time.Duration {
	n := len(rising)
	if n == 0 {
		return 0
	}
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

// Waits are how long turns waited for their calls, in rising order.
type Waits []time.Duration

// Median is the middle wait, zero for none.
func (w Waits) Median() time.Duration { return quantile(w, 0.5) }

// P95 is the wait that 95 of 100 stay within, zero for none.
func (w Waits) P95() time.Duration { return quantile(w, 0.95) }

// Merge puts waits of several days or machines together.
func Merge(all ...Waits) Waits {
	out := slices.Concat(all...)
	slices.Sort(out)
	return out
}

// milli rounds to three decimals, so that sums do not depend on their order.
func milli(v float64) float64 { return math.Round(v*1000) / 1000 }
