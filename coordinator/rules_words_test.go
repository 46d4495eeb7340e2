package coordinator

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"drumturn/queue"
)

// TestDefaultRules: what a house has that says nothing, rule by rule as it is written in
// a building file. Hold and grace of 10 to 15 minutes: common practice, no source.
func TestDefaultRules(t *testing.T) {
	r := DefaultRules()
	want := []Setting{
		{"hold", SpanSetting, "10m", nil}, {"longer_hold", SpanSetting, "20m", nil}, {"longer_hold_homes", HomesSetting, "", nil},
		{"dry_call_ahead", SpanSetting, "3m", nil}, {"on_my_way_adds", SpanSetting, "0s", nil}, {"recall_after", SpanSetting, "10m", nil},
		{"turns_per_home", CountSetting, "2", nil}, {"loads_per_home", CountSetting, "2", nil}, {"grace", SpanSetting, "10m", nil},
		{"call_uncollected_after", SpanSetting, "0s", nil}, {"assume_empty_after", SpanSetting, "3h", nil},
		{"more_time", SpanSetting, "10m", nil}, {"more_time_waiting", SpanSetting, "0s", nil}, {"not_me_within", SpanSetting, "15m", nil},
		{"walk_ups", ChoiceSetting, "allowed", []string{"allowed", "tolerated", "reported"}},
		{"night_from", ClockSetting, "22:00", nil}, {"night_to", ClockSetting, "07:00", nil},
		{"open_homes", TruthSetting, "true", nil}, {"wall_touch", TruthSetting, "false", nil}, {"per_home_figures", TruthSetting, "false", nil},
		{"text", TextSetting, "", nil}, {"keep_days", CountSetting, "90", nil},
	}
	audiences := []string{"owner", "next", "manager"}
	for i, step := range []struct{ after, tell string }{{"10m", "owner"}, {"15m", "next"}, {"30m", "manager"}} {
		want = append(want, Setting{fmt.Sprintf("ladder[%d].after", i+1), SpanSetting, step.after, nil}, Setting{fmt.Sprintf("ladder[%d].tell", i+1), ChoiceSetting, step.tell, audiences})
	}
	for _, day := range strings.Fields("monday tuesday wednesday thursday friday saturday sunday") {
		path := "hours." + day + "."
		want = append(want, Setting{path + "closed", TruthSetting, "false", nil}, Setting{path + "opens", ClockSetting, "", nil}, Setting{path + "last_start", ClockSetting, "", nil}, Setting{path + "ended_by", ClockSetting, "", nil})
	}
	got := r.Settings()
	for i := range max(len(got), len(want)) {
		if i >= len(got) || i >= len(want) || !reflect.DeepEqual(got[i], want[i]) {
			t.Fatalf("setting %d is %+v, want %+v", i, got[min(i, len(got)-1):min(i+1, len(got))], want[min(i, len(want)-1):min(i+1, len(want))])
		}
	}
}

