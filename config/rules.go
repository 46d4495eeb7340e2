package config

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// rules decodes house rules over those that hold without the section.
func (b *builder) rules(base coordinator.Rules, s *section) coordinator.Rules {
	r := base
	r.Ladder = slices.Clone(base.Ladder)
	s.duration("hold", &r.Hold)
	s.duration("longer_hold", &r.LongerHold)
	if homes := s.homes("longer_hold_homes"); s.has("longer_hold_homes") {
		r.LongerHoldHomes = homes
	}
	s.duration("dry_call_ahead", &r.DryCallAhead)
	s.duration("on_my_way_adds", &r.OnMyWayAdds)
	s.duration("grace", &r.Grace)
	s.duration("call_uncollected_after", &r.CallUncollectedAfter)
	s.duration("assume_empty_after", &r.AssumeEmptyAfter)
	s.duration("recall_after", &r.RecallAfter)
	s.duration("not_me_within", &r.NotMeWithin)
	s.duration("more_time", &r.MoreTime)
	s.duration("more_time_waiting", &r.MoreTimeWaiting)
	s.word("walk_ups", &r.WalkUps, "allowed", "tolerated", "reported")
	s.count("turns_per_home", &r.Limits.TurnsPerHome)
	s.count("loads_per_home", &r.Limits.LoadsPerHome)
	s.count("keep_days", &r.KeepDays)
	s.truth("open_homes", &r.OpenHomes)
	s.truth("wall_touch", &r.WallTouch)
	s.truth("per_home_figures", &r.PerHomeFigures)
	s.text("text", &r.Text)
	s.clock("night_from", &r.NightFrom)
	s.clock("night_to", &r.NightTo)
	if s.has("ladder") {
		r.Ladder = ladder(s.tables("ladder"))
	}
	s.take("ladder")
	r.Hours = hours(r.Hours, s.table("hours"))
	s.close()
	return r
}

// ladder decodes the steps. A step that cannot be read, and is reported, gets
// values that cause no second report.
func ladder(sections []*section) []coordinator.LadderStep {
	var out []coordinator.LadderStep
	var last time.Duration
	for _, s := range sections {
		step := coordinator.LadderStep{After: last + 1, Tell: coordinator.TellOwner}
		s.missing("after", `add after = "15m", counted from the ready notice`)
		s.duration("after", &step.After)
		s.missing("tell", `add tell = "owner", "next" or "manager"`)
		s.word("tell", &step.Tell, "owner", "next", "manager")
		s.close()
		out = append(out, step)
		last = max(last, step.After)
	}
	return out
}

var weekdays = [7]string{"sunday", "monday", "tuesday", "wednesday", "thursday", "friday", "saturday"}

// hours decodes opening hours: first what holds on every day, then each day's own.
func hours(base queue.Hours, s *section) queue.Hours {
	for i := range base {
		day(s, &base[i])
	}
	for i, name := range weekdays {
		own := s.table(name)
		day(own, &base[i])
		own.close()
	}
	s.close()
	return base
}

func day(s *section, d *queue.Day) {
	s.clock("opens", &d.Opens)
	s.clock("last_start", &d.LastStart)
	s.clock("ended_by", &d.EndedBy)
	s.truth("closed", &d.Closed)
}

// judge reports what the rules' own package finds wrong, at the place in s that
// the value comes from. What is among known was reported before.
func (b *builder) judge(r coordinator.Rules, known []coordinator.Problem, s *section) []coordinator.Problem {
	found := r.Validate()
	var tell []func()
	for _, p := range found {
		if s.node == nil || slices.Contains(known, p) {
			continue
		}
		if at, key := s.find(p.Path); !at.refused(key) {
			tell = append(tell, func() { at.wrong(key, p.Wrong, p.Right) })
		}
	}
	for _, t := range tell { // there may be several about one setting
		t()
	}
	return found
}

// find goes to the section and key that a path such as "ladder[2].after" or
// "hours.sunday.ended_by" leads to; for a day without that setting, to the one
// for every day.
func (s *section) find(path string) (*section, string) {
	if rest, ok := strings.CutPrefix(path, "hours."); ok {
		name, key, _ := strings.Cut(rest, ".")
		hours := s.table("hours")
		if own := hours.table(name); own.has(key) {
			return own, key
		}
		if hours.node != nil {
			return hours, key
		}
		return s, path
	}
	if step, key, ok := strings.Cut(path, "."); ok {
		list := s.node.child("ladder")
		for _, n := range list.elements() {
			if step == "ladder["+strconv.Itoa(n.index)+"]" {
				return &section{in: s.in, node: n}, key
			}
		}
	}
	return s, path
}
