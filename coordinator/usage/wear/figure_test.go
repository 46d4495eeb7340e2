package wear

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestFiguresHaveWords(t *testing.T) {
	seen := map[string]bool{}
	for _, f := range Figures() {
		if w := f.String(); w == "" || w == "?" || seen[w] {
			t.Errorf("figure %d is called %q", f, w)
		} else {
			seen[w] = true
		}
	}
	if figures.String() != "?" || len(seen) != int(figures) {
		t.Error("there are figures without a word")
	}
}

func TestFiguresOfKinds(t *testing.T) {
	for _, c := range []struct {
		washes, dries bool
		want          string
	}{
		{true, false, "heating energy spin standby"},
		{false, true, "length energy standby"},
		{true, true, "length heating energy spin standby"},
	} {
		var got []string
		for _, f := range Figures() {
			if f.Of(c.washes, c.dries) {
				got = append(got, f.String())
			}
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("washes %v, dries %v: %q", c.washes, c.dries, got)
		}
	}
}

// TestCycleIsStoredWhole: what is known comes back the same, what is not stays unknown.
func TestCycleIsStoredWhole(t *testing.T) {
	value := rapid.OneOf(rapid.Just(math.NaN()), rapid.Float64Range(0, 1e6))
	rapid.Check(t, func(rt *rapid.T) {
		c := unmeasured(rapid.Uint64().Draw(rt, "number"), dayOne, dayOne.Add(time.Duration(rapid.Int64Range(0, 1e14).Draw(rt, "length"))))
		c.PeakW = rapid.Float64Range(0, 9000).Draw(rt, "peak")
		for _, f := range Figures() {
			c.Value[f] = value.Draw(rt, f.String())
		}
		text, err := json.Marshal(c)
		if err != nil {
			rt.Fatal(err)
		}
		var back Cycle
		if err := json.Unmarshal(text, &back); err != nil {
			rt.Fatal(err)
		}
		if back.Number != c.Number || !back.Start.Equal(c.Start) || !back.End.Equal(c.End) || back.PeakW != c.PeakW {
			rt.Fatalf("%+v came back as %+v", c, back)
		}
		for _, f := range Figures() {
			if a, b := c.Value[f], back.Value[f]; a != b && !(math.IsNaN(a) && math.IsNaN(b)) {
				rt.Fatalf("%s: %v came back as %v", f, a, b)
			}
		}
	})
}

func FuzzCycleDecodes(f *testing.F) {
	f.Add(`{"n":3,"from":"2026-01-02T03:04:05Z","to":"2026-01-02T04:04:05Z","of":{"energy":0.7,"later":1}}`)
	f.Add(`{`)
	f.Fuzz(func(t *testing.T, text string) {
		var c Cycle
		if err := json.Unmarshal([]byte(text), &c); err != nil {
			return
		}
		if _, err := json.Marshal(c); err != nil && c.Start.Year() < 9999 && c.Start.Year() > 0 && c.End.Year() < 9999 && c.End.Year() > 0 {
			t.Errorf("%q decodes and does not encode: %v", text, err)
		}
	})
}