// TestWhatIsWrongWithRules: the whole of what is said, each limit at the first value
// that is beyond it; one step before it nothing is.
func TestWhatIsWrongWithRules(t *testing.T) {
	const week = 7 * 24 * time.Hour
	type rules = *Rules
	hold := func(r rules) *time.Duration { return &r.Hold }
	span := func(at func(rules) *time.Duration, d time.Duration) func(rules) {
		return func(r rules) { r.Grace = 0; *at(r) = d }
	}
	longer := func(r rules) *time.Duration { return &r.LongerHold }
	ahead := func(r rules) *time.Duration { return &r.DryCallAhead }
	way := func(r rules) *time.Duration { return &r.OnMyWayAdds }
	recall := func(r rules) *time.Duration { return &r.RecallAfter }
	mine := func(r rules) *time.Duration { return &r.NotMeWithin }
	empty := func(r rules) *time.Duration { return &r.AssumeEmptyAfter }
	call := func(r rules) *time.Duration { return &r.CallUncollectedAfter }
	more := func(r rules) *time.Duration { return &r.MoreTime }
	first := func(r rules) *time.Duration { return &r.Ladder[0].After }
	count := func(at func(rules) *int, n int) func(rules) { return func(r rules) { *at(r) = n } }
	turns := func(r rules) *int { return &r.Limits.TurnsPerHome }
	loads := func(r rules) *int { return &r.Limits.LoadsPerHome }
	kept := func(r rules) *int { return &r.KeepDays }
	text := func(s string) func(rules) { return func(r rules) { r.Text = s } }
	night := `give both, such as night_from = "22:00" and night_to = "07:00", or leave both empty for no night`
	oneLine := "write it on one line, in plain letters"
	unshown := "text: the text has characters that cannot be shown, or a line break; " + oneLine
	for _, c := range []struct {
		good, bad func(rules)
		want      string // "path: wrong; right"
	}{
		{span(hold, time.Minute), span(hold, time.Minute-time.Second), "hold: 59s is too short: a called resident needs time to come down; use a time from 1m to 3h"},
		{span(hold, 3*time.Hour), span(hold, 3*time.Hour+time.Second), "hold: 3h0m1s is too long; use a time from 1m to 3h"},
		{span(longer, 0), span(longer, -time.Second), "longer_hold: -1s is too short; use a time from 0s to 3h"},
		{span(longer, 3*time.Hour), span(longer, 3*time.Hour+time.Minute), "longer_hold: 3h1m is too long; use a time from 0s to 3h"},
		{span(ahead, 0), span(ahead, -time.Second), "dry_call_ahead: -1s is too short; use a time from 0s to 15m"},
		{span(way, 0), span(way, -time.Second), "on_my_way_adds: -1s is too short; use a time from 0s to 3h"},
		{span(recall, 0), span(recall, -time.Second), "recall_after: -1s is too short; use a time from 0s to 7d"},
		{func(r rules) { r.MoreTimeWaiting = 0 }, func(r rules) { r.MoreTimeWaiting = -time.Minute }, "more_time_waiting: -1m is too short; use a time from 0s to 3h"},
		{span(ahead, 15*time.Minute), span(ahead, 16*time.Minute), "dry_call_ahead: 16m is too long; use a time from 0s to 15m"},
		{span(way, 3*time.Hour), span(way, 4*time.Hour), "on_my_way_adds: 4h is too long; use a time from 0s to 3h"},
		{span(recall, week), span(recall, week+24*time.Hour), "recall_after: 8d is too long; use a time from 0s to 7d"},
		{span(mine, week), span(mine, week+time.Hour), "not_me_within: 169h is too long; use a time from 0s to 7d"},
		{span(mine, 0), span(mine, -time.Hour), "not_me_within: -1h is too short; use a time from 0s to 7d"},
		{span(more, 3*time.Hour), span(more, 3*time.Hour+1), "more_time: 3h0m0.000000001s is too long; use a time from 0s to 3h"},
		{span(empty, week), span(empty, week+time.Minute), "assume_empty_after: 168h1m is too long; use 7d at most"},
		{span(empty, 1), span(empty, 0), `assume_empty_after: 0s is not after the ready notice; use a time above zero, such as "1h"`},
		{span(call, week), span(call, 2*week), "call_uncollected_after: 14d is too long; use 7d at most"},
		{func(r rules) { r.AssumeEmptyAfter = r.Grace }, func(r rules) { r.AssumeEmptyAfter = r.Grace - 1 }, "assume_empty_after: 9m59.999999999s ends before the grace of 10m is over; use 10m or more"},
		{func(r rules) { r.CallUncollectedAfter = r.Grace }, func(r rules) { r.CallUncollectedAfter = time.Minute }, "call_uncollected_after: 1m ends before the grace of 10m is over; use 10m or more"},
		{func(r rules) { r.Grace, r.AssumeEmptyAfter = week, week }, func(r rules) { r.Grace = -1 }, "grace: -1ns is too short; use a time from 0s to 7d"},
		{span(first, 1), span(first, 0), `ladder[1].after: 0s is not after the ready notice; use a time above zero, such as "10m"`},
		{func(r rules) { r.Ladder[2].After = week }, func(r rules) { r.Ladder[2].After = week + 1 }, "ladder[3].after: 168h0m0.000000001s is too long; use 7d at most"},
		{func(r rules) { r.Ladder[1].After = 10*time.Minute + 1 }, func(r rules) { r.Ladder[1].After = 10 * time.Minute },
			"ladder[2].after: the ladder goes backwards: 10m comes at or before the step above it (10m); use a time above 10m; every step counts from the ready notice"},
		{nil, func(r rules) { r.Ladder[0].Tell = 0 }, "ladder[1].tell: the step tells nobody; use owner, next or manager"},
		{nil, func(r rules) {
			for i := range 18 {
				r.Ladder = append(r.Ladder, LadderStep{time.Hour + time.Duration(i), TellOwner})
			}
		}, "ladder: it has 21 steps; use 20 steps at most: who is told too often stops reading"},
		{count(turns, 1), count(turns, 0), "turns_per_home: 0 is too low: a home could never take a turn; use a whole number from 1 to 100"},
		{count(turns, 100), count(turns, 101), "turns_per_home: 101 is too high; use a whole number from 1 to 100"},
		{count(loads, 1), count(loads, 0), "loads_per_home: 0 is too low: a home could never wash; use a whole number from 1 to 100"},
		{count(loads, 100), count(loads, 101), "loads_per_home: 101 is too high; use a whole number from 1 to 100"},
		{count(kept, 1), count(kept, 0), "keep_days: 0 is too low; use a whole number from 1 to 3660"},
		{count(kept, 3660), count(kept, 3661), "keep_days: 3661 is too high; use a whole number from 1 to 3660"},
		{func(r rules) { r.MoreTimeWaiting = r.MoreTime }, func(r rules) { r.MoreTimeWaiting = r.MoreTime + time.Minute },
			"more_time_waiting: 11m is more than is given while nobody waits (10m); use 10m or less"},
		{nil, func(r rules) { r.WalkUps = Reported + 1 }, "walk_ups: it is nothing that a house can do; use allowed, tolerated or reported"},
		{nil, func(r rules) { r.LongerHoldHomes = []HomeID{"a", ""} }, `longer_hold_homes: one of the homes has no name; list the homes as residents call them, such as ["12", "14"]`},
		{nil, func(r rules) { r.LongerHoldHomes = []HomeID{"a", "b", "a", "a"} }, "longer_hold_homes: home a is listed twice; list each home once"},
		{nil, func(r rules) { r.NightFrom = 1440 }, "night_from: it is no time of day; use a time from 00:00 to 23:59"},
		{func(r rules) { r.NightTo = 1439 }, func(r rules) { r.NightTo = 1440 }, "night_to: it is no time of day; use a time from 00:00 to 23:59"},
		{nil, func(r rules) { r.NightFrom = queue.NoClock }, "night_from: the night has an end but no beginning; " + night},
		{nil, func(r rules) { r.NightTo = queue.NoClock }, "night_to: the night has a beginning but no end; " + night},
		{nil, func(r rules) { r.NightTo = r.NightFrom }, "night_to: the night begins and ends at 22:00; " + night},
		{text(strings.Repeat("ä", 600)), text(strings.Repeat("ä", 601)), "text: the text is too long to be read at a machine; use 600 characters at most"},
		{text("Clean the lint screen.  €~"), text("Clean\nthe lint screen."), unshown},
		{nil, text("a\x7f"), unshown}, {nil, text("a\ufffd"), unshown}, {nil, text("a\x1f"), unshown},
	} {
		r := DefaultRules()
		c.bad(&r)
		found := r.Validate()
		if len(found) != 1 || found[0].Path+": "+found[0].Wrong+"; "+found[0].Right != c.want {
			t.Errorf("said is\n%+v, want\n%s", found, c.want)
		}
		if r = DefaultRules(); c.good != nil {
			if c.good(&r); len(r.Validate()) > 0 {
				t.Errorf("%s: one step before it: %+v", c.want, r.Validate())
			}
		}
	}
}

