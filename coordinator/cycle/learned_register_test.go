package cycle

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// registered gives readings a register beside their watts, that counts in steps of
// unit Wh from first on and begins again at 0 at the modulus (0: never).
func registered(rs []Reading, first, unit, modulus float64) []Reading {
	var sum Integrator
	out := make([]Reading, len(rs))
	for i, r := range rs {
		sum.Add(r.At, r.Watts)
		wh := math.Floor((first+sum.Wh)/unit) * unit
		if modulus > 0 {
			wh = math.Mod(wh, modulus)
		}
		out[i] = Reading{At: r.At, Watts: r.Watts, Wh: wh}
	}
	return out
}

// closing is the one event of a list that closes a cycle.
func closing(t testing.TB, events []Event) Event {
	t.Helper()
	var found []Event
	for _, ev := range events {
		if ev.Kind.Ends() {
			found = append(found, ev)
		}
	}
	if len(found) != 1 {
		t.Fatalf("%d cycles closed: %+v", len(found), found)
	}
	return found[0]
}

// TestEnergyOverARollOver: a register of 16 bits that begins again in mid-cycle, at
// a random place of it, counts the whole cycle for every engine that is told of it.
func TestEnergyOverARollOver(t *testing.T) {
	modulus := RegisterModulusBits(16, 1)
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom([]string{"learned", "fixed"}).Draw(t, "engine")
		c := newProgrammes(rapid.Uint64Range(1, 99).Draw(t, "seed")).wash(t0)
		rs := sample(c, 10*time.Second)
		whole := registered(rs, 0, 1, 0)
		drawn := whole[len(whole)-1].Wh
		first := modulus - rapid.Float64Range(0.02, 0.98).Draw(t, "part")*drawn
		set := washer()
		set.RegisterModulusWh = modulus
		var got [2]float64
		for i, rs := range [][]Reading{registered(rs, math.Floor(first), 1, 0), registered(rs, math.Floor(first), 1, modulus)} {
			for _, ev := range watchAll(engines[name](set), rs) {
				if ev.Kind.Ends() {
					got[i] = ev.EnergyWh
				}
			}
		}
		if got[0] < 100 || math.Abs(got[0]-got[1]) > 1e-6 {
			t.Fatalf("%s: %v Wh without a roll-over, %v Wh with one", name, got[0], got[1])
		}
	})
}

// TestRollOverSurvivesARestart: what the settings say of the register holds for a
// memory that was written before they said it, too.
func TestRollOverSurvivesARestart(t *testing.T) {
	modulus := RegisterModulusDigits(5, 1)
	rs := registered(sample(newProgrammes(3).wash(t0), 10*time.Second), modulus-400, 1, modulus)
	cut := 0
	for rs[cut].Wh >= rs[0].Wh {
		cut++ // up to the roll-over
	}
	set := washer()
	before := New(set)
	early := watchAll(before, rs[:cut])
	point, err := before.Checkpoint()
	if err != nil {
		t.Fatal(err)
	}
	set.RegisterModulusWh = modulus
	after, never := New(set), New(set)
	if err := after.Restore(point); err != nil {
		t.Fatal(err)
	}
	got := closing(t, append(early, watchAll(after, rs[cut:])...))
	want := closing(t, watchAll(never, rs))
	near(t, "energy", got.EnergyWh, want.EnergyWh, 1e-6)
}
