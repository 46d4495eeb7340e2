package hindsight

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

// anyFacts is a history of two machines' cycles, some of which are told of again,
// and of other things.
func anyFacts(t *rapid.T) *shelf {
	s, at := &shelf{}, dawn
	number := map[coordinator.MachineID]uint64{}
	for range rapid.IntRange(0, 40).Draw(t, "facts") {
		start := at.Add(time.Duration(rapid.IntRange(1, 3000).Draw(t, "rest")) * time.Minute)
		at = start.Add(time.Duration(rapid.IntRange(1, 200).Draw(t, "length")) * time.Minute)
		m := rapid.SampledFrom([]coordinator.MachineID{place.Machine, "w2"}).Draw(t, "machine")
		if rapid.IntRange(0, 5).Draw(t, "kind") == 0 {
			s.facts = append(s.facts, coordinator.Fact{At: at, Kind: coordinator.FactCollected, Machine: m})
			continue
		}
		number[m]++
		f := coordinator.Fact{At: at.Add(2 * time.Minute), Kind: coordinator.FactCycle, Machine: m, Cycle: number[m], Start: start, End: at, EnergyWh: 500}
		s.facts = append(s.facts, f)
		for range rapid.IntRange(0, 2).Draw(t, "told again") {
			f.At, f.EnergyWh = f.At.Add(time.Duration(rapid.IntRange(1, 300).Draw(t, "later"))*time.Minute), f.EnergyWh+1
			s.facts = append(s.facts, f)
		}
	}
	slices.SortStableFunc(s.facts, func(a, b coordinator.Fact) int { return a.At.Compare(b.At) })
	return s
}

// newest are the machine's cycles told of before an instant, each as it was told
// last, newest first: what Cycles promises, worked out the long way.
func (s *shelf) newest(before time.Time) (all []coordinator.Fact) {
	for _, f := range slices.Backward(s.facts) {
		known := slices.ContainsFunc(all, func(o coordinator.Fact) bool { return o.Cycle == f.Cycle })
		if f.Kind == coordinator.FactCycle && f.Machine == place.Machine && f.At.Before(before) && !known {
			all = append(all, f)
		}
	}
	return all
}

func texts(all []coordinator.Fact) (out []string) {
	for _, f := range all {
		out = append(out, fmt.Sprint(f.Cycle, " ", f.At.Unix(), " ", f.EnergyWh))
	}
	return out
}

// TestAnyHistory: whatever is asked of a history, it is as worked out the long way.
func TestAnyHistory(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anyFacts(t)
		before := dawn.Add(time.Duration(rapid.IntRange(0, 140_000).Draw(t, "before")) * time.Minute)
		limit := rapid.IntRange(1, 50).Draw(t, "limit")
		want := s.newest(before)
		got, err := Cycles(ctx, s, place, before, limit)
		if err != nil || !slices.Equal(texts(got), texts(want[:min(limit, len(want))])) {
			t.Fatalf("%d cycles before %v: %v, %v, want %v", limit, before, texts(got), err, texts(want))
		}
	})
}

// TestFindAnyCycle: each cycle of a history is found by its number, as it was told
// last, and no other.
func TestFindAnyCycle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anyFacts(t)
		end := dawn.AddDate(0, 6, 0)
		all := s.newest(end)
		for _, want := range all {
			got, ok, err := Find(ctx, s, place, want.Cycle, end)
			if err != nil || !ok || texts([]coordinator.Fact{got})[0] != texts([]coordinator.Fact{want})[0] {
				t.Fatalf("cycle %d: %v, %v, %v, want %v", want.Cycle, got, ok, err, want)
			}
		}
		if got, ok, err := Find(ctx, s, place, uint64(len(all)+1), end); ok || err != nil {
			t.Fatalf("a cycle that is not there: %v, %v", got, err)
		}
	})
}

// TestAnyHearing: readings, silent spells and falls of the register are those that
// a plain walk over the readings counts.
func TestAnyHearing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, at, wh := &shelf{}, dawn, 1000.0
		silent := time.Duration(rapid.IntRange(30, 900).Draw(t, "silent")) * time.Second
		for range rapid.IntRange(0, 60).Draw(t, "readings") {
			at = at.Add(time.Duration(rapid.IntRange(1, 1500).Draw(t, "apart")) * time.Second)
			if wh += rapid.Float64Range(0, 5).Draw(t, "wh"); rapid.IntRange(0, 9).Draw(t, "reset") == 0 {
				wh = 0
			}
			r := cycle.Reading{At: at, Watts: 100, Wh: math.NaN()}
			if rapid.Bool().Draw(t, "register") {
				r.Wh = wh
			}
			s.readings = append(s.readings, r)
		}
		to := at.Add(time.Duration(rapid.IntRange(1, 1500).Draw(t, "after")) * time.Second)
		heard, err := Hear(ctx, s, place, to, silent, dawn)
		if err != nil || len(heard) != 1 {
			t.Fatal(heard, err)
		}
		want := Hearing{From: dawn, To: to, Readings: len(s.readings)}
		last, register := dawn, math.NaN()
		gap := func(d time.Duration) {
			if d > silent {
				want.Gaps, want.Unheard, want.Longest = want.Gaps+1, want.Unheard+d, max(want.Longest, d)
			}
		}
		for _, r := range s.readings {
			gap(r.At.Sub(last))
			if last = r.At; !math.IsNaN(r.Wh) {
				if want.HasRegister = true; r.Wh < register {
					want.Resets++
				}
				register = r.Wh
			}
		}
		gap(to.Sub(last))
		got := heard[0]
		if got.Usual > got.Long {
			t.Fatalf("half come within %v, 95 of 100 within %v", got.Usual, got.Long)
		}
		if got.Usual, got.Long = 0, 0; got != want {
			t.Fatalf("heard %+v, want %+v", got, want)
		}
	})
}
