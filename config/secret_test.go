package config

import (
	"bytes"
	"encoding/json"
	"fmt"
	"log/slog"
	"strings"
	"testing"
)

// No way of printing, encoding or logging a secret, alone or in what holds it,
// shows it.
func TestSecretIsNeverShown(t *testing.T) {
	const value = "correct horse"
	s := NewSecret(value)
	m := Meter{Name: "w", Driver: "mqtt", Options: &MQTTMeter{User: "w", Password: s}}
	f := &File{Meters: []Meter{m}}
	var out bytes.Buffer
	for _, v := range []any{s, &s, []Secret{s}, map[string]Secret{"k": s}, m, *m.Options.(*MQTTMeter), m.Options, f} {
		for _, verb := range []string{"%v", "%+v", "%#v", "%s", "%q", "%x", "%d"} {
			fmt.Fprintf(&out, verb, v)
		}
		if err := json.NewEncoder(&out).Encode(v); err != nil {
			t.Fatal(err)
		}
		slog.New(slog.NewTextHandler(&out, nil)).Info("meter", "value", v)
		slog.New(slog.NewJSONHandler(&out, nil)).Info("meter", "value", v)
	}
	text := out.String()
	for _, part := range []string{value, fmt.Sprintf("%x", value), "horse"} {
		if strings.Contains(text, part) {
			t.Errorf("%q is shown", part)
		}
	}
	if !strings.Contains(text, mask) {
		t.Error("nothing is shown in its place")
	}
}

func TestSecret(t *testing.T) {
	if s := NewSecret("x"); !s.IsSet() || s.Reveal() != "x" || s.String() != "(secret)" {
		t.Errorf("a secret of %q shows as %q", s.Reveal(), s)
	}
	if s := (Secret{}); s.IsSet() || s.Reveal() != "" || s.String() != "" {
		t.Errorf("no secret shows as %q", s)
	}
}
