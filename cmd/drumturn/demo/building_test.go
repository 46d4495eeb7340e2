package demo

import (
	"testing"

	"drumturn/coordinator"
	"drumturn/coordinator/meter/sim"
	"drumturn/queue"
)

func TestBuildingIsSound(t *testing.T) {
	rules := Rules()
	if problems := rules.Validate(); len(problems) > 0 {
		t.Errorf("house rules: %+v", problems)
	}
	meters := map[string]bool{}
	kinds := map[coordinator.RoomID]map[queue.Kind]int{}
	for _, plan := range Plans(zone) {
		kinds[plan.ID] = map[queue.Kind]int{}
		for i, m := range plan.Machines {
			if meters[m.Meter] || m.Meter == "" || m.Number != i+1 || m.RatedW > m.PlugW {
				t.Errorf("%s: machine %+v", plan.ID, m)
			}
			meters[m.Meter] = true
			kinds[plan.ID][m.Kind]++
		}
		if Codes()[plan.ID] == "" {
			t.Errorf("%s has no code on its wall", plan.ID)
		}
	}
	if kinds[Cellar][queue.Washer] != 3 || kinds[Cellar][queue.Dryer] != 2 || kinds[Garden][queue.WasherDryer] != 1 {
		t.Errorf("machines %v", kinds)
	}
}

// No machine draws more than its plate says, nor glows so that the fixed rule
// (below 3 W is done: common practice, no source) would never end.
func TestMachinesKeepToTheirPlates(t *testing.T) {
	if err := meterModel().Check(); err != nil {
		t.Error(err)
	}
	for i := range appliances {
		a := &appliances[i]
		m := a.simulated()
		if m.GlowW >= 3 || m.AntiCrease > 0 && m.ElecW >= 3 {
			t.Errorf("%s glows at %v W, rests at %v W", a.id, m.GlowW, m.ElecW)
		}
		for _, p := range sim.Programmes(m.Kind) {
			for seed := range uint64(10) {
				c, err := sim.Make(m.Vary(seed), p, sim.Laundry{}, seed)
				if err != nil {
					t.Fatal(err)
				}
				if c.PeakW() > 1.2*a.ratedW {
					t.Errorf("%s %s: %.0f W, the plate says %.0f W", a.id, p, c.PeakW(), a.ratedW)
				}
			}
		}
	}
}
