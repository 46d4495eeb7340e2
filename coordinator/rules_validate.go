package coordinator

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"drumturn/queue"
)

// The bounds of house rules. They only keep out what nobody can have meant.
const (
	minHold    = time.Minute
	maxHold    = 3 * time.Hour
	maxWait    = 7 * 24 * time.Hour
	maxPerHome = 100
	maxKeep    = 3660
	maxLadder  = 20
	maxMore    = 3 * time.Hour
	maxAhead   = 15 * time.Minute
)

// Validate lists what is wrong with the rules. A Path is the setting's name in
// the building file: "hold", "ladder[2].after" (the second step), "hours.sunday.ended_by".
func (r *Rules) Validate() []Problem {
	var c checks
	c.within("hold", r.Hold, minHold, maxHold, "a called resident needs time to come down")
	c.within("longer_hold", r.LongerHold, 0, maxHold, "")
	c.homes("longer_hold_homes", r.LongerHoldHomes)
	c.within("dry_call_ahead", r.DryCallAhead, 0, maxAhead, "")
	c.within("on_my_way_adds", r.OnMyWayAdds, 0, maxHold, "")
	c.within("grace", r.Grace, 0, maxWait, "")
	c.ladder(r.Ladder)
	c.count("turns_per_home", r.Limits.TurnsPerHome, 1, maxPerHome, "a home could never take a turn")
	c.count("loads_per_home", r.Limits.LoadsPerHome, 1, maxPerHome, "a home could never wash")
	c.count("keep_days", r.KeepDays, 1, maxKeep, "")
	c.hours(r.Hours)
	c.night(r.NightFrom, r.NightTo)
	c.afterGrace(r)
	c.within("recall_after", r.RecallAfter, 0, maxWait, "")
	c.within("not_me_within", r.NotMeWithin, 0, maxWait, "")
	c.moreTime(r.MoreTime, r.MoreTimeWaiting)
	if r.WalkUps.String() == "" {
		c.add("walk_ups", "it is nothing that a house can do", "use allowed, tolerated or reported")
	}
	c.text("text", r.Text)
	return c.found
}

// text wants something that can be shown in a few lines.
func (c *checks) text(path, text string) {
	const longest = 600
	switch {
	case len([]rune(text)) > longest:
		c.add(path, "the text is too long to be read at a machine", fmt.Sprintf("use %d characters at most", longest))
	case strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || r == 0x7f || r == 0xfffd }):
		c.add(path, "the text has characters that cannot be shown, or a line break", "write it on one line, in plain letters")
	}
}

// checks gathers problems.
type checks struct{ found []Problem }

func (c *checks) add(path, wrong, right string) {
	c.found = append(c.found, Problem{Path: path, Wrong: wrong, Right: right})
}

// within wants lo <= d <= hi. why, when given, says why d may not be shorter.
func (c *checks) within(path string, d, lo, hi time.Duration, why string) {
	right := fmt.Sprintf("use a time from %s to %s", span(lo), span(hi))
	switch {
	case d < lo && why != "":
		c.add(path, fmt.Sprintf("%s is too short: %s", span(d), why), right)
	case d < lo:
		c.add(path, fmt.Sprintf("%s is too short", span(d)), right)
	case d > hi:
		c.add(path, fmt.Sprintf("%s is too long", span(d)), right)
	}
}

// count wants lo <= n <= hi.
func (c *checks) count(path string, n, lo, hi int, why string) {
	right := fmt.Sprintf("use a whole number from %d to %d", lo, hi)
	switch {
	case n < lo && why != "":
		c.add(path, fmt.Sprintf("%d is too low: %s", n, why), right)
	case n < lo:
		c.add(path, fmt.Sprintf("%d is too low", n), right)
	case n > hi:
		c.add(path, fmt.Sprintf("%d is too high", n), right)
	}
}

// homes wants each home named, and once.
func (c *checks) homes(path string, list []HomeID) {
	for i, home := range list {
		switch {
		case home == "":
			c.add(path, "one of the homes has no name", `list the homes as residents call them, such as ["12", "14"]`)
			return
		case slices.Contains(list[:i], home):
			c.add(path, fmt.Sprintf("home %s is listed twice", home), "list each home once")
			return
		}
	}
}

