package push

import (
	"encoding/json"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

// TestPayloadsFit: whatever names the building gave its rooms, a payload is
// valid JSON of valid text below 1 KB, and keeps its kind and time.
func TestPayloadsFit(t *testing.T) {
	at := time.Date(2026, 6, 10, 12, 0, 0, 123456789, time.UTC)
	for what, name := range map[string]string{
		"plain":        "Cellar",
		"long":         strings.Repeat("Cellar of the long house ", 400),
		"wide letters": strings.Repeat("洗濯室", 2000),
		"quotes":       strings.Repeat(`"\`, 3000),
		"controls":     strings.Repeat("\x00\n\x7f", 3000),
		"broken text":  strings.Repeat("\xff\xfe", 3000),
		"separators":   strings.Repeat("\u2028", 3000),
		"joined":       strings.Repeat("👩‍👩‍👧", 900),
	} {
		for _, p := range []Payload{
			{Title: name, Body: name, Tag: "load-3", URL: "/rooms/cellar", Kind: "load-ready", At: at},
			{Title: "t", Body: name, Tag: name, URL: "/" + name, Kind: "load-ready", At: at},
		} {
			data := p.Encode()
			var back Payload
			if err := json.Unmarshal(data, &back); err != nil || len(data) > 1023 || !utf8.Valid(data) {
				t.Errorf("%s: %d octets, %v", what, len(data), err)
			}
			if back.Kind != "load-ready" || !back.At.Equal(at.Truncate(time.Millisecond)) || back.URL == "" {
				t.Errorf("%s: kind %q, time %v and url %q came through", what, back.Kind, back.At, back.URL)
			}
			if strings.ContainsAny(back.Title+back.Body, "\n\x00\x7f") {
				t.Errorf("%s: control characters came through", what)
			}
		}
	}
	short := Payload{Title: "Cellar: washer 1", Body: "Your load is ready.", Tag: "x", URL: "/", Kind: "load-ready", At: at}
	var back Payload
	if err := json.Unmarshal(short.Encode(), &back); err != nil || back.Title != short.Title || back.Body != short.Body || back.Tag != "x" {
		t.Errorf("a short one was changed: %+v, %v", back, err)
	}
}

// TestCutKeepsCharactersWhole: for every size, the cut text is valid, no longer,
// and marked.
func TestCutKeepsCharactersWhole(t *testing.T) {
	const text = "Wäsche 洗 👕 fertig"
	for size := range len(text) + 3 {
		got := cut(text, size)
		if len(got) > size || !utf8.ValidString(got) {
			t.Errorf("to %d octets: %q", size, got)
		}
		if size >= len(text) && got != text {
			t.Errorf("to %d octets it was cut: %q", size, got)
		}
		if size < len(text) && got != "" && !(strings.HasSuffix(got, "…") && strings.HasPrefix(text, strings.TrimSuffix(got, "…"))) {
			t.Errorf("to %d octets: %q is not its begin", size, got)
		}
	}
}
