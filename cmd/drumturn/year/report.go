package year

import (
	"slices"
	"time"
)

// Report is how a year went. Pairs are for washers and for dryers.
type Report struct {
	Name string
	Days int
	// Wishes were asked for, Served of them washed, Gone went without, by reason; Undried
	// were washed but not dried although that was wanted.
	Wishes, Served int
	Gone, Undried  map[reason]int
	// Waits are from the wish until the washer ran, and from the end of the wash
	// until the dryer ran.
	Waits [2][]time.Duration
	// Busy is how long the machines ran. Idle is for how long machines stood idle that
	// somebody wanted: during opening hours, the smaller of the numbers of machines at rest
	// and of people who want one, summed over time. Empty is that of machines with an empty drum.
	Busy, Idle, Empty [2]time.Duration
	// Vain counts walks to the room for nothing, Refused joins over the limit.
	Vain, Refused int
	// Cycles is how many cycles the room saw end; 0 without a queue.
	Cycles int
	// Forecasts are by sort of question; nil without a queue.
	Forecasts map[string]*Score

	dried int // served who wanted a dryer
}

func newReport(name string, s *Setting) Report {
	return Report{Name: name, Days: s.Days, Gone: map[reason]int{}, Undried: map[reason]int{}}
}

func (h *house) finish() *Report {
	h.report.Wishes = len(h.lives)
	for _, l := range h.lives {
		if l.stage == done && l.Dries {
			h.report.dried++
		}
	}
	return &h.report
}

// Wait are the mean and the 95th percentile of the waits for a washer (0) or a dryer (1).
func (r *Report) Wait(k int) (average, high time.Duration) {
	list := slices.Sorted(slices.Values(r.Waits[k]))
	if len(list) == 0 {
		return 0, 0
	}
	var sum time.Duration
	for _, w := range list {
		sum += w
	}
	return sum / time.Duration(len(list)), list[(len(list)-1)*95/100]
}

// PerDay is a sum over the days in minutes per day.
func (r *Report) PerDay(sum time.Duration) float64 { return sum.Minutes() / float64(r.Days) }

// Left counts those who went without, for any reason.
func (r *Report) Left() int { return sum(r.Gone) }

func sum(m map[reason]int) int {
	n := 0
	for _, k := range m {
		n += k
	}
	return n
}
