package year

import (
	"math"
	"slices"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// Score is how good forecasts of calls were.
type Score struct {
	// Asked counts the questions, Unknown those without an answer, and Void those
	// whose turn ended, without another call, when the interval was not over.
	Asked, Unknown, Void int
	// Inside counts the calls within the 80 % interval, Early and Late those before and after it.
	Inside, Early, Late int
	// Off is the sum of the distances of the median from the call, Ahead the sum of
	// the waits that were left, Lean the sum of (call - median).
	Off, Ahead, Lean time.Duration
	// Widths are those of the intervals.
	Widths []time.Duration
}

func (s *Score) answered() int { return s.Inside + s.Early + s.Late }

// Error is the mean absolute error of the median.
func (s *Score) Error() time.Duration { return mean(s.Off, s.answered()) }

// Bias is by how much calls came later than the median, on average.
func (s *Score) Bias() time.Duration { return mean(s.Lean, s.answered()) }

// Left is how long after the question the call came, on average.
func (s *Score) Left() time.Duration { return mean(s.Ahead, s.answered()) }

// Width is how wide the intervals were: the median.
func (s *Score) Width() time.Duration {
	if len(s.Widths) == 0 {
		return 0
	}
	return slices.Sorted(slices.Values(s.Widths))[len(s.Widths)/2]
}

// Coverage is the share of calls within the 80 % interval.
func (s *Score) Coverage() float64 { return float64(s.Inside) / math.Max(1, float64(s.answered())) }

func mean(sum time.Duration, n int) time.Duration {
	if n == 0 {
		return 0
	}
	return sum / time.Duration(n)
}

// asShown is half of the minute to which times are shown: a call within it of an
// end of the interval counts as inside.
const asShown = 30 * time.Second

func (s *Score) add(q question, at time.Time) {
	off := at.Sub(q.Median)
	s.Off += off.Abs()
	s.Lean += off
	s.Ahead += at.Sub(q.at)
	s.Widths = append(s.Widths, q.High.Sub(q.Low))
	switch {
	case at.Before(q.Low.Add(-asShown)):
		s.Early++
	case at.After(q.High.Add(asShown)):
		s.Late++
	default:
		s.Inside++
	}
}

// question is a forecast that waits for the truth.
type question struct {
	coordinator.Forecast
	at    time.Time
	sorts []string
}

// scoring matches forecasts with calls.
type scoring struct {
	set    *Setting
	open   map[coordinator.TurnID][]question
	scores map[string]*Score
}

// The sorts of question that are scored.
const (
	allAsked  = "all"
	atJoining = "asked when joining"
	inBetween = "asked every 5 minutes"
	forWash   = "for a washer"
	forDry    = "for a dryer"
	forBooked = "for a dryer booked with its wash"
	firstHalf = "first half of the year"
	lastHalf  = "second half of the year"
)

func sorts() []string {
	return []string{allAsked, atJoining, inBetween, forWash, forDry, forBooked, firstHalf, lastHalf}
}

func newScoring(s *Setting) scoring {
	q := scoring{s, map[coordinator.TurnID][]question{}, map[string]*Score{}}
	for _, sort := range sorts() {
		q.scores[sort] = &Score{}
	}
	return q
}

// asked notes what a forecast said.
func (q *scoring) asked(s *coordinator.Snapshot, f *coordinator.Forecast, joining bool) {
	one := question{Forecast: *f, at: s.At, sorts: []string{allAsked, inBetween, forWash, firstHalf}}
	if joining {
		one.sorts[1] = atJoining
	}
	switch t := s.Turn(f.Turn); {
	case t.Behind != 0:
		one.sorts[2] = forBooked
	case t.Need == queue.Dry:
		one.sorts[2] = forDry
	}
	if !s.At.Before(q.set.Born.AddDate(0, 0, q.set.Days/2)) {
		one.sorts[3] = lastHalf
	}
	q.each(one, func(s *Score) {
		s.Asked++
		if !f.Known {
			s.Unknown++
		}
	})
	if f.Known {
		q.open[f.Turn] = append(q.open[f.Turn], one)
	}
}

func (q *scoring) each(one question, do func(*Score)) {
	for _, sort := range one.sorts {
		do(q.scores[sort])
	}
}

// called is the truth.
func (q *scoring) called(id coordinator.TurnID, at time.Time) {
	for _, one := range q.open[id] {
		q.each(one, func(s *Score) { s.add(one, at) })
	}
	delete(q.open, id)
}

// left is a turn that ended before it was called. Where the interval was over by
// then, the call would have come after it.
func (q *scoring) left(id coordinator.TurnID, at time.Time) {
	for _, one := range q.open[id] {
		if at.After(one.High.Add(asShown)) {
			q.each(one, func(s *Score) { s.add(one, at) })
		} else {
			q.each(one, func(s *Score) { s.Void++ })
		}
	}
	delete(q.open, id)
}

// close counts the questions that were never answered: of turns that a walk-up used.
func (q *scoring) close() map[string]*Score {
	for _, list := range q.open {
		for _, one := range list {
			q.each(one, func(s *Score) { s.Void++ })
		}
	}
	return q.scores
}
