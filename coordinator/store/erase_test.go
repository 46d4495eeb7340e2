package store

import (
	"testing"

	"drumturn/coordinator"
)

// TestErase: who and which home are gone from what happened, what happened and
// its figures stay; others keep theirs.
func TestErase(t *testing.T) {
	f, reopen := openFile(t)
	var all, want []coordinator.Fact
	for i := range retainStep + 20 { // more than one piece
		fact := coordinator.Fact{At: at(float64(i)), Kind: coordinator.FactCycle, Machine: "w1", Person: "ben", Home: "13", EnergyWh: 500}
		left := fact
		switch i % 5 {
		case 0:
			fact.Person, fact.Home = "ada", "12"
			left.Person, left.Home = "", ""
		case 1:
			fact.About = coordinator.AboutPerson("ada")
		case 2:
			fact.About = coordinator.AboutHome("12")
			left.About = fact.About
		}
		all, want = append(all, fact), append(want, left)
	}
	for _, unit := range []coordinator.Unit{"cellar", coordinator.Building, "cellar-2"} {
		must(t, f.Commit(ctx, coordinator.ChangeSet{Unit: unit, At: at(1e4), Facts: all}))
	}
	settled, pending, other := notice("cellar", 1, 0, at(1)), notice("cellar", 2, 0, at(1)), notice("cellar", 3, 0, at(1))
	settled.To, pending.To, other.To = "ada", "ada", "ben"
	must(t, f.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", Expect: 1, At: at(1e4), Notices: []coordinator.Notice{settled, pending, other}}))
	for _, n := range []coordinator.Notice{settled, other} {
		must(t, f.RecordDeliveries(ctx, coordinator.Delivery{Key: n.Key(), Notice: n, State: coordinator.Done}))
	}
	for range 2 {
		for _, unit := range []coordinator.Unit{"cellar", coordinator.Building} {
			must(t, f.Erase(ctx, unit, []coordinator.PersonID{"ada"}))
		}
	}
	s := reopen()
	wantSame(t, "the room", facts(t, s, "cellar", at(-1), at(1e5)), want)
	wantSame(t, "the building", facts(t, s, coordinator.Building, at(-1), at(1e5)), want)
	wantSame(t, "another room", facts(t, s, "cellar-2", at(-1), at(1e5)), all)
	if got := deliveries(t, s); len(got) != 2 {
		t.Errorf("%d rows of the outbox are left, want the pending one and ben's", len(got))
	}
}
