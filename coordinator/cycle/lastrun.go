package cycle

import (
	"slices"
	"time"
)

// How long a cycle takes when nothing is known of the machine (common practice,
// no source).
const (
	priorWash = 75 * time.Minute
	priorDry  = 60 * time.Minute
)

const (
	// lastRunKeeps bounds the history.
	lastRunKeeps = 32
	// anyMinute is how much longer an overdue cycle may take at least.
	anyMinute = 10 * time.Minute
	// enoughRuns is from when on the kept lengths bound what is sensible.
	enoughRuns = 3
)

// LastRun is the plainest forecast: a cycle takes as long as the last one did.
// Its interval comes from the lengths of the runs that are kept. It is the rule
// that a learned forecast has to beat.
//
// The fields are its whole memory.
type LastRun struct {
	// Lengths are those of the completed cycles, the newest last.
	Lengths []time.Duration
}

// Keep adds the length of a completed cycle.
func (l *LastRun) Keep(d time.Duration) {
	if len(l.Lengths) == lastRunKeeps {
		copy(l.Lengths, l.Lengths[1:])
		l.Lengths = l.Lengths[:lastRunKeeps-1]
	}
	l.Lengths = append(l.Lengths, d)
}

// Remaining is the forecast for a cycle of a machine of kind s that has been
// running for elapsed.
func (l *LastRun) Remaining(s Settings, elapsed time.Duration) Estimate {
	low, median, high := l.length(s, elapsed)
	e := Estimate{
		Low: max(0, low-elapsed), Median: max(0, median-elapsed), High: max(0, high-elapsed),
		About: len(l.Lengths) == 0, Overdue: elapsed >= median,
	}
	if e.Overdue {
		e.Low, e.High = 0, max(e.High, anyMinute)
	}
	return e
}

// length is what the whole cycle may take. Runs that were over by now are no
// longer among those that this one may be like.
func (l *LastRun) length(s Settings, elapsed time.Duration) (low, median, high time.Duration) {
	n := len(l.Lengths)
	if n == 0 {
		median = priorLength(s)
		return median * 2 / 5, median, median * 2
	}
	median = l.Lengths[n-1]
	low, high = median, median
	var sorted [lastRunKeeps]time.Duration
	longer := sorted[:0]
	for _, d := range l.Lengths {
		if d > elapsed && len(longer) < lastRunKeeps {
			longer = append(longer, d)
		}
	}
	slices.Sort(longer)
	if m := len(longer); m > 0 {
		low, high = min(low, longer[m/10]), max(high, longer[m-1-m/10])
	}
	// The fewer runs there are, the less their spread says.
	slack := median / time.Duration(4+2*n)
	return low - slack, median, high + slack
}

// Longest is the longest run that is sensible: the longest kept one, or what the
// kind's longest programmes take when few are kept.
func (l *LastRun) Longest(s Settings) time.Duration {
	if len(l.Lengths) < enoughRuns {
		return 2 * priorLength(s)
	}
	return slices.Max(l.Lengths)
}

func priorLength(s Settings) time.Duration {
	switch {
	case s.Washer && s.Dryer:
		return priorWash + priorDry
	case s.Dryer:
		return priorDry
	default:
		return priorWash
	}
}

// has tells whether a run of this length, within a tenth, is kept.
func (l *LastRun) has(d time.Duration) bool {
	return slices.ContainsFunc(l.Lengths, func(kept time.Duration) bool { return alikeLength(d, kept) })
}

func alikeLength(d, known time.Duration) bool { return (d - known).Abs() <= known/10 }

func (l *LastRun) shortest() time.Duration { return slices.Min(l.Lengths) }
