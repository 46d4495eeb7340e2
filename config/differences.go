package config

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// Differences says in which settings the rules that the store holds differ from
// those that the building file seeds, one line each; none when they are the same.
func Differences(seed, stored coordinator.Rules) []string {
	file, store := settings(seed), settings(stored)
	var out []string
	for i := range file {
		if file[i] != store[i] {
			out = append(out, fmt.Sprintf("%s: %s in the file, %s in force", file[i].name, file[i].value, store[i].value))
		}
	}
	return out
}

// setting is one house rule in words.
type setting struct{ name, value string }

func settings(r coordinator.Rules) []setting {
	out := []setting{
		{"hold", span(r.Hold)},
		{"longer_hold", span(r.LongerHold)},
		{"longer_hold_homes", homesText(r.LongerHoldHomes)},
		{"dry_call_ahead", span(r.DryCallAhead)},
		{"on_my_way_adds", span(r.OnMyWayAdds)},
		{"grace", span(r.Grace)},
		{"ladder", ladderText(r.Ladder)},
		{"turns_per_home", fmt.Sprint(r.Limits.TurnsPerHome)},
		{"loads_per_home", fmt.Sprint(r.Limits.LoadsPerHome)},
		{"night_from", clockText(r.NightFrom)},
		{"night_to", clockText(r.NightTo)},
		// The default is shown by what it comes to.
		{"call_uncollected_after", span(r.CallWithLoadAfter())},
		{"assume_empty_after", span(r.AssumeEmptyAfter)},
		{"recall_after", span(r.RecallAfter)},
		{"not_me_within", span(r.NotMeWithin)},
		{"more_time", span(r.MoreTime)},
		{"more_time_waiting", span(r.MoreTimeWaiting)},
		{"walk_ups", r.WalkUps.String()},
		{"open_homes", fmt.Sprint(r.OpenHomes)},
		{"wall_touch", fmt.Sprint(r.WallTouch)},
		{"text", fmt.Sprintf("%q", r.Text)},
		{"keep_days", fmt.Sprint(r.KeepDays)},
		{"per_home_figures", fmt.Sprint(r.PerHomeFigures)},
	}
	for i, day := range r.Hours {
		out = append(out, setting{"hours." + weekdays[i], dayText(day)})
	}
	return out
}

func span(d time.Duration) string { return Duration(d).String() }

func clockText(c queue.Clock) string {
	if c == queue.NoClock {
		return "none"
	}
	return c.String()
}

// homesText says how many homes there are, and which by their ids.
func homesText(homes []coordinator.HomeID) string {
	if len(homes) == 0 {
		return "no homes"
	}
	parts := make([]string, len(homes))
	for i, home := range homes {
		parts[i] = string(home)
	}
	slices.Sort(parts)
	return strings.Join(parts, ", ")
}

func ladderText(steps []coordinator.LadderStep) string {
	if len(steps) == 0 {
		return "no steps"
	}
	parts := make([]string, len(steps))
	for i, s := range steps {
		parts[i] = s.Tell.String() + " after " + span(s.After)
	}
	return strings.Join(parts, ", ")
}

func dayText(d queue.Day) string {
	if d.Closed {
		return "closed"
	}
	var parts []string
	for _, p := range []struct {
		word  string
		clock queue.Clock
	}{{"opens", d.Opens}, {"last start", d.LastStart}, {"ended by", d.EndedBy}} {
		if p.clock != queue.NoClock {
			parts = append(parts, p.word+" "+p.clock.String())
		}
	}
	if len(parts) == 0 {
		return "always open"
	}
	return strings.Join(parts, ", ")
}
