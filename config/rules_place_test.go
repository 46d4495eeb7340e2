package config_test

import (
	"strings"
	"testing"

	"drumturn/config"
)

// Where a wrong rule is said to be: at the setting itself, at the one for every
// day, or at the section that makes it wrong together with what holds above it.
func TestPlaceOfWrongRules(t *testing.T) {
	for name, c := range map[string]struct {
		text string // after head, from line 5 on
		line int
		key  string
	}{
		"itself":            {"[rules]\nhold = \"0s\"\n", 6, "rules.hold"},
		"step":              {"[[rules.ladder]]\ntell = \"owner\"\nafter = \"0s\"\n", 7, "rules.ladder[1].after"},
		"inline step":       {"[rules]\nladder = [\n{ after = \"5m\", tell = \"owner\" },\n{ after = \"5m\", tell = \"next\" }]\n", 8, "rules.ladder[2].after"},
		"every day":         {"[rules.hours]\nlast_start = \"20:00\"\nended_by = \"19:00\"\n", 7, "rules.hours.ended_by"},
		"one day":           {"[rules.hours]\nlast_start = \"20:00\"\nmonday.ended_by = \"19:00\"\n", 7, "rules.hours.monday.ended_by"},
		"day by default":    {"[rules.hours]\nended_by = \"19:00\"\nmonday.last_start = \"20:00\"\n", 6, "rules.hours.ended_by"},
		"half a night":      {"[rules]\nnight_from = \"\"\n", 6, "rules.night_from"},
		"against a default": {"[rules]\n\ngrace = \"4h\"\n", 5, "rules.assume_empty_after"},
		"room against house": {"[rules]\ngrace = \"2h\"\n[rooms.cellar.rules]\nassume_empty_after = \"1h\"\n", 8,
			"rooms.cellar.rules.assume_empty_after"},
		"room makes house wrong": {"[rules]\nassume_empty_after = \"1h\"\n[rooms.cellar.rules]\ngrace = \"2h\"\n", 7,
			"rooms.cellar.rules.assume_empty_after"},
		"room's day against house": {"[rules.hours]\nlast_start = \"20:00\"\n[rooms.cellar.rules.hours]\nfriday.ended_by = \"10:00\"\n", 8,
			"rooms.cellar.rules.hours.friday.ended_by"},
		"house alone, room has others": {"[rules]\nhold = \"0s\"\n[rooms.cellar.rules]\ngrace = \"5m\"\n", 6, "rules.hold"},
		"too many steps":               {"[rules]\nladder = [" + steps(21) + "]\n", 6, "rules.ladder"},
	} {
		t.Run(name, func(t *testing.T) {
			got := errorsAt(t, c.key, head+c.text+room)
			if len(got) != 1 || got[0].Line != c.line {
				t.Errorf("got %v, want one in line %d", got, c.line)
			}
		})
	}
}

// steps is a ladder of n good steps.
func steps(n int) string {
	var b strings.Builder
	for i := range n {
		b.WriteString("{ tell = \"owner\", after = \"" + config.Duration((i+1)*60_000_000_000).String() + "\" },")
	}
	return b.String()
}

// A problem of the house is said once, however many rooms there are.
func TestHouseProblemIsSaidOnce(t *testing.T) {
	text := head + "[rules]\nhold = \"0s\"\n"
	for _, r := range []string{"a", "b", "c"} {
		text += "[rooms." + r + "]\nmachines = [{ number = 1, kind = \"washer\" }]\n[rooms." + r + ".rules]\ngrace = \"5m\"\n"
	}
	if got := errorsAt(t, "rules.hold", text); len(got) != 1 {
		t.Errorf("got %v", got)
	}
}

// A section of rules that is none is said to be none, and the house's rules hold.
func TestRulesThatAreNoSection(t *testing.T) {
	for _, value := range []string{"5", "\"strict\"", "[]", "true"} {
		if got := errorsAt(t, "rules", "rules = "+value+"\n"+head+room); len(got) != 1 {
			t.Errorf("rules = %s: %v", value, got)
		}
	}
}
