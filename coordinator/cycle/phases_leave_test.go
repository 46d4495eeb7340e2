package cycle

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// playSlots lets a machine run through slots of the same length, one reading each, and
// returns the phases that began, as words with the number of their first slot.
func playSlots(p *phases, s Settings, slot time.Duration, powers ...float64) (began []string) {
	at := p.From
	for _, w := range powers {
		at = at.Add(slot)
		if p.add(at, w, slot, w < workFloorW, &levels{}, s) {
			began = append(began, fmt.Sprintf("%v %v", p.Now, int(p.Since.Sub(t0)/slot)))
		}
	}
	return began
}

// TestStrongPhasesEndInAnyMixture: two slots in a row without heat end it, three of a
// meter that looks now and then, however turns and rests alternate in them. Powers are
// common practice without a source.
func TestStrongPhasesEndInAnyMixture(t *testing.T) {
	const heat, turn, rest, fill, spin = 2050, 110, 1, 11, 420
	both := Settings{Washer: true, Dryer: true}
	for _, c := range []struct {
		what   string
		set    Settings
		slot   time.Duration
		powers []float64
		want   []string
	}{
		{"turns and rests", washer(), 30 * time.Second, []float64{turn, heat, heat, heat, turn, rest, turn, rest, turn, rest},
			[]string{"tumble 0", "heat 1", "tumble 4"}},
		{"the same of short slots", washer(), 20 * time.Second, []float64{turn, heat, heat, rest, turn, rest, turn, rest},
			[]string{"tumble 0", "heat 1", "tumble 3"}},
		{"a rest that lasts", washer(), 30 * time.Second, []float64{heat, turn, rest, rest, rest, rest},
			[]string{"heat 0", "tumble 1", "pause 2"}},
		{"rests only", washer(), 30 * time.Second, []float64{heat, rest, rest, rest, rest}, []string{"heat 0", "pause 1"}},
		{"filling between rests", washer(), 30 * time.Second, []float64{heat, rest, fill, rest}, []string{"heat 0", "fill 1"}},
		{"a stop of the heater", washer(), 30 * time.Second, []float64{heat, turn, rest, heat, turn, rest, heat}, []string{"heat 0"}},
		{"turns and rests after a spin", washer(), 30 * time.Second, []float64{turn, spin, spin, spin, turn, rest, turn, rest},
			[]string{"tumble 0", "spin 1", "tumble 4"}},
		{"a spin that follows soon", washer(), 30 * time.Second, []float64{turn, heat, heat, heat, turn, spin, spin, spin},
			[]string{"tumble 0", "heat 1", "tumble 4", "spin 5"}},
		{"a spin at once", washer(), 30 * time.Second, []float64{turn, heat, heat, heat, spin, spin, spin},
			[]string{"tumble 0", "heat 1", "spin 4"}},
		{"short strokes are no spin", washer(), 30 * time.Second, []float64{turn, heat, heat, heat, spin, turn, spin, turn, spin, turn},
			[]string{"tumble 0", "heat 1", "tumble 4"}},
		{"a dryer that rests", dryer(), 30 * time.Second, []float64{2500, 2500, 220, rest, 220, rest}, []string{"heat 0", "cool-down 2"}},
		{"a washer-dryer that rests", both, 20 * time.Second, []float64{heat, heat, rest, 220, 220}, []string{"heat 0", "cool-down 2"}},
	} {
		if got := playSlots(newPhases(), c.set, c.slot, c.powers...); fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%s: %v, want %v", c.what, got, c.want)
		}
	}
}

// TestWeakPhasesStillNeedSlotsAlike: of a drum that turns and rests, no rest is a phase.
func TestWeakPhasesStillNeedSlotsAlike(t *testing.T) {
	if got := playSlots(newPhases(), washer(), 30*time.Second, 110, 1, 1, 110, 1, 1, 110, 11, 1, 110); len(got) != 1 {
		t.Errorf("began %v", got)
	}
}

// meterSteps are the times between two readings of each kind of meter, s: one that
// reports changes does so when it likes, though not within 10 s, with a heartbeat.
var meterSteps = map[string][2]int{"1 s": {1, 1}, "10 s": {10, 10}, "30 s": {30, 30}, "on change": {10, 300}}

// TestHeatEndsWithThePower: once the power of a machine that heated stays below heat,
// the phase is over within four slots (the one in which it fell may still be hot), and
// is back-dated to within one of the fall.
func TestHeatEndsWithThePower(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		gap := meterSteps[drawName(t, "meter", meterSteps)]
		set := rapid.SampledFrom([]Settings{washer(), dryer(), {Washer: true, Dryer: true}}).Draw(t, "kind")
		below := rapid.Float64Range(0, (&levels{}).heats(set)-1)
		p, at := newPhases(), t0
		read := func(w float64) {
			d := time.Duration(rapid.IntRange(gap[0], gap[1]).Draw(t, "step")) * time.Second
			at = at.Add(d)
			p.add(at, w, d, w < workFloorW, &levels{}, set)
		}
		for p.Now != Heat {
			read(2500)
		}
		for range rapid.IntRange(0, 30).Draw(t, "hot readings") {
			read(2500)
		}
		fell, slots, longest := at, 0, time.Duration(0)
		for slots < 4 {
			from := p.From
			if read(below.Draw(t, "W")); p.From != from {
				slots++
				longest = max(longest, p.From.Sub(from))
			}
			if p.Now != Heat {
				break
			}
		}
		if p.Now == Heat {
			t.Fatalf("%d slots after the fall it still heats: %+v", slots, p)
		}
		if off := p.Since.Sub(fell); off < -longest || off > longest {
			t.Fatalf("the heat ended %v after the fall, slots are up to %v: %+v", off, longest, p)
		}
	})
}
