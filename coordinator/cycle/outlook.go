package cycle

import (
	"math"
	"slices"
	"time"
)

// priorPoints is how many equally likely lengths stand for what is known of a
// kind of machine.
const priorPoints = 16

// priorLength16 are equally likely lengths of a programme of a machine of which
// nothing is known: log-normal about a median of 95 minutes (washer) or 65 (dryer),
// with two thirds within a factor of 1.5; a machine that does both does so by
// turns, one half of them in one go in 170 (common practice, no source).
func priorSpread(s Settings) (points [priorPoints]time.Duration) {
	const washes, dries, both = 95, 65, 170
	switch {
	case s.Washer && s.Dryer:
		logNormal(points[:priorPoints/4], washes)
		logNormal(points[priorPoints/4:priorPoints/2], dries)
		logNormal(points[priorPoints/2:], both)
		slices.Sort(points[:])
	case s.Dryer:
		logNormal(points[:], dries)
	default:
		logNormal(points[:], washes)
	}
	return points
}

// logNormal fills points with equally likely values about a median, min.
func logNormal(points []time.Duration, median float64) {
	const sigma = 0.40
	for i := range points {
		p := (float64(i) + 0.5) / float64(len(points))
		z := math.Sqrt2 * math.Erfinv(2*p-1)
		points[i] = time.Duration(median * math.Exp(sigma*z) * float64(time.Minute))
	}
}

// outlook is what is said about the remaining time of the running cycle, as
// instants. It is reckoned anew each minute and read in between.
type outlook struct {
	At                time.Time
	Median, Low, High time.Time
	About             bool
	// Phases counts the phases that had begun when it was reckoned.
	Phases int
}

// jumpMost is how far the expected end may move in a minute without a new phase.
const jumpMost = 9 * time.Minute

// estimate is the outlook as seen at an instant.
func (o *outlook) estimate(now time.Time) Estimate {
	e := Estimate{
		Median: max(0, o.Median.Sub(now)), Low: max(0, o.Low.Sub(now)),
		High: max(0, o.High.Sub(now)), About: o.About,
	}
	e.Overdue = e.Median == 0
	return e
}

// move says a new outlook; the expected end goes no further than jumpMost
// unless a phase has begun.
func (o *outlook) move(to outlook) {
	if !o.At.IsZero() && to.Phases == o.Phases {
		most, least := o.Median.Add(jumpMost), o.Median.Add(-jumpMost)
		if to.Median.After(most) {
			to.Median = most
		}
		if to.Median.Before(least) {
			to.Median = least
		}
	}
	if to.Low.After(to.Median) {
		to.Low = to.Median
	}
	if to.High.Before(to.Median) {
		to.High = to.Median
	}
	*o = to
}
