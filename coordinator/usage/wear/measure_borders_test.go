package wear

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
)

// from is readings of steps of power, one at each step's beginning and every ten
// seconds of it, the last when the last step ends.
func from(at time.Time, steps ...step) (all []cycle.Reading) {
	for _, s := range steps {
		for d := time.Duration(0); d < s.d; d += 10 * time.Second {
			all = append(all, cycle.Power(at.Add(d), s.watts))
		}
		at = at.Add(s.d)
	}
	return append(all, cycle.Power(at, 0))
}

// TestMeasureByHand: each bound of what is measured, at its last value that counts and
// at the first that does not. NaN: nothing is known.
func TestMeasureByHand(t *testing.T) {
	nan := math.NaN()
	hour := Span{Start: dayOne, End: dayOne.Add(time.Hour), EnergyWh: 500}
	s := func(minutes float64, watts float64) step {
		return step{time.Duration(minutes * float64(time.Minute)), watts}
	}
	for _, c := range []struct {
		name  string
		f     Figure
		want  float64
		span  func(*Span)
		steps []step
	}{
		// A resistance heater draws 1200 W at least, for a minute.
		{"1200 W for a minute", Heating, 1, nil, []step{s(1, 1200), s(59, 100)}},
		{"1199 W", Heating, nan, nil, []step{s(10, 1199), s(50, 100)}},
		{"2000 W for less than a minute", Heating, nan, nil, []step{s(0.5, 2000), s(59.5, 100)}},
		{"half of the strongest heats too", Heating, 15, nil, []step{s(10, 2000), s(5, 1000), s(45, 999)}},
		{"the strongest is a mean of a minute", Heating, 2.5, nil, []step{s(0.5, 4000), s(0.5, 800), s(2, 1200), s(57, 100)}},
		// The spin is the strongest half minute of the last 15 that is below half of the heater's.
		{"the last 15 minutes", Spin, 400, nil, []step{s(44, 700), s(1, 100), s(5, 400), s(10, 80)}},
		{"a spin that began 15 minutes before", Spin, 700, nil, []step{s(45, 100), s(1, 700), s(14, 400)}},
		{"half a minute", Spin, 500, nil, []step{s(50, 70), s(0.5, 500), s(9.5, 70)}},
		{"twenty seconds of it", Spin, (500*20 + 80*10) / 30., nil, []step{s(50, 80), s(20./60, 500), s(10-20./60, 80)}},
		{"60 W", Spin, 60, nil, []step{s(45, 300), s(15, 60)}},
		{"59 W", Spin, nan, nil, []step{s(45, 300), s(15, 59)}},
		{"what heats is no spin", Spin, 900, nil, []step{s(46, 100), s(2, 2000), s(2, 1000), s(10, 900)}},
		{"a strong spin without a heater", Spin, 1100, nil, []step{s(50, 100), s(10, 1100)}},
		// Of a cycle 95 % must be heard; a reading stands for three minutes.
		{"energy", Energy, 0.5, nil, []step{s(60, 100)}},
		{"no energy", Energy, nan, func(s *Span) { s.EnergyWh = 0 }, []step{s(60, 100)}},
		{"no length", Length, nan, func(s *Span) { s.End = s.Start }, []step{s(60, 100)}},
		{"57 minutes of 60", Length, 60, nil, []step{s(57, 100)}},
		{"56 minutes and 50 seconds", Length, nan, nil, []step{s(56+50./60, 100)}},
		// Standby is the median from 45 minutes after the end, until four hours after.
		{"from 45 minutes on", Standby, 2, nil, []step{s(60, 100), s(45, 50), s(20, 2)}},
		{"ten minutes of it", Standby, 2, nil, []step{s(60, 100), s(45, 50), s(10, 2)}},
		{"a little less", Standby, nan, nil, []step{s(60, 100), s(45, 50), s(9+50./60, 2)}},
		{"a pump in between", Standby, 2, nil, []step{s(60, 100), s(45, 50), s(9, 2), s(8, 40)}},
		{"as long on as off: the lower", Standby, 2, nil, []step{s(60, 100), s(45, 50), s(9, 30), s(9, 2)}},
		{"mostly on", Standby, 30, nil, []step{s(60, 100), s(45, 50), s(9, 30), s(8, 2), s(1, 40)}},
		{"until four hours after", Standby, 30, nil, []step{s(60, 100), s(45, 50), s(100, 30), s(95, 2), s(300, 2)}},
		{"until the next start", Standby, 2, func(s *Span) { s.Next = s.End.Add(65 * time.Minute) }, []step{s(60, 100), s(45, 50), s(20, 2), s(60, 1500)}},
		{"a next start after all that", Standby, 2, func(s *Span) { s.Next = s.End.Add(9 * time.Hour) }, []step{s(60, 100), s(45, 50), s(195, 2), s(300, 9)}},
	} {
		span := hour
		if c.span != nil {
			c.span(&span)
		}
		got := Measure(span, from(dayOne, c.steps...), true).Value[c.f]
		if math.IsNaN(c.want) != math.IsNaN(got) || math.Abs(got-c.want) > 1e-9*c.want {
			t.Errorf("%s: %s is %v, want %v", c.name, c.f, got, c.want)
		}
	}
}

