package sim

import (
	"math"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

func course(t *testing.T, model string, p Programme, l Laundry, seed uint64) Course {
	t.Helper()
	m, err := ModelNamed(model)
	if err != nil {
		t.Fatal(err)
	}
	c, err := Make(m, p, l, seed)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// within calls fn for each stretch up to the end of the programme, with its start.
func within(c Course, fn func(at time.Duration, s Stretch)) {
	var at time.Duration
	for _, s := range c.Stretches {
		if at >= c.End {
			return
		}
		fn(at, s)
		at += s.For
	}
}

// A wash heats early, spins last, and loosens the load for 0.5-6 minutes after
// the last spin (measured in tracebase).
func TestWashGoesInOrder(t *testing.T) {
	for seed := range uint64(20) {
		c := course(t, "washer", Cotton40, Laundry{}, seed)
		var lastHeat, lastSpin time.Duration
		within(c, func(at time.Duration, s Stretch) {
			switch s.Phase {
			case cycle.Heat:
				lastHeat = at + s.For
			case cycle.Spin:
				lastSpin = at + s.For
			}
		})
		if lastHeat > c.End/2 {
			t.Errorf("seed %d: still heats at %v of %v", seed, lastHeat, c.End)
		}
		if after := c.End - lastSpin; after < 30*time.Second || after > 6*time.Minute {
			t.Errorf("seed %d: loosens for %v", seed, after)
		}
		if first := c.Stretches[0]; first.Phase != cycle.Fill || first.Watts < 8 || first.Watts > 20 {
			t.Errorf("seed %d: begins with %+v, want the valves", seed, first)
		}
	}
}

// The last spin draws more than those between the rinses, and lasts longer.
func TestLastSpinIsTheHardest(t *testing.T) {
	for seed := range uint64(20) {
		c := course(t, "washer", Cotton60, Laundry{}, seed)
		type block struct {
			peak float64
			end  time.Duration
			long time.Duration
		}
		var blocks []block
		within(c, func(at time.Duration, s Stretch) {
			if s.Phase != cycle.Spin {
				return
			}
			if n := len(blocks); n == 0 || at-blocks[n-1].end > 0 {
				blocks = append(blocks, block{})
			}
			b := &blocks[len(blocks)-1]
			b.peak, b.end, b.long = max(b.peak, s.Watts), at+s.For, b.long+s.For
		})
		if len(blocks) != 4 {
			t.Fatalf("seed %d: %d spins, want one for each of three rinses and a last", seed, len(blocks))
		}
		last := blocks[3]
		for _, b := range blocks[:3] {
			if b.peak >= last.peak || b.long >= last.long {
				t.Errorf("seed %d: a spin of %.0f W and %v before the last of %.0f W and %v", seed, b.peak, b.long, last.peak, last.long)
			}
		}
	}
}

// A quick wash is shorter than a warm one, that than eco; eco takes less energy than hot.
func TestProgrammesCompare(t *testing.T) {
	l := Laundry{Kg: 4, InletC: 14}
	quick, cold := course(t, "washer", Quick, l, 1), course(t, "washer", Cold, l, 1)
	warm, hot, eco := course(t, "washer", Cotton40, l, 1), course(t, "washer", Cotton60, l, 1), course(t, "washer", Eco, l, 1)
	if !(quick.End < warm.End && warm.End < hot.End && hot.End < eco.End) {
		t.Errorf("quick %v, warm %v, hot %v, eco %v", quick.End, warm.End, hot.End, eco.End)
	}
	if !(cold.EnergyWh() < quick.EnergyWh() && quick.EnergyWh() < warm.EnergyWh() && eco.EnergyWh() < hot.EnergyWh()) {
		t.Errorf("Wh: cold %.0f, quick %.0f, warm %.0f, eco %.0f, hot %.0f",
			cold.EnergyWh(), quick.EnergyWh(), warm.EnergyWh(), eco.EnergyWh(), hot.EnergyWh())
	}
}

// Heating obeys the physics of water: 1.163 Wh per litre and kelvin (the specific
// heat of water, 4.186 kJ/(kg K), divided by 3.6). Twenty kelvin more for the same
// load are 11 litres times that, with a tenth for losses and some for the cloth.
func TestWarmerWaterCostsWhatWaterTakes(t *testing.T) {
	heat := func(p Programme) (wh float64) {
		for seed := range uint64(50) {
			within(course(t, "washer", p, Laundry{Kg: 4, InletC: 15}, seed), func(_ time.Duration, s Stretch) {
				if s.Phase == cycle.Heat && s.Watts > 1500 {
					wh += 2000 * s.For.Hours() / 50
				}
			})
		}
		return wh
	}
	water := 11 * 1.163 * 20
	if got := heat(Cotton60) - heat(Cotton40); got < water || got > 1.4*water {
		t.Errorf("20 K more take %.0f Wh, the water alone %.0f Wh", got, water)
	}
}

// Drying ends with its cool-down, and stops to reverse every 2.5 minutes where
// the machine does (as tracebase dryer-3).
func TestDryerReverses(t *testing.T) {
	c := course(t, "dryer", Dry, Laundry{Kg: 5, Moisture: 0.6}, 3)
	stops := 0
	last := cycle.NoPhase
	within(c, func(_ time.Duration, s Stretch) {
		if s.Watts < 10 {
			stops++
			if s.For > 12*time.Second {
				t.Errorf("a stop of %v", s.For)
			}
		}
		last = s.Phase
	})
	if last != cycle.CoolDown {
		t.Errorf("ends with %s", last)
	}
	if per := c.End / time.Duration(stops); per < 2*time.Minute || per > 5*time.Minute {
		t.Errorf("a stop every %v", per)
	}
}

// Some cool-downs are interrupted by heat: 12 in 100 for this model, within five
// standard deviations over 1,000 courses.
func TestSomeDryersHeatAgain(t *testing.T) {
	again := 0
	for seed := range uint64(1000) {
		cool, heats := false, false
		within(course(t, "dryer", Dry, Laundry{}, seed), func(_ time.Duration, s Stretch) {
			if s.Phase == cycle.CoolDown {
				cool = true
			}
			heats = heats || cool && s.Phase == cycle.Heat
		})
		if heats {
			again++
		}
	}
	if math.Abs(float64(again)-120) > 5*math.Sqrt(1000*0.12*0.88) {
		t.Errorf("%d of 1,000 heat again, want about 120", again)
	}
}

// A washer-dryer tumbles for about 14 minutes between its spin and the heat of
// its drying, without a pause that could be taken for an end (tracebase).
func TestWasherDryerDoesNotPauseBetween(t *testing.T) {
	c := course(t, "washer-dryer", WashDry, Laundry{}, 5)
	var spun, heated time.Duration
	within(c, func(at time.Duration, s Stretch) {
		if s.Phase == cycle.Spin {
			spun = at + s.For
			heated = 0
		}
		if s.Phase == cycle.Heat && heated == 0 {
			heated = at
		}
		if spun > 0 && s.Watts < 10 && s.For > time.Minute && s.Phase != cycle.Pause && s.Phase != cycle.Spin {
			t.Errorf("rests for %v at %v", s.For, at)
		}
	})
	if between := heated - spun; between < 12*time.Minute || between > 16*time.Minute {
		t.Errorf("%v between spin and heat", between)
	}
}

// A display with spikes of 10-15 W is what breaks a fixed threshold of 10 W (tracebase washer-5).
func TestGlowSpikes(t *testing.T) {
	c := course(t, "glowing-washer", Quick, Laundry{}, 2)
	var at time.Duration
	spikes := 0
	for _, s := range c.Stretches {
		if at >= c.End && s.Watts >= 10 {
			spikes++
			if s.Watts > 15 || s.For > 3*time.Second {
				t.Errorf("spike %+v", s)
			}
		}
		at += s.For
	}
	if spikes < 30 {
		t.Errorf("%d spikes in two hours of glow", spikes)
	}
}

func TestVaryStaysClose(t *testing.T) {
	for _, name := range Models() {
		m, _ := ModelNamed(name)
		differs := false
		for seed := range uint64(50) {
			v := m.Vary(seed)
			for _, pair := range [][2]float64{{m.BoilW, v.BoilW}, {m.TumbleW, v.TumbleW}, {m.SpinW, v.SpinW}, {m.DryW, v.DryW}, {m.GlowW, v.GlowW}} {
				if math.Abs(pair[1]-pair[0]) > 0.0801*pair[0] {
					t.Fatalf("%s: %v became %v", name, pair[0], pair[1])
				}
				differs = differs || pair[0] != pair[1]
			}
			if v.Kind != m.Kind || v.CapacityKg != m.CapacityKg {
				t.Fatalf("%s became another kind of machine", name)
			}
		}
		if !differs {
			t.Errorf("%s never varies", name)
		}
	}
	if a, b := catalogue["washer"].Vary(7), catalogue["washer"].Vary(7); a != b {
		t.Error("the same seed varies differently")
	}
	if m, _ := ModelNamed("washer"); m.Kind != queue.Washer {
		t.Error("a washer is no washer")
	}
}
