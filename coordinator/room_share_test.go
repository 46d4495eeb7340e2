package coordinator

import (
	"testing"
	"time"

	"drumturn/queue"
)

// shared is a room in which anna's running wash is shared by ben of another home.
func shared(t *testing.T) *scene {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.watts("w1", 300)
	s.refused(OfferShare{Machine: "w1", Person: "ben", Home: "home-ben", Hash: "x"}, "share.none")
	s.do(OfferShare{Machine: "w1", Person: "anna", Hash: "one"})
	s.refused(ShareLoad{Hash: "two", Person: "ben", Home: "home-ben"}, "share.wrong")
	s.refused(ShareLoad{Hash: "", Person: "ben", Home: "home-ben"}, "share.wrong")
	s.refused(ShareLoad{Hash: "one"}, "share.stranger")
	s.refused(ShareLoad{Hash: "one", Person: "sister", Home: "home-anna"}, "share.own")
	s.do(ShareLoad{Hash: "one", Person: "ben", Home: "home-ben"})
	s.refused(ShareLoad{Hash: "one", Person: "cleo", Home: "home-cleo"}, "share.wrong") // it held once
	return s
}

// TestSharedLoad: both homes are told when it is done, either may collect, and
// the other one is told of that.
func TestSharedLoad(t *testing.T) {
	for who, other := range map[string]string{"anna": "ben", "ben": "anna"} {
		s := shared(t)
		s.wait(time.Hour)
		s.watts("w1", 1)
		s.wantTold(LoadReady, "anna", "ben")
		s.reopen(0)
		s.watts("w1", 1)
		s.do(Collect{Machine: "w1", Person: PersonID(who), Home: HomeID("home-" + who)})
		s.wantTold(LoadTaken, other)
		if f := s.factsOf(FactCollected); len(f) != 1 || f[0].Note != byOwner {
			t.Errorf("the facts are %+v", f)
		}
		s.do(StillInside{Machine: "w1", Person: PersonID(other), Home: HomeID("home-" + other)})
	}
}

// TestSharedLoadCountsOnce: for the limits it is the owner's alone.
func TestSharedLoadCountsOnce(t *testing.T) {
	s := shared(t)
	if loads := s.room.house().Loads; loads["home-anna"] != 1 || loads["home-ben"] != 0 {
		t.Errorf("the loads count as %v", loads)
	}
}

// TestSharedOnTheTable: all who have laundry in it are told.
func TestSharedOnTheTable(t *testing.T) {
	s := shared(t)
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.do(Collect{Machine: "w1", OnTable: true})
	s.wantTold(LoadMoved, "anna", "ben")
}

// TestSharingLater: a load that is done can be shared still; the neighbour is told at once.
func TestSharingLater(t *testing.T) {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.cycle("w1", time.Hour)
	for i, who := range []string{"ben", "cleo", "dora"} {
		s.do(OfferShare{Machine: "w1", Person: "anna", Hash: who})
		s.do(ShareLoad{Hash: who, Person: PersonID(who), Home: HomeID("home-" + who)})
		if got := s.told(LoadReady); len(got) != i+2 {
			t.Errorf("told %v", got)
		}
	}
	s.refused(OfferShare{Machine: "w1", Person: "anna", Hash: "more"}, "share.full")
	s.do(MovedOut{Person: "cleo"})
	if l := s.room.Snapshot(s.now).Machine("w1").Load; len(l.Shared) != 2 || l.SharedWith("cleo", "") {
		t.Errorf("after cleo moved out it is shared with %v", l.Shared)
	}
}
