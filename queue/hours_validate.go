package queue

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// DayProblem is one thing wrong with the opening hours of one day: which value
// ("opens", "last_start" or "ended_by"), what is wrong, and what would be right.
type DayProblem struct {
	Day                 time.Weekday
	Field, Wrong, Right string
}

// String returns the time of day as 21:30, and nothing for NoClock.
func (c Clock) String() string {
	if c == NoClock {
		return ""
	}
	return fmt.Sprintf("%02d:%02d", int(c)/60, int(c)%60)
}

// Valid reports whether c is a time of day or NoClock.
func (c Clock) Valid() bool { return c >= NoClock && c < 24*60 }

// Validate lists what is wrong with the hours, day by day from Sunday. A closed
// day is not looked at.
func (h Hours) Validate() []DayProblem {
	var out []DayProblem
	for i, day := range h {
		for _, p := range day.problems() {
			p.Day = time.Weekday(i)
			out = append(out, p)
		}
	}
	return out
}

func (d Day) problems() []DayProblem {
	if d.Closed {
		return nil
	}
	if out := d.impossible(); len(out) > 0 {
		return out
	}
	var out []DayProblem
	if before(d.LastStart, d.Opens) {
		out = append(out, DayProblem{Field: "last_start",
			Wrong: fmt.Sprintf("the last start is at %s, but the room opens only at %s", d.LastStart, d.Opens),
			Right: fmt.Sprintf("use a time after %s, or leave it out for no last start", d.Opens)})
	}
	if before(d.EndedBy, d.LastStart) {
		out = append(out, DayProblem{Field: "ended_by",
			Wrong: fmt.Sprintf("every load must be over by %s, but one may still be started at %s", d.EndedBy, d.LastStart),
			Right: fmt.Sprintf("use a time after %s, late enough for a whole programme, or leave it out where laundry may run past midnight", d.LastStart)})
	} else if before(d.EndedBy, d.Opens) {
		out = append(out, DayProblem{Field: "ended_by",
			Wrong: fmt.Sprintf("every load must be over by %s, but the room opens only at %s", d.EndedBy, d.Opens),
			Right: fmt.Sprintf("use a time after %s, or leave it out where laundry may run past midnight", d.Opens)})
	}
	return out
}

// impossible lists the values that are no time of day.
func (d Day) impossible() []DayProblem {
	var out []DayProblem
	for _, v := range []struct {
		field string
		clock Clock
	}{{"opens", d.Opens}, {"last_start", d.LastStart}, {"ended_by", d.EndedBy}} {
		if !v.clock.Valid() {
			out = append(out, DayProblem{Field: v.field,
				Wrong: fmt.Sprintf("minute %d of the day does not exist", int(v.clock)),
				Right: "use a time from 00:00 to 23:59"})
		}
	}
	return out
}

// before reports whether a is not after b; false when one of them is not set.
func before(a, b Clock) bool { return a != NoClock && b != NoClock && a <= b }

// ParseClock reads a time of day such as "21:30" or "7:05". An empty text is NoClock.
func ParseClock(text string) (Clock, error) {
	if text == "" {
		return NoClock, nil
	}
	hours, minutes, ok := strings.Cut(text, ":")
	h, errH := strconv.ParseUint(hours, 10, 8)
	m, errM := strconv.ParseUint(minutes, 10, 8)
	if !ok || errH != nil || errM != nil || h > 23 || m > 59 || len(hours) > 2 || len(minutes) != 2 {
		return NoClock, fmt.Errorf("%q is no time of day", text)
	}
	return Clock(h*60 + m), nil
}