// TestWhatCannotBeRead: the whole of what is said of a rule that is no rule, and the
// rules stay as they were.
func TestWhatCannotBeRead(t *testing.T) {
	const length = `; write a length of time such as "90s", "10m" or "1h30m"`
	clock := `; write a time of day such as "21:30", or nothing for none`
	for path, want := range map[string]string{
		"hold=ten": `"ten" is no length of time` + length, "ladder[1].after=x": `"x" is no length of time` + length, "grace=": "it is empty" + length,
		"keep_days=2.5": `"2.5" is no whole number; write a whole number`, "wall_touch=perhaps": `"perhaps" is neither true nor false; write true or false`,
		"soap=1": "there is no such house rule; use the names that are exported", "ladder[1].tell=all": `"all" is nobody the ladder can tell; use owner, next or manager`,
		"ladder[21].after=1m": "the ladder has too many steps; use 20 at most", "walk_ups=never": `"never" is nothing that a house does about walk-ups: use allowed, tolerated or reported; use one of the words that are offered`,
		"ladder[0].tell=owner": "there is no such house rule; use the names that are exported", "ladder[1].when=1m": "there is no such house rule; use the names that are exported",
		"ladder[1.after=1m": "there is no such house rule; use the names that are exported", "ladder[x].after=1m": "there is no such house rule; use the names that are exported",
		"1].after=1m":        "there is no such house rule; use the names that are exported",
		"sunday.opens=07:00": "there is no such house rule; use the names that are exported",
	} {
		name, value, _ := strings.Cut(path, "=")
		r := DefaultRules()
		found := r.SetAll([]Setting{{Path: name, Value: value}, {Path: "recall_after", Value: " 7m "}})
		if len(found) != 1 || found[0].Path != name || found[0].Wrong+"; "+found[0].Right != want {
			t.Errorf("%s: %+v, want %q", path, found, want)
		}
		if r.RecallAfter != 7*time.Minute {
			t.Errorf("%s: what can be read beside it is not: %v", path, r.RecallAfter)
		}
		r.RecallAfter, r.Ladder = DefaultRules().RecallAfter, DefaultRules().Ladder
		if !reflect.DeepEqual(r, DefaultRules()) {
			t.Errorf("%s: changed to %+v", path, r)
		}
	}
	r := DefaultRules()
	if found := r.SetAll([]Setting{{Path: "night_from", Value: "24:00"}}); len(found) != 1 || !strings.HasSuffix("; "+found[0].Right, clock) {
		t.Errorf("no time of day: %+v", found)
	}
}

