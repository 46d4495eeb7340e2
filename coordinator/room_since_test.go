package coordinator

import (
	"testing"
	"time"
)

// TestSinceByHand: a machine that is run by hand and free stays free since it
// was emptied, whatever its meter does and whoever believes the meter again.
func TestSinceByHand(t *testing.T) {
	s := newScene(t, oneWasher)
	s.do(ByHand{Machine: "w1", On: true})
	s.do(StartByHand{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.now = s.now.Add(30 * time.Minute)
	s.do(EndByHand{Machine: "w1"})
	s.do(Collect{Machine: "w1", Person: "anna", Home: "home-anna"})
	free := s.now
	s.now = s.now.Add(20 * time.Minute)
	s.watts("w1", 1) // was silent, is heard again
	s.do(Tick{})
	if v := s.room.Snapshot(s.now).Machine("w1"); v.Status != Free || !v.Since.Equal(free) {
		t.Fatalf("heard again, the machine is %s since %s; want free since %s", v.Status, v.Since, free)
	}
	s.now = s.now.Add(time.Minute)
	s.do(ByHand{Machine: "w1", On: false})
	if v := s.room.Snapshot(s.now).Machine("w1"); v.Status != Free || !v.Since.Equal(free) {
		t.Fatalf("by its meter, the machine is %s since %s; want free since %s", v.Status, v.Since, free)
	}
}
