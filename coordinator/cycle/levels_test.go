package cycle

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestLevelsTellHeatFromDrum(t *testing.T) {
	learn := func(s Settings, parts map[float64]time.Duration) levels {
		var h histogram
		for w, d := range parts {
			h.add(codeOf(w), d)
		}
		var v levels
		v.threshold(s, false)
		v.learn(&h, s)
		v.threshold(s, false)
		return v
	}
	v := learn(washer(), map[float64]time.Duration{2: 10 * time.Minute, 110: 60 * time.Minute, 420: 8 * time.Minute, 2050: 15 * time.Minute})
	if v.HeatW < 600 || v.HeatW > 2000 || v.DrumW < 80 || v.DrumW > 200 {
		t.Errorf("washer: heats from %.0f W, drum %.0f W", v.HeatW, v.DrumW)
	}
	v = learn(washer(), map[float64]time.Duration{2: 10 * time.Minute, 110: 60 * time.Minute, 700: 8 * time.Minute})
	if v.HeatW != 0 {
		t.Errorf("a cold wash heats from %.0f W", v.HeatW)
	}
	v = learn(dryer(), map[float64]time.Duration{160: 10 * time.Minute, 750: 50 * time.Minute})
	if v.HeatW < 200 || v.HeatW > 700 {
		t.Errorf("heat pump: heats from %.0f W", v.HeatW)
	}
	v = learn(dryer(), map[float64]time.Duration{290: 50 * time.Minute})
	if v.HeatW != 0 {
		t.Errorf("gas dryer: heats from %.0f W", v.HeatW)
	}
}

func TestLevelsChangeForGood(t *testing.T) {
	var v levels
	v.threshold(washer(), false)
	cycleOf := func(w float64) *histogram {
		var h histogram
		h.add(codeOf(w), time.Hour)
		return &h
	}
	for i, c := range []struct {
		w       float64
		changed bool
	}{{2000, false}, {2050, false}, {1200, false}, {2000, false}, {1200, false}, {1210, false}, {1200, true}, {1200, false}} {
		if got := v.watch(cycleOf(c.w), t0.Add(time.Duration(i)*time.Hour), washer()); got != c.changed {
			t.Errorf("cycle %d at %.0f W: changed %v", i, c.w, got)
		}
	}
	if v.Changed.IsZero() {
		t.Error("nothing noted")
	}
}

// TestThreshold: where work begins. The numbers are common practice, no source:
// a display stays below 8 W, a dryer's motor takes 50 W and more.
func TestThreshold(t *testing.T) {
	glow := func(w float64, d time.Duration) (h histogram) {
		h.add(codeOf(w), d)
		return h
	}
	for _, c := range []struct {
		what     string
		v        levels
		set      Settings
		slow     bool
		from, to float64
	}{
		{"a new washer", levels{}, washer(), false, 8, 8},
		{"a new washer, means of half a minute", levels{}, washer(), true, 10, 10},
		{"a new dryer", levels{}, dryer(), false, 50, 50},
		{"a dryer whose drum takes 300 W", levels{CoolW: 300}, dryer(), false, 80, 80},
		{"a dryer whose drum takes 150 W", levels{CoolW: 150}, dryer(), false, 60, 60},
		{"a dryer whose drum hardly shows", levels{CoolW: 10}, dryer(), false, 8, 8},
		{"a glow of 7 W", levels{Idle: glow(7, time.Hour)}, washer(), false, 9.5, 12.5},
		{"a glow of 2 W", levels{Idle: glow(2, time.Hour)}, washer(), false, 8, 8},
		{"a glow of 7 W, seen for too short a time", levels{Idle: glow(7, 4*time.Minute)}, washer(), false, 8, 8},
		{"raised, before the glow is known", levels{RaisedW: 17}, washer(), false, 17, 17},
		{"raised, and now the glow is known", levels{RaisedW: 17, Idle: glow(2, time.Hour)}, washer(), false, 8, 8},
		{"what it draws while it works is no glow", levels{Idle: glow(2000, time.Hour)}, washer(), false, 8, 60},
	} {
		c.v.threshold(c.set, c.slow)
		if c.v.WorkW < c.from || c.v.WorkW > c.to {
			t.Errorf("%s: works from %.1f W, want %v to %v", c.what, c.v.WorkW, c.from, c.to)
		}
	}
}

