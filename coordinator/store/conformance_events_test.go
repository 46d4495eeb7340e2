package store

import (
	"testing"

	"drumturn/coordinator"
)

// conformFactsAfter: whoever reads on from the last id that they have seen gets
// every fact once, in order, also of one instant, and those committed meanwhile.
func conformFactsAfter(t *testing.T, s Store, reopen func() Store) {
	seq := uint64(0)
	commit := func(unit coordinator.Unit, at2 float64, kinds ...coordinator.FactKind) {
		set := coordinator.ChangeSet{Unit: unit, Expect: seq, At: at(at2)}
		for _, k := range kinds {
			set.Facts = append(set.Facts, coordinator.Fact{At: at(at2), Kind: k})
		}
		must(t, s.Commit(ctx, set))
		if unit == "cellar" {
			seq++
		}
	}
	read := func(after coordinator.FactID, limit int) (kinds string, last coordinator.FactID) {
		t.Helper()
		facts, err := s.FactsAfter(ctx, "cellar", after, limit)
		must(t, err)
		last = after
		for _, f := range facts {
			kinds += string(f.Kind) + " "
			last = f.ID
			if !f.ID.At.Equal(f.At) || f.ID.IsZero() {
				t.Errorf("id %v of a fact of %v", f.ID, f.At)
			}
		}
		return kinds, last
	}
	commit("cellar", 10, "a", "b")
	seqHere := seq
	seq = 0
	commit("cellar2", 10, "x")
	seq = seqHere
	commit("cellar", 10, "c")
	commit("cellar", 11, "d")
	for limit := 1; limit < 6; limit++ {
		got, last := "", coordinator.FactID{}
		for {
			kinds, next := read(last, limit)
			if kinds == "" {
				break
			}
			got, last = got+kinds, next
		}
		if got != "a b c d " {
			t.Errorf("%d at a time: %q", limit, got)
		}
	}
	_, last := read(coordinator.FactID{}, 100)
	if kinds, _ := read(coordinator.FactID{At: at(11)}, 100); kinds != "d " {
		t.Errorf("from an instant on: %q", kinds)
	}
	s = reopen()
	commit("cellar", 12, "e")
	if kinds, _ := read(last, 100); kinds != "e " {
		t.Errorf("read on: %q", kinds)
	}
	if facts, err := s.FactsAfter(ctx, "attic", coordinator.FactID{}, 10); err != nil || len(facts) != 0 {
		t.Errorf("a unit never seen: %v, %v", facts, err)
	}
}