// TestHowLongAReadingStands: three minutes; what is longer was not heard. Each case is
// the power at the minutes, and how long of it is known between minute 0 and 10.
func TestHowLongAReadingStands(t *testing.T) {
	type at struct{ minute, watts, wh float64 }
	nan := math.NaN()
	for name, c := range map[string]struct {
		readings []at
		heard    time.Duration
		watts    float64 // of the first stretch
	}{
		"three minutes":             {[]at{{0, 100, nan}, {3, 0, nan}, {30, 0, nan}}, 3 * time.Minute, 100},
		"a little more":             {[]at{{0, 100, nan}, {3.01, 0, nan}, {30, 0, nan}}, 0, 0},
		"the last reading stands":   {[]at{{8, 100, nan}}, 2 * time.Minute, 100},
		"but not for longer":        {[]at{{6, 100, nan}}, 0, 0},
		"from before":               {[]at{{-2, 100, nan}, {1, 100, nan}, {20, 0, nan}}, time.Minute, 100},
		"until after":               {[]at{{9, 100, nan}, {11, 0, nan}}, time.Minute, 100},
		"outside":                   {[]at{{-2, 100, nan}, {-1, 100, nan}, {0, 100, nan}}, 0, 0},
		"below zero is none":        {[]at{{0, -5, nan}, {2, -5, nan}, {20, 0, nan}}, 2 * time.Minute, 0},
		"a register that rises":     {[]at{{0, nan, 1000}, {2, nan, 1001}, {20, nan, 1001}}, 2 * time.Minute, 30}, // 1 Wh in 1/30 h
		"a register that stands":    {[]at{{0, nan, 1000}, {2, nan, 1000}, {20, nan, 1001}}, 2 * time.Minute, 0},
		"a register that falls":     {[]at{{0, nan, 1000}, {2, nan, 5}, {20, nan, 5}}, 0, 0},
		"a register, the last":      {[]at{{9, nan, 1000}}, 0, 0},
		"a register read twice":     {[]at{{0, nan, 1000}, {0, nan, 1001}, {20, nan, 1001}}, 0, 0},
		"nothing between the reads": {[]at{{0, nan, nan}, {2, nan, nan}}, 0, 0},
	} {
		var all []cycle.Reading
		for _, r := range c.readings {
			all = append(all, cycle.Reading{At: dayOne.Add(time.Duration(r.minute * float64(time.Minute))), Watts: r.watts, Wh: r.wh})
		}
		got := between(all, dayOne, dayOne.Add(10*time.Minute))
		if heard(got) != c.heard || len(got) > 0 && math.Abs(got[0].watts-c.watts) > 1e-9 || (len(got) == 0) != (c.heard == 0) {
			t.Errorf("%s: %+v, want %v of %v W first", name, got, c.heard, c.watts)
		}
	}
}

// TestStrongest: the highest mean of whole stretches that fill a window, no more of them
// than that takes; nothing where less was heard.
func TestStrongest(t *testing.T) {
	all := func(parts ...float64) (out []stretch) { // seconds, watts, ...
		for i := 0; i < len(parts); i += 2 {
			out = append(out, stretch{d: time.Duration(parts[i] * float64(time.Second)), watts: parts[i+1]})
		}
		return out
	}
	for _, c := range []struct {
		parts []stretch
		want  float64
	}{
		{nil, 0}, {all(59, 900), 0}, {all(60, 900), 900}, {all(120, 900), 900}, {all(30, 100, 30, 300), 200}, {all(30, 100, 30, 300, 30, 500), 400},
		{all(30, 500, 30, 300, 30, 100), 400}, {all(30, 500, 60, 400, 30, 0), 400}, {all(10, 3000, 50, 0, 60, 600), 600},
	} {
		if got := strongest(c.parts, time.Minute); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("of %v: %v, want %v", c.parts, got, c.want)
		}
	}
}

// TestWordsOfFigures: stored for years, and read back; another word is an error that
// says which there are.
func TestWordsOfFigures(t *testing.T) {
	for f, word := range map[Figure]string{Length: "length", Heating: "heating", Energy: "energy", Spin: "spin", Standby: "standby"} {
		var back Figure
		text, err := f.MarshalText()
		if err != nil || string(text) != word || back.UnmarshalText(text) != nil || back != f {
			t.Errorf("%s is written %q and read %s", f, text, back)
		}
	}
	kept := Spin
	if err := kept.UnmarshalText([]byte("colour")); err == nil || kept != Spin || !strings.Contains(err.Error(), `"colour"`) || !strings.Contains(err.Error(), "heating") {
		t.Errorf("colour: %v, and the figure is %s", err, kept)
	}
	var c Cycle
	for _, text := range []string{`{"n":-1}`, `[]`, `{"of":{"energy":"much"}}`} {
		if err := json.Unmarshal([]byte(text), &c); err == nil || !strings.Contains(err.Error(), "a measured cycle does not decode") {
			t.Errorf("%s: %v", text, err)
		}
	}
	c = unmeasured(1, dayOne, dayOne)
	c.Value[Energy], c.Value[Spin] = math.Inf(1), math.Inf(-1)
	if text, err := json.Marshal(c); err != nil || strings.Contains(string(text), "of") {
		t.Errorf("without end is stored as %s, %v", text, err)
	}
}
