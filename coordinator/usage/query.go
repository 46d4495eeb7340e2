package usage

import (
	"fmt"
	"time"

	"drumturn/coordinator"
)

// Period is what a report's time is divided into.
type Period string

// The periods. A week begins on Monday (ISO 8601).
const (
	ByDay   Period = "day"
	ByWeek  Period = "week"
	ByMonth Period = "month"
	ByAll   Period = "all"
)

// Scope is what a report is about: a machine, a room when Machine is empty, the
// building when both are.
type Scope struct {
	Room    coordinator.RoomID
	Machine coordinator.MachineID
}

// Query says what to report.
type Query struct {
	Scope Scope
	// From and To are local dates, both included.
	From, To Date
	By       Period
}

// MaxDays is the longest time of a report.
const MaxDays = 20 * 366

// QueryError says which part of a query is wrong: "scope", "from", "to" or "by".
type QueryError struct{ Part, Wrong, Right string }

// Error is all of it in one sentence.
func (e *QueryError) Error() string {
	return fmt.Sprintf("report, %s: %s: %s", e.Part, e.Wrong, e.Right)
}

// check refuses what cannot be reported. The error is a *QueryError.
func (q *Query) check(h *House) error {
	wrong := func(part, what, right string) error { return &QueryError{part, what, right} }
	switch {
	case q.From.IsZero() || q.To.IsZero():
		return wrong("from", "the dates are missing", "give the first and the last day, such as 2026-11-01 and 2026-11-30")
	case q.To.Before(q.From):
		return wrong("to", fmt.Sprintf("%s is before %s", q.To, q.From), "give a last day that is not before the first")
	case q.From.Add(MaxDays).Before(q.To):
		return wrong("from", "the time is longer than 20 years", "choose a shorter one")
	case q.By != ByDay && q.By != ByWeek && q.By != ByMonth && q.By != ByAll:
		return wrong("by", fmt.Sprintf("%q is no period", q.By), "use day, week, month or all")
	case q.Scope.Room == "" && q.Scope.Machine != "":
		return wrong("scope", "a machine needs its room", "name the room too")
	case q.Scope.Room != "" && h.room(q.Scope.Room) == nil:
		return wrong("scope", fmt.Sprintf("there is no room %q", q.Scope.Room), "name a room of the building")
	}
	return nil
}

// periods are the stretches of dates that the query's time is divided into, in
// order; the first and last may be cut short by From and To.
func (q *Query) periods() (all []span) {
	for from := q.From; !q.To.Before(from); {
		to := q.To
		if end := q.By.last(from); end.Before(to) {
			to = end
		}
		if q.By == ByAll {
			to = q.To
		}
		all = append(all, span{from, to})
		from = to.Add(1)
	}
	return all
}

// last is the last day of the period that a date lies in.
func (p Period) last(d Date) Date {
	switch p {
	case ByWeek:
		return d.Add((7 - int(d.Weekday())) % 7)
	case ByMonth:
		return MonthOf(d).Last()
	}
	return d
}

// span is a stretch of dates, both included.
type span struct{ from, to Date }

// weekdays are in the order of the ISO week.
var weekdays = [7]time.Weekday{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday, time.Saturday, time.Sunday}
