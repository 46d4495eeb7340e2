package config

import (
	"fmt"
	"strings"
)

// Payload says where the values are in a meter's messages. The zero Payload
// takes a bare number of watts.
type Payload struct {
	// Watts, Wh and Time are JSON Pointers (RFC 6901), such as "/power"; empty
	// where the messages do not have it.
	Watts, Wh, Time string
	// Door is where a door contact says whether the door is open; empty without one.
	Door string
	// WhFactor turns the register's unit into Wh: 1, or 1000 for kWh.
	WhFactor float64
}

// JSON reports whether messages are JSON rather than a bare number.
func (p Payload) JSON() bool { return p.Watts != "" || p.Wh != "" }

// payload reads the settings of a meter's messages.
func (s *section) payload() Payload {
	p := Payload{WhFactor: 1}
	form, unit := "", "Wh"
	said := s.word("payload", (*plainWord)(&form), "number", "json")
	s.pointer("watts", &p.Watts)
	s.pointer("wh", &p.Wh)
	s.pointer("time", &p.Time)
	s.pointer("door", &p.Door)
	if s.word("wh_unit", (*plainWord)(&unit), "Wh", "kWh") && unit == "kWh" {
		p.WhFactor = 1000
	}
	places := s.has("watts") || s.has("wh")
	switch {
	case said && form == "number" && (places || s.has("time") || s.has("door")):
		s.wrong("payload", "a bare number has no places for watts, wh, time or door", `write payload = "json", or remove watts, wh, time and door`)
	case said && form == "json" && !places:
		s.wrong("payload", "it is not said where in the JSON the watts are", `add watts = "/power", with the place that your meter uses`)
	case !places && s.has("time"):
		s.wrong("time", "a time alone is no reading", `add watts = "/power", with the place that your meter uses`)
	case !places && s.has("door"):
		s.wrong("door", "a door alone is no reading", `add watts = "/power", with the place that your meter uses`)
	case s.has("wh_unit") && !s.has("wh"):
		s.wrong("wh_unit", "it is not said where in the JSON the register is", `add wh = "/energy", with the place that your meter uses`)
	}
	return p
}

// pointer reads a JSON Pointer.
func (s *section) pointer(key string, into *string) {
	var text string
	if !s.text(key, &text) {
		return
	}
	right := fmt.Sprintf(`write the names that lead to the value, each after a slash, such as %s = %q`, key, "/"+key)
	bad := strings.ReplaceAll(strings.ReplaceAll(text, "~0", ""), "~1", "")
	switch {
	case !strings.HasPrefix(text, "/"):
		s.wrong(key, fmt.Sprintf("%q does not begin with a slash", text), right)
	case strings.Contains(bad, "~"):
		s.wrong(key, fmt.Sprintf("%q has a ~ that means nothing", text), "write ~0 for a ~, and ~1 for a slash within a name")
	default:
		*into = text
	}
}
