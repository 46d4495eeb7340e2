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

// TestTableIsClearedAtOnce: a manager clears what was forgotten there in one go, and
// nothing else; a resident cannot.
func TestTableIsClearedAtOnce(t *testing.T) {
	s := tabled(t)
	s.refused(Fetched{Person: "boss", Manager: true, Forgotten: true}, "table.gone")
	s.cycle("w2", time.Hour)
	s.do(Collect{Machine: "w2", Person: "ben", Home: "home-ben", OnTable: true})
	s.wait(26 * time.Hour)
	s.cycle("w1", time.Hour)
	s.do(Collect{Machine: "w1", Person: "ben", Home: "home-ben", OnTable: true})
	s.refused(Fetched{Person: "ben", Home: "home-ben", Forgotten: true}, "table.gone")
	if list := s.room.Snapshot(s.now).Table; len(list) != 3 {
		t.Fatalf("on the table are %+v, want three", list)
	}
	s.do(Fetched{Person: "boss", Manager: true, Forgotten: true})
	if list := s.room.Snapshot(s.now).Table; len(list) != 1 || list[0].Forgotten {
		t.Errorf("on the table are %+v, want the newest only", list)
	}
	for _, f := range s.factsOf(FactFetched) {
		if f.Person != "boss" || f.Wait < forgottenAfter {
			t.Errorf("the fact says %+v", f)
		}
	}
}

// TestTableIsTakenForEmpty: what lay there for a week is off the list, to the minute,
// and a fact says that nobody said so.
func TestTableIsTakenForEmpty(t *testing.T) {
	s := tabled(t)
	put := s.now
	s.wait(tableFor - time.Minute)
	if len(s.room.Snapshot(s.now).Table) != 1 || !s.room.Deadline().Equal(put.Add(tableFor)) {
		t.Fatalf("a minute before: %+v, next is %v", s.room.Snapshot(s.now).Table, s.room.Deadline())
	}
	s.wait(time.Minute)
	if list := s.room.Snapshot(s.now).Table; len(list) != 0 {
		t.Errorf("after a week there are still %+v", list)
	}
	f := s.factsOf(FactFetched)
	if len(f) != 1 || f[0].Person != "" || f[0].Note != byNobody || f[0].Wait != tableFor {
		t.Errorf("the facts are %+v", f)
	}
	s.refused(Fetched{Load: 1, Person: "anna"}, "table.gone")
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
