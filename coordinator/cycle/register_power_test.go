package cycle

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestRegisterPower(t *testing.T) {
	var p RegisterPower
	for _, c := range []struct {
		seconds, wh, want float64
		what              string
	}{
		{0, 100, math.NaN(), "a first value"},
		{9, 101, math.NaN(), "a first step, of which nobody knows how long it took"},
		{12.6, 102, 1000, "1000 pulses a kWh, 3.6 s apart, are 1000 W"},
		{14.4, 103, 2000, "1.8 s apart 2000 W"},
		{15, 103, 2000, "within the time of a step nothing is new"},
		{50.4, 104, 100, "36 s apart 100 W"},
		{52, 104, 100, "it holds"},
		{122.4, 104, 50, "no step for 72 s: 50 W at most"},
		{1250.4, 104, 3, "no step for 20 minutes: 3 W at most, which is how slowly a standby shows"},
		{1254, 60, math.NaN(), "a reset: what was counted since it is no whole step"},
		{1257.6, 61, math.NaN(), "and so the next step cannot be timed"},
		{1261.2, 62, 1000, "but the one after can"},
	} {
		if c.wh == 60 {
			p.Forget()
		}
		got := p.Add(energySecond(c.seconds), c.wh)
		if !alike(math.Round(got*1e6)/1e6, c.want) {
			t.Errorf("at %v s, %v Wh: %v W, want %v: %s", c.seconds, c.wh, got, c.want, c.what)
		}
	}
}

func TestRegisterPowerStandsStillFromTheBegin(t *testing.T) {
	var p RegisterPower
	for s := 0.0; s < 1200; s += 60 {
		if w := p.Add(energySecond(s), 5); !math.IsNaN(w) {
			t.Fatalf("after %v s: %v W", s, w)
		}
	}
	near(t, "after 20 minutes", p.Add(energySecond(1200), 5), 3, 1e-9)

	// Known to count in steps of 10 Wh it takes ten times as long.
	p = RegisterPower{Unit: 10}
	for s := 0.0; s < 12000; s += 60 {
		if w := p.Add(energySecond(s), 5); !math.IsNaN(w) {
			t.Fatalf("10 Wh, after %v s: %v W", s, w)
		}
	}
	near(t, "after 200 minutes", p.Add(energySecond(12000), 5), 3, 1e-9)
}

// At a steady load, whatever the unit and the interval, the power that is derived
// is off by no more than one unit, or one interval, in a step can hide.
func TestRegisterPowerFollowsALoad(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := rapid.SampledFrom([]float64{0.1, 1, 10}).Draw(t, "unit")
		load := rapid.Float64Range(100, 3000).Draw(t, "load")
		period := time.Duration(rapid.IntRange(1, 60).Draw(t, "period")) * time.Second
		var p RegisterPower
		at, wh := energyEpoch, rapid.Float64Range(0, unit).Draw(t, "begin")
		for range 400 {
			at = at.Add(period)
			wh += load * period.Hours()
			w := p.Add(at, math.Floor(wh/unit)*unit)
			if math.IsNaN(w) {
				continue
			}
			// step is the time of one unit; two steps are seen at least an
			// interval, and a step less an interval, apart.
			step, every := unit*secondsPerHour/load, period.Seconds()
			most := load * (1 + step/math.Max(every, step-every))
			if least := load * step / (step + every); w > most*1.001 || w < least/1.001 {
				t.Fatalf("%v W for a load of %v W", w, load)
			}
		}
	})
}
