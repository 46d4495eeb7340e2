package coordinator

import (
	"fmt"
	"testing"
	"time"

	"drumturn/queue"
)

// tabled is a room in which ben put anna's load on the table.
func tabled(t *testing.T) *scene {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.cycle("w1", time.Hour)
	s.do(Collect{Machine: "w1", Person: "ben", Home: "home-ben", OnTable: true})
	return s
}

// TestOnTheTable: a load that was put on the table stays on the list, over a
// restart, until its owner's home has taken it.
func TestOnTheTable(t *testing.T) {
	s := tabled(t)
	put := s.now
	s.reopen(0)
	list := s.room.Snapshot(s.now).Table
	if len(list) != 1 || list[0].Owner != "anna" || list[0].Machine != "w1" || !list[0].At.Equal(put) {
		t.Fatalf("on the table are %+v", list)
	}
	s.wait(20 * time.Minute)
	s.refused(Fetched{Load: 1, Person: "ben", Home: "home-ben"}, "table.foreign")
	s.refused(Fetched{Load: 9, Person: "anna"}, "table.gone")
	s.do(Fetched{Load: 1, Person: "sister", Home: "home-anna"})
	if list := s.room.Snapshot(s.now).Table; len(list) != 0 {
		t.Fatalf("on the table are still %+v", list)
	}
	if f := s.factsOf(FactFetched); len(f) != 1 || f[0].Wait.Round(time.Minute) != 20*time.Minute {
		t.Errorf("the facts are %+v", f)
	}
	s.refused(Fetched{Load: 1, Person: "anna"}, "table.gone")
}

// TestForgottenOnTheTable: after a day the managers are told, once, and can clear it.
func TestForgottenOnTheTable(t *testing.T) {
	s := tabled(t)
	s.wait(24*time.Hour - time.Minute)
	s.wantTold(LoadLeft)
	s.wait(26 * time.Hour)
	s.wantTold(LoadLeft, string(Managers))
	if list := s.room.Snapshot(s.now).Table; len(list) != 1 || !list[0].Forgotten {
		t.Fatalf("on the table are %+v, want one forgotten", list)
	}
	s.do(Fetched{Load: 1, Person: "boss", Manager: true})
	if len(s.room.Snapshot(s.now).Table) != 0 {
		t.Error("the managers could not clear the table")
	}
}

// TestOnlyTheTable: a load that its owner took, or that the next start pushed
// out, is on no table; one that is still inside comes off the list.
func TestOnlyTheTable(t *testing.T) {
	s := tabled(t)
	s.do(StillInside{Machine: "w1", Person: "anna"})
	if list := s.room.Snapshot(s.now).Table; len(list) != 0 {
		t.Fatalf("a load in the machine is on the table as well: %+v", list)
	}
	s.do(Collect{Machine: "w1", Person: "anna", OnTable: true})
	s.cycle("w1", time.Hour)
	s.cycle("w1", time.Hour)
	if list := s.room.Snapshot(s.now).Table; len(list) != 0 {
		t.Fatalf("on the table are %+v, though nobody put anything there", list)
	}
}

// TestNobodysOnTheTable: an unclaimed load may be taken by any resident, and not
// by a stranger; who moves out leaves theirs to nobody.
func TestNobodysOnTheTable(t *testing.T) {
	s := tabled(t)
	s.do(MovedOut{Person: "anna", Home: "home-anna"})
	s.refused(Fetched{Load: 1}, "table.foreign")
	s.do(Fetched{Load: 1, Person: "cleo", Home: "home-cleo"})
}

// TestTableIsNotEndless: a room remembers so many loads and no more.
func TestTableIsNotEndless(t *testing.T) {
	s := newScene(t, nil)
	for i := range tableHolds + 3 {
		s.room.putOnTable(&Load{ID: LoadID(i + 1), Machine: "w1", Owner: PersonID(fmt.Sprint(i))}, s.now)
	}
	if list := s.room.state.Table; len(list) != tableHolds || list[0].Load != 4 {
		t.Errorf("%d loads are on the table, the first is %d", len(list), list[0].Load)
	}
}
