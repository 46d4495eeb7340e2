package hindsight

import (
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/coordinator/meter/sim"
)

// rarely is a meter that reports changes, though not within half a minute of each other.
func rarely(t *testing.T) sim.MeterModel {
	t.Helper()
	m, err := sim.MeterNamed("on-change")
	if err != nil {
		t.Fatal(err)
	}
	m.MinGap, m.ChangeShare, m.DropsPerDay = 30*time.Second, 0.25, 0
	return m
}

// TestHeatIsToldAsLongAsItWas, by a meter whose readings are half a minute and more
// apart, so that turns and rests of the drum alternate in them: against the simulated
// power, which knows when the heater was on.
func TestHeatIsToldAsLongAsItWas(t *testing.T) {
	model, err := sim.ModelNamed("washer")
	if err != nil {
		t.Fatal(err)
	}
	for seed := range uint64(6) {
		m := sim.NewMachine(model, seed, dawn)
		meter, s, e, number := sim.NewMeter(rarely(t), seed, dawn), &shelf{}, cycle.New(cycle.DefaultSettings()), uint64(0)
		for i, until := range []time.Duration{time.Hour, 6 * time.Hour} {
			for r := range meter.Readings(m, dawn.Add(until)) {
				s.take(e, r, &number)
			}
			if i == 0 {
				if _, err := m.Start(dawn.Add(until), sim.Cotton60, sim.Laundry{Kg: 5, InletC: 12}); err != nil {
					t.Fatal(err)
				}
			}
		}
		if len(s.facts) != 1 {
			t.Fatalf("seed %d: %d cycles", seed, len(s.facts))
		}
		story, err := Tell(ctx, s, place, cycle.New(cycle.DefaultSettings()), nil, s.facts[0])
		if err != nil {
			t.Fatal(err)
		}
		checkPhases(t, story.Phases, s.facts[0])
		was, told := time.Duration(0), time.Duration(0)
		for at := s.facts[0].Start; at.Before(s.facts[0].End); at = at.Add(time.Second) {
			if _, ph := m.Power(at); ph == cycle.Heat {
				was += time.Second
			}
		}
		for _, p := range story.Phases {
			if p.Phase == cycle.Heat {
				told += p.To.Sub(p.From)
			}
		}
		t.Logf("seed %d: it heated for %v, told as %v", seed, was, told)
		if off := (told - was).Abs(); was < 10*time.Minute || off > 3*time.Minute {
			t.Errorf("seed %d: it heated for %v, told as %v: %v", seed, was, told, story.Phases)
		}
	}
}
