package wear

import "math"

// usual is what a programme's figure was before, on the chart's scale.
type usual struct {
	n int
	// first is the mean of the first values, which stays; mean follows the seasons.
	first, mean float64
}

// add takes a value; memory is how many values make the means.
func (u *usual) add(x float64, memory int) {
	u.n++
	u.mean += (x - u.mean) / float64(min(u.n, memory))
	if u.n <= memory {
		u.first = u.mean
	}
}

// noise is how much a figure differs from load to load: the mean square of what
// is off, and how alike two loads in a row are. From the reference only, so that
// a drift does not widen its own limits.
type noise struct {
	n, pairs       int
	squares, cross float64
	last           float64
}

// add takes how far a value is off the mean of the n before it. A few wild
// values count as four deviations.
func (q *noise) add(off, n float64) {
	// The mean of n values is itself off by sigma/sqrt(n).
	off *= math.Sqrt(n / (n + 1))
	if q.n >= 10 {
		most := 4 * math.Sqrt(q.squares/float64(q.n))
		off = min(max(off, -most), most)
	}
	q.n++
	q.squares += off * off
	if q.n > 1 {
		q.pairs++
		q.cross += off * q.last
	}
	q.last = off
}

// leastNoise is the least deviation that is believed, on the chart's scale: 3 %,
// or 0.3 W of standby. Meters round.
func leastNoise(f Figure) float64 {
	if f == Standby {
		return 0.3
	}
	return 0.03
}

// sigma is the deviation that counts for sums: of values that follow each other
// alike, sums spread as those of independent ones with a deviation wider by
// sqrt((1+phi)/(1-phi)), phi their correlation at lag one (a first-order
// autoregression).
func (q *noise) sigma(f Figure) float64 {
	if q.n < 2 || q.squares == 0 {
		return leastNoise(f)
	}
	phi := 0.0
	if q.pairs > 0 {
		phi = min(max(q.cross/q.squares, 0), 0.6)
	}
	return max(leastNoise(f), math.Sqrt(q.squares/float64(q.n)*(1+phi)/(1-phi)))
}

// sumLimit is the limit H of a two-sided chart of cumulative sums with allowance
// k of values with deviation sigma, all in one unit, that signals falsely once
// in quiet values on average.
//
// Source: D. Siegmund, Sequential Analysis, 1985: the run length of one side is
// (exp(2kb) - 2kb - 1) / 2k^2 with b = h + 1.166, k and h in deviations.
func sumLimit(k, sigma, quiet float64) float64 {
	k /= sigma
	length := func(h float64) float64 {
		kb := 2 * k * (h + 1.166)
		return (math.Exp(min(kb, 700)) - kb - 1) / (2 * k * k)
	}
	low, high := 0.0, 1.0
	for length(high) < 2*quiet && high < 1e6 {
		high *= 2
	}
	for range 60 {
		if mid := (low + high) / 2; length(mid) < 2*quiet {
			low = mid
		} else {
			high = mid
		}
	}
	return high * sigma
}