// TestRulesAreReadFromTexts: what a form or another building's file says.
func TestRulesAreReadFromTexts(t *testing.T) {
	r := DefaultRules()
	if found := r.SetAll([]Setting{
		{Path: "longer_hold_homes", Value: " c, a ,,b,a"}, {Path: "text", Value: "  Hello  "}, {Path: "walk_ups", Value: "tolerated"}, {Path: "turns_per_home", Value: " 3 "},
		{Path: "night_from", Value: ""}, {Path: "night_to", Value: ""}, {Path: "open_homes", Value: "false"}, {Path: "hours.sunday.opens", Value: "09:30"},
	}); len(found) > 0 {
		t.Fatalf("%+v", found)
	}
	want := DefaultRules()
	want.LongerHoldHomes, want.Text, want.WalkUps, want.Limits.TurnsPerHome = []HomeID{"c", "a", "b"}, "Hello", Tolerated, 3
	want.NightFrom, want.NightTo, want.OpenHomes, want.Hours[time.Sunday].Opens = queue.NoClock, queue.NoClock, false, 570
	if !reflect.DeepEqual(r, want) {
		t.Errorf("read are %+v, want %+v", r, want)
	}
	// Homes are written in one order, whatever the order they were named in.
	for _, s := range r.Settings() {
		if s.Path == "longer_hold_homes" && s.Value != "a, b, c" {
			t.Errorf("written is %q", s.Value)
		}
	}
	// The longest ladder is read, to its last step.
	var steps []Setting
	for i := range 20 {
		steps = append(steps, Setting{Path: fmt.Sprintf("ladder[%d].after", i+1), Value: fmt.Sprintf("%dm", i+1)})
	}
	if found := r.SetAll(steps); len(found) > 0 || len(r.Ladder) != 20 || r.Ladder[19] != (LadderStep{20 * time.Minute, TellOwner}) {
		t.Errorf("%d steps, %+v", len(r.Ladder), found)
	}
}
