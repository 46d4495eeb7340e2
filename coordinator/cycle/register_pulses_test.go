package cycle

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestPulses: the power of a pulse output is 3,600,000 / (pulses a kWh x seconds) W, as
// its register of one step a pulse gives it (values by that formula; IEC 62053-31
// names such outputs).
func TestPulses(t *testing.T) {
	for _, c := range []struct{ aKWh, seconds, watts float64 }{
		{1000, 3.6, 1000}, {1000, 1.8, 2000}, {1000, 36, 100},
		{500, 7.2, 1000}, {800, 4.5, 1000}, {2000, 1.8, 1000},
	} {
		var p RegisterPower
		got := 0.0
		for n := range 5 {
			got = p.Add(energySecond(float64(n)*c.seconds), float64(n)*1000/c.aKWh)
		}
		near(t, "power", got, c.watts, 1e-6)
	}
}

// TestSumOfPulses: 740 pulses at 1000 a kWh are 0.74 kWh, 1000 at 800 are 1.25 kWh.
func TestSumOfPulses(t *testing.T) {
	for _, c := range []struct {
		pulses     int
		aKWh, want float64
	}{{740, 1000, 740}, {1000, 800, 1250}, {2000, 2000, 1000}, {1, 500, 2}} {
		var tally IntegratorTally
		for n := range c.pulses + 1 {
			at := energySecond(float64(n) * 10)
			tally.Add(Reading{At: at, Watts: math.NaN(), Wh: float64(n) * 1000 / c.aKWh}, math.NaN())
		}
		near(t, "energy", tally.Wh(), c.want, 1e-6)
	}
}

// TestPulsesAlone: an engine that is given pulses alone finds the cycle that it finds
// with watts, and counts its energy to within some pulses.
func TestPulsesAlone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		aKWh := rapid.SampledFrom([]float64{1000, 2000, 10000}).Draw(t, "pulses a kWh")
		c := newProgrammes(rapid.Uint64Range(1, 99).Draw(t, "seed")).dry(t0, 2500, 220, false)
		rs := registered(sample(c, 10*time.Second), 500, 1000/aKWh, 0)
		only := make([]Reading, len(rs))
		for i, r := range rs {
			only[i] = Reading{At: r.At, Watts: math.NaN(), Wh: r.Wh}
		}
		a, b := closed(watchAll(New(dryer()), rs)), closed(watchAll(New(dryer()), only))
		if len(a) != 1 || len(b) != 1 {
			t.Fatalf("with watts %v, with pulses %v", a, b)
		}
		if d := a[0].end.Sub(b[0].end).Abs(); d > 3*time.Minute {
			t.Fatalf("the ends are %v apart", d)
		}
		if d := a[0].start.Sub(b[0].start).Abs(); d > 3*time.Minute {
			t.Fatalf("the starts are %v apart", d)
		}
	})
}
