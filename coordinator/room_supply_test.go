package coordinator

import (
	"testing"
	"time"

	"drumturn/queue"
)

// TestPartOfTheRoomStaysDark: power comes back to one machine and not to two
// others. That is still one interruption, and a hold gets its time back once.
func TestPartOfTheRoomStaysDark(t *testing.T) {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	s.watts("w1", 300)
	s.watts("w2", 300)
	s.join("cleo", queue.Dry)
	until := s.room.Snapshot(s.now).Machine("d3").Hold.Until
	cut := s.now
	for _, id := range []MachineID{"w1", "w2", "d3"} {
		s.watts(id, 0)
	}
	s.wait(12 * time.Minute)
	s.watts("w1", 300)
	away := s.now.Sub(cut)
	s.wait(2 * time.Minute)
	s.watts("d3", 1)
	hold := s.room.Snapshot(s.now).Machine("d3").Hold
	if got := hold.Until.Sub(until); (got - away).Abs() > time.Second {
		t.Fatalf("the hold was made longer by %s, power was away for %s", got, away)
	}
	began := 0
	for _, f := range s.facts {
		if f.Kind == FactSupply && f.Note == "began" {
			began++
		}
	}
	if began != 1 {
		t.Fatalf("%d interruptions began, want 1", began)
	}
}
