package chart

import (
	"math"
	"time"
)

// Trace is a curve over time, brought down to columns while its readings come:
// however many there are, it holds four values a column. First, lowest, highest
// and last of each column draw the same picture as all the readings (U. Jugel
// and others, M4: a visualization-oriented time series data aggregation, PVLDB 7
// (2014) 797-808; from memory).
type Trace struct {
	from, to time.Time
	cols     []column
	// hold is for how long a reading stands without another one.
	hold time.Duration
	last time.Time
	gaps []Gap
	n    int
	// holds says that a value holds until the next, as power does between readings.
	holds bool
	lastV float64
}

// column is what was seen within one slice of time.
type column struct {
	first, low, high, last float64
	// broken: between the column before and this one, nothing was known.
	seen, broken bool
}

// Gap is a stretch of which nothing is known.
type Gap struct{ From, To time.Time }

// most gaps are kept apart; those beyond are melted into the last.
const mostGaps = 200

// NewTrace begins a curve from one instant to another. A hole between readings
// that is longer than hold is a gap; hold 0 means that there are none. With
// steps, each value holds until the next reading.
func NewTrace(from, to time.Time, columns int, hold time.Duration, steps bool) *Trace {
	return &Trace{from: from, to: to, cols: make([]column, max(1, columns)), hold: hold, holds: steps}
}

// Add takes a reading; they come in the order of time, and one that is not newer
// is ignored. One before the begin only says what holds there. A value that is
// no number says that something was heard, but not what.
func (t *Trace) Add(at time.Time, v float64) {
	if !t.to.After(t.from) || at.After(t.to) || t.n > 0 && !at.After(t.last) {
		return
	}
	broken := t.n == 0
	switch {
	case t.n == 0:
		t.gap(t.from, at)
	case t.hold > 0 && at.Sub(t.last) > t.hold:
		t.gap(t.last, at)
		broken = true
	case t.holds:
		t.holdTo(at)
	}
	t.n, t.last = t.n+1, at
	if math.IsNaN(v) || math.IsInf(v, 0) {
		t.lastV = math.NaN()
		return
	}
	broken = broken || math.IsNaN(t.lastV)
	t.lastV = v
	if !at.Before(t.from) {
		t.cols[t.index(at)].add(v, broken)
	}
}

// holdTo fills the columns up to an instant with the value that holds.
func (t *Trace) holdTo(at time.Time) {
	if math.IsNaN(t.lastV) || !at.After(t.from) {
		return
	}
	k := 0
	if t.last.After(t.from) {
		k = t.index(t.last)
	}
	for ; k <= t.index(at); k++ {
		t.cols[k].add(t.lastV, false)
	}
}

// Close ends the curve at an instant: the present, or its end. What is later is
// not missing, it has not come yet.
func (t *Trace) Close(now time.Time) {
	if now.After(t.to) {
		now = t.to
	}
	switch {
	case !now.After(t.from):
	case t.n == 0:
		t.gap(t.from, now)
	case !now.After(t.last):
	case t.hold > 0 && now.Sub(t.last) > t.hold:
		t.gap(t.last, now)
	case t.holds:
		t.holdTo(now)
	}
}

// gap notes a hole, as far as it lies within the curve and is long enough.
func (t *Trace) gap(from, to time.Time) {
	if from.Before(t.from) {
		from = t.from
	}
	if t.hold <= 0 || to.Sub(from) <= t.hold {
		return
	}
	if len(t.gaps) == mostGaps {
		t.gaps[mostGaps-1].To = to
		return
	}
	t.gaps = append(t.gaps, Gap{from, to})
}

// Gaps are the stretches of which nothing is known, in order.
func (t *Trace) Gaps() []Gap { return t.gaps }

// Readings is how many were taken.
func (t *Trace) Readings() int { return t.n }

// index is the column of an instant within the curve.
func (t *Trace) index(at time.Time) int {
	share := float64(at.Sub(t.from)) / float64(t.to.Sub(t.from))
	return min(max(0, int(share*float64(len(t.cols)))), len(t.cols)-1)
}

// Highest is the highest value; ok is false when nothing was seen.
func (t *Trace) Highest() (v float64, ok bool) {
	for i := range t.cols {
		if c := &t.cols[i]; c.seen && (!ok || c.high > v) {
			v, ok = c.high, true
		}
	}
	return v, ok
}

// At is the value at an instant; ok is false where nothing is known.
func (t *Trace) At(at time.Time) (v float64, ok bool) {
	if at.Before(t.from) || at.After(t.to) {
		return 0, false
	}
	c := t.cols[t.index(at)]
	return c.last, c.seen
}

func (c *column) add(v float64, broken bool) {
	if !c.seen {
		*c = column{v, v, v, v, true, broken}
		return
	}
	c.low, c.high, c.last = min(c.low, v), max(c.high, v), v
}

// melt brings the curve down to so many columns.
func (t *Trace) melt(columns int) []column {
	if columns >= len(t.cols) {
		return t.cols
	}
	out := make([]column, max(1, columns))
	for i := range t.cols {
		c := &t.cols[i]
		if !c.seen {
			continue
		}
		o := &out[i*len(out)/len(t.cols)]
		if !o.seen {
			*o = *c
			continue
		}
		o.low, o.high, o.last = min(o.low, c.low), max(o.high, c.high), c.last
	}
	return out
}