func (c *checks) ladder(steps []LadderStep) {
	if len(steps) > maxLadder {
		c.add("ladder", fmt.Sprintf("it has %d steps", len(steps)), fmt.Sprintf("use %d steps at most: who is told too often stops reading", maxLadder))
	}
	var last time.Duration
	for i, step := range steps {
		c.step(fmt.Sprintf("ladder[%d]", i+1), step, last)
		last = max(last, step.After)
	}
}

func (c *checks) step(path string, s LadderStep, last time.Duration) {
	after := path + ".after"
	switch {
	case s.After <= 0:
		c.add(after, fmt.Sprintf("%s is not after the ready notice", span(s.After)), `use a time above zero, such as "10m"`)
	case s.After > maxWait:
		c.add(after, fmt.Sprintf("%s is too long", span(s.After)), fmt.Sprintf("use %s at most", span(maxWait)))
	case s.After <= last: // not at the first step: last is 0 there
		c.add(after, fmt.Sprintf("the ladder goes backwards: %s comes at or before the step above it (%s)", span(s.After), span(last)),
			fmt.Sprintf("use a time above %s; every step counts from the ready notice", span(last)))
	}
	if s.Tell.String() == "" {
		c.add(path+".tell", "the step tells nobody", "use owner, next or manager")
	}
}

func (c *checks) hours(h queue.Hours) {
	for _, p := range h.Validate() {
		c.add("hours."+strings.ToLower(p.Day.String())+"."+p.Field, p.Wrong, p.Right)
	}
}

// moreTime wants no more for an owner for whom others wait than for one alone.
func (c *checks) moreTime(alone, waiting time.Duration) {
	c.within("more_time", alone, 0, maxMore, "")
	c.within("more_time_waiting", waiting, 0, maxMore, "")
	if waiting > alone {
		c.add("more_time_waiting", fmt.Sprintf("%s is more than is given while nobody waits (%s)", span(waiting), span(alone)),
			fmt.Sprintf("use %s or less", span(alone)))
	}
}

func (c *checks) night(from, to queue.Clock) {
	const right = `give both, such as night_from = "22:00" and night_to = "07:00", or leave both empty for no night`
	switch {
	case !from.Valid():
		c.add("night_from", "it is no time of day", "use a time from 00:00 to 23:59")
	case !to.Valid():
		c.add("night_to", "it is no time of day", "use a time from 00:00 to 23:59")
	case from == queue.NoClock && to != queue.NoClock:
		c.add("night_from", "the night has an end but no beginning", right)
	case to == queue.NoClock && from != queue.NoClock:
		c.add("night_to", "the night has a beginning but no end", right)
	case from == to && from != queue.NoClock:
		c.add("night_to", fmt.Sprintf("the night begins and ends at %s", from), right)
	}
}

// afterGrace checks the times that make sense only once a load is overdue.
func (c *checks) afterGrace(r *Rules) {
	if d := r.CallUncollectedAfter; d != 0 {
		c.notInGrace("call_uncollected_after", d, r.Grace)
	}
	c.notInGrace("assume_empty_after", r.AssumeEmptyAfter, r.Grace)
}

func (c *checks) notInGrace(path string, d, grace time.Duration) {
	switch {
	case d <= 0:
		c.add(path, fmt.Sprintf("%s is not after the ready notice", span(d)), `use a time above zero, such as "1h"`)
	case d < grace:
		c.add(path, fmt.Sprintf("%s ends before the grace of %s is over", span(d), span(grace)), fmt.Sprintf("use %s or more", span(grace)))
	case d > maxWait:
		c.add(path, fmt.Sprintf("%s is too long", span(d)), fmt.Sprintf("use %s at most", span(maxWait)))
	}
}

// span writes a duration as the building file does: 90s, 10m, 1h30m, 7d.
func span(d time.Duration) string {
	const day = 24 * time.Hour
	if d > 0 && d%day == 0 {
		return fmt.Sprintf("%dd", d/day)
	}
	s := d.String()
	if strings.HasSuffix(s, "m0s") {
		s = strings.TrimSuffix(s, "0s")
	}
	if strings.HasSuffix(s, "h0m") {
		s = strings.TrimSuffix(s, "0m")
	}
	return s
}
