package coordinator

import (
	"strings"
	"testing"
	"time"
)

// TestRulesAsABuildingFile: the whole text, in the grammar of TOML 1.0 (toml.io), with
// homes by their names.
func TestRulesAsABuildingFile(t *testing.T) {
	r := DefaultRules()
	r.LongerHoldHomes = []HomeID{"h2", "gone", "h1"}
	r.Text = `Say "hello" to C:\`
	r.Ladder = r.Ladder[:2]
	r.Hours[time.Sunday].Closed, r.Hours[time.Monday].Opens = true, 7*60
	names := func(id HomeID) (string, bool) {
		return map[HomeID]string{"h1": "12", "h2": `2nd "floor"`}[id], id != "gone"
	}
	want := `[rules]
hold = "10m"
longer_hold = "20m"
longer_hold_homes = ["12", "2nd \"floor\""]
dry_call_ahead = "3m"
on_my_way_adds = "0s"
recall_after = "10m"
turns_per_home = 2
loads_per_home = 2
grace = "10m"
call_uncollected_after = "0s"
assume_empty_after = "3h"
more_time = "10m"
more_time_waiting = "0s"
not_me_within = "15m"
walk_ups = "allowed"
night_from = "22:00"
night_to = "07:00"
open_homes = true
wall_touch = false
per_home_figures = false
text = "Say \"hello\" to C:\\"
keep_days = 90

[[rules.ladder]] # step 1
after = "10m"
tell = "owner"

[[rules.ladder]] # step 2
after = "15m"
tell = "next"
`
	for _, day := range strings.Fields("monday tuesday wednesday thursday friday saturday sunday") {
		opens, closed := `""`, "false"
		switch day {
		case "monday":
			opens = `"07:00"`
		case "sunday":
			closed = "true"
		}
		want += "\n[rules.hours." + day + "]\nclosed = " + closed + "\nopens = " + opens + "\nlast_start = \"\"\nended_by = \"\"\n"
	}
	if got := r.TOML(names); got != want {
		t.Errorf("written is\n%s\nwant\n%s", got, want)
	}
	r.Ladder, r.LongerHoldHomes = nil, nil
	got := r.TOML(names)
	if strings.Contains(got, "[[rules.ladder]]") || !strings.Contains(got, "\nkeep_days = 90\nladder = []\n\n[rules.hours.monday]\n") || !strings.Contains(got, "\nlonger_hold_homes = []\n") {
		t.Errorf("rules without a ladder are\n%s", got)
	}
}

// TestTOMLText: basic strings of TOML 1.0: quotes and backslashes are escaped, and so
// are the control characters U+0000 to U+001F and U+007F; anything else is as it is.
func TestTOMLText(t *testing.T) {
	for text, want := range map[string]string{
		"": `""`, "Waschküche é 🧺": `"Waschküche é 🧺"`, `a"b`: `"a\"b"`, `a\b`: `"a\\b"`, "a'b #": `"a'b #"`,
		"\x00": `"\u0000"`, "a\nb\tc": `"a\u000ab\u0009c"`, "\x1f\x20": `"\u001f "`, "~\x7f\u0080": "\"~\\u007f\u0080\"",
	} {
		if got := TOMLText(text); got != want {
			t.Errorf("%q is written %s, want %s", text, got, want)
		}
	}
}
