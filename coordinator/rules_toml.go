package coordinator

import (
	"fmt"
	"strings"
)

// TOML writes the rules as the section [rules] of a building file, all of them,
// so that the same text gives the same rules whatever the defaults are by then.
// Building files call homes by their names: name gives them, and a home without
// one is left out.
func (r *Rules) TOML(name func(HomeID) (string, bool)) string {
	var plain, ladder, hours strings.Builder
	section := ""
	for _, s := range r.Settings() {
		step, key, inLadder := ladderPath(s.Path)
		rest, inHours := strings.CutPrefix(s.Path, "hours.")
		switch {
		case inLadder:
			if key == "after" {
				fmt.Fprintf(&ladder, "\n[[rules.ladder]] # step %d\n", step)
			}
			fmt.Fprintf(&ladder, "%s = %s\n", key, tomlValue(s, name))
		case inHours:
			day, key, _ := strings.Cut(rest, ".")
			if day != section {
				section = day
				fmt.Fprintf(&hours, "\n[rules.hours.%s]\n", day)
			}
			fmt.Fprintf(&hours, "%s = %s\n", key, tomlValue(s, name))
		default:
			fmt.Fprintf(&plain, "%s = %s\n", s.Path, tomlValue(s, name))
		}
	}
	if len(r.Ladder) == 0 {
		plain.WriteString("ladder = []\n")
	}
	return "[rules]\n" + plain.String() + ladder.String() + hours.String()
}

func tomlValue(s Setting, name func(HomeID) (string, bool)) string {
	switch s.Kind {
	case CountSetting, TruthSetting:
		return s.Value
	case HomesSetting:
		var parts []string
		for _, h := range homeList(s.Value) {
			if called, ok := name(h); ok {
				parts = append(parts, TOMLText(called))
			}
		}
		return "[" + strings.Join(parts, ", ") + "]"
	}
	return TOMLText(s.Value)
}

// TOMLText is a basic string of TOML 1.0: control characters as \uXXXX.
func TOMLText(text string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, c := range text {
		switch {
		case c == '"' || c == '\\':
			b.WriteByte('\\')
			b.WriteRune(c)
		case c < ' ' || c == 0x7f:
			fmt.Fprintf(&b, `\u%04x`, c)
		default:
			b.WriteRune(c)
		}
	}
	b.WriteByte('"')
	return b.String()
}
