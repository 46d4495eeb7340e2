package coordinator

import (
	"strings"
	"testing"
	"time"
)

// TestLookedAfter: it is a fact with who said it and what was done, it is seen, it
// outlives a restart, and it changes nothing else.
func TestLookedAfter(t *testing.T) {
	s := newScene(t, nil)
	s.refused(LookedAfter{Machine: "w9", Person: "boss"}, "machine.unknown")
	s.refused(LookedAfter{Machine: "w1", Person: "boss", Text: strings.Repeat("x", longestFault+1)}, "looked.text")
	s.do(LookedAfter{Machine: "w1", Person: "boss", Text: " Lint screen cleaned "})
	s.do(LookedAfter{Machine: "w1", Person: "boss"}) // pressed twice at once
	var facts []Fact
	for _, f := range s.facts {
		if f.Kind == FactLookedAfter {
			facts = append(facts, f)
		}
	}
	if len(facts) != 1 || facts[0].Machine != "w1" || facts[0].Person != "boss" || facts[0].Note != "Lint screen cleaned" {
		t.Fatalf("facts %+v", facts)
	}
	first := s.room.Snapshot(s.now).Machine("w1").LookedAfter
	if !first.Equal(facts[0].At) && !first.Equal(s.now) {
		t.Errorf("looked after at %v", first)
	}
	s.reopen(time.Minute)
	snap := s.room.Snapshot(s.now)
	if got := snap.Machine("w1").LookedAfter; !got.Equal(first) || !snap.Machine("w2").LookedAfter.IsZero() || snap.Machine("w1").Status != Free {
		t.Errorf("after a restart: %v, %v", got, snap.Machine("w1").Status)
	}
	s.wait(time.Hour)
	s.do(LookedAfter{Machine: "w1", Person: "other"})
	if got := s.room.Snapshot(s.now).Machine("w1").LookedAfter; !got.Equal(s.now) {
		t.Errorf("the second is of %v", got)
	}
}

// TestStopIsSeen: who takes a machine out of service because it was stopped early
// has seen that; back in service, its load waits as any other does.
func TestStopIsSeen(t *testing.T) {
	s := newScene(t, nil)
	s.cycle("w1", 10*time.Minute)
	if l := s.room.Snapshot(s.now).Machine("w1").Load; l == nil || l.Reason != EndStopped || l.StopSeen {
		t.Fatalf("the load is %+v", l)
	}
	s.do(TakeOut{Machine: "w1", Person: "boss"})
	s.do(PutBack{Machine: "w1", Person: "boss"})
	if l := s.room.Snapshot(s.now).Machine("w1").Load; l == nil || !l.StopSeen {
		t.Errorf("back in service the load is %+v", l)
	}
	s.cycle("w2", time.Hour)
	s.do(TakeOut{Machine: "w2", Person: "boss"})
	if l := s.room.Snapshot(s.now).Machine("w2").Load; l == nil || l.StopSeen {
		t.Errorf("one that ran to its end: %+v", l)
	}
}