// TestLevelsNeverRunAway: whatever a cycle looked like, the levels are numbers in
// order, and the time at each fades so that no cycle counts for ever.
func TestLevelsNeverRunAway(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := washer()
		s.Washer = rapid.Bool().Draw(t, "washer")
		s.Dryer = !s.Washer || rapid.Bool().Draw(t, "both")
		var v levels
		v.threshold(s, false)
		longest := 0.0
		for range rapid.IntRange(1, 20).Draw(t, "cycles") {
			var c histogram
			for range rapid.IntRange(0, 6).Draw(t, "levels") {
				c.add(rapid.Uint8().Draw(t, "code"), time.Duration(rapid.IntRange(0, 7200).Draw(t, "s"))*time.Second)
			}
			longest = max(longest, c.total(0, histogramBins))
			v.watch(&c, t0, s)
			v.learn(&c, s)
			v.threshold(s, rapid.Bool().Draw(t, "slow"))
			for _, w := range []float64{v.WorkW, v.DrumW, v.HeatW, v.HotW, v.GlowW, v.heats(s)} {
				if math.IsNaN(w) || w < 0 || w > mostWatts {
					t.Fatalf("%+v", v)
				}
			}
			if v.WorkW < workFloorW || v.HeatW > 0 && (v.HotW < 2.2*v.DrumW || v.HotW < heatsFrom(s)) {
				t.Fatalf("works from %v W, drum %v W, heats from %v W with %v W", v.WorkW, v.DrumW, v.HeatW, v.HotW)
			}
			if total := v.Work.total(0, histogramBins); total > longest/(1-forget)+1e-6 {
				t.Fatalf("%v s remembered of cycles of %v s at most", total, longest)
			}
		}
	})
}

func TestHeatsBeforeAnythingIsKnown(t *testing.T) {
	both := Settings{Washer: true, Dryer: true}
	for _, c := range []struct {
		set  Settings
		want float64
	}{{washer(), 1200}, {dryer(), 350}, {both, 1200}} {
		if got := (&levels{}).heats(c.set); got != c.want {
			t.Errorf("%+v heats from %v W, want %v", c.set, got, c.want)
		}
	}
	if got := (&levels{HeatW: 900}).heats(washer()); got != 900 {
		t.Errorf("learned 900 W, says %v", got)
	}
}

func TestCoolDownLevel(t *testing.T) {
	var v levels
	v.cool(200)
	if v.CoolW != 200 {
		t.Fatalf("the first is taken as it is: %v", v.CoolW)
	}
	v.cool(2000) // a cycle that was cut off in its heat
	if v.CoolW > 270 {
		t.Errorf("one odd cycle moves it to %v W", v.CoolW)
	}
	for range 20 {
		v.cool(150)
	}
	if math.Abs(v.CoolW-150) > 2 {
		t.Errorf("after many of 150 W: %v W", v.CoolW)
	}
}

// TestOneOddCycleIsNoChange: the level must be off three times in a row, and what
// is off by less than a quarter of an octave moves the usual one instead.
func TestOneOddCycleIsNoChange(t *testing.T) {
	of := func(w float64) *histogram {
		var h histogram
		h.add(codeOf(w), time.Hour)
		return &h
	}
	var v levels
	v.threshold(washer(), false)
	for i := range 60 {
		w := 2000.0
		if i%3 != 0 {
			w = 900
		}
		if v.watch(of(w), t0, washer()) {
			t.Fatal("two of three cold washes are a habit, not a change")
		}
	}
	first := v.Usual
	for range 40 {
		v.watch(of(2200), t0, washer())
	}
	if v.Usual <= first || !v.Changed.IsZero() {
		t.Errorf("a heater that takes a tenth more: usual %v after %v, changed %v", v.Usual, first, v.Changed)
	}
	if v.watch(&histogram{}, t0, washer()) || v.Off != 0 {
		t.Error("a cycle without work counts as off")
	}
}
