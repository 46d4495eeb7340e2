package coordinator

import (
	"reflect"
	"testing"
	"time"

	"drumturn/queue"
)

// TestBlockedTurnsEnd: what waits ends, what runs stays its owner's.
func TestBlockedTurnsEnd(t *testing.T) {
	s := newScene(t, oneWasher)
	s.join("anna", queue.Wash)
	s.watts("w1", 300)
	s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	s.do(MovedOut{Person: "anna", TurnsOnly: true})
	snap := s.room.Snapshot(s.now)
	if len(snap.Turns) != 2 || snap.Turns[0].State != queue.Started || snap.Turns[1].Person != "ben" {
		t.Fatalf("the turns left are %+v", snap.Turns)
	}
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.wantTold(LoadReady, "anna")
}

// TestBlockedWhileCalled: the machine kept for them goes to the next.
func TestBlockedWhileCalled(t *testing.T) {
	s := newScene(t, oneWasher)
	s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	s.wantTold(TurnCalled, "anna")
	s.do(MovedOut{Home: "home-anna", TurnsOnly: true})
	s.wantTold(TurnCalled, "anna", "ben")
}

// TestGuestsHaveOneTurn: within the limits of the home that they are guests of.
func TestGuestsHaveOneTurn(t *testing.T) {
	s := newScene(t, oneWasher)
	s.watts("w1", 300)
	gus := Join{Person: "gus", Home: "home-anna", Need: queue.Wash, Guest: true}
	s.do(gus)
	s.refused(gus, "join.guest")
	s.join("anna", queue.Wash)
	other := gus
	other.Person = "gil"
	s.refused(other, "join.limit") // two turns for a home
}

// TestMergedPerson: turn and load are the other's from then on, and so is what is told.
func TestMergedPerson(t *testing.T) {
	s := newScene(t, oneWasher)
	s.join("again", queue.Wash)
	s.watts("w1", 300)
	waiting := s.join("again", queue.Wash)
	merge := Merged{Person: "again", Into: "anna", IntoHome: "home-anna"}
	s.do(merge)
	seq := s.store.stored.Seq
	if s.do(merge); s.store.stored.Seq != seq {
		t.Error("told twice it changes something")
	}
	if got := s.room.Snapshot(s.now).Turn(waiting); got.Person != "anna" || got.Home != "home-anna" {
		t.Errorf("the turn is %+v", got)
	}
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.wantTold(LoadReady, "anna")
	s.do(Collect{Machine: "w1", Person: "anna", Home: "home-anna"})
	for _, bad := range []Merged{{}, {Person: "a"}, {Person: "a", Into: "b"}, {Home: "h"}, {IntoHome: "h"}, {Into: "b", IntoHome: "h", Home: "g"}} {
		s.refused(bad, "merge.same")
	}
}

// TestMergedHome: persons stay who they are, loads on the table, shares and the
// longer hold go along.
func TestMergedHome(t *testing.T) {
	s := newScene(t, oneWasher)
	s.do(HoldLonger{Home: "home-ben", On: true})
	s.join("ben", queue.Wash)
	s.cycle("w1", time.Hour)
	s.do(Collect{Machine: "w1", OnTable: true})
	s.do(Merged{Home: "home-ben", IntoHome: "home-anna"})
	snap := s.room.Snapshot(s.now)
	if l := snap.Table[0]; l.Owner != "ben" || l.Home != "home-anna" {
		t.Errorf("on the table: %+v", l)
	}
	if got := snap.Rules.LongerHoldHomes; !reflect.DeepEqual(got, []HomeID{"home-anna"}) {
		t.Errorf("machines are kept longer for %v", got)
	}
	s.do(StillInside{Machine: "w1", Person: "flatmate", Home: "home-anna"})
	if l := s.room.Snapshot(s.now).Machine("w1").Load; l == nil || l.Owner != "ben" || l.Home != "home-anna" {
		t.Errorf("back in the machine: %+v", l)
	}
}

// TestMovedOutNeedsNoMoreTime: a home that moves out leaves the list of those for
// which machines are kept longer, in a version of the rules that the log has; one
// person of it who goes, or a home that is blocked, does not.
func TestMovedOutNeedsNoMoreTime(t *testing.T) {
	for _, c := range []struct {
		name string
		ev   MovedOut
		want []HomeID
	}{
		{"the home", MovedOut{Home: "home-ben"}, []HomeID{"home-anna"}},
		{"another home", MovedOut{Home: "home-cleo"}, []HomeID{"home-anna", "home-ben"}},
		{"a person of it", MovedOut{Person: "ben"}, []HomeID{"home-anna", "home-ben"}},
		{"the home is blocked", MovedOut{Home: "home-ben", TurnsOnly: true}, []HomeID{"home-anna", "home-ben"}},
	} {
		s := newScene(t, oneWasher)
		s.do(HoldLonger{Home: "home-anna", On: true})
		s.do(HoldLonger{Home: "home-ben", On: true})
		before := s.room.Snapshot(s.now)
		s.facts = nil
		for range 2 { // told twice after a stop
			s.do(c.ev)
			s.reopen(time.Minute)
		}
		snap := s.room.Snapshot(s.now)
		changed := len(c.want) < 2
		if got := snap.Rules.LongerHoldHomes; !reflect.DeepEqual(got, c.want) || snap.RulesVersion-before.RulesVersion != map[bool]int{true: 1}[changed] {
			t.Errorf("%s: machines are kept longer for %v, versions %d to %d", c.name, got, before.RulesVersion, snap.RulesVersion)
		}
		if newest := snap.Versions[len(snap.Versions)-1]; newest.Version != snap.RulesVersion || !reflect.DeepEqual(newest.Rules.LongerHoldHomes, c.want) {
			t.Errorf("%s: the newest version is %+v", c.name, newest)
		}
		if s.hasFact(FactRules, "usual hold") != changed {
			t.Errorf("%s: in the log: %+v", c.name, s.facts)
		}
		if len(before.Rules.LongerHoldHomes) != 2 {
			t.Errorf("%s: an older snapshot changed", c.name)
		}
	}
}

// TestMergedSharers: a share in what becomes one's own load is none.
func TestMergedSharers(t *testing.T) {
	s := newScene(t, oneWasher)
	s.join("anna", queue.Wash)
	s.watts("w1", 300)
	for i, who := range []string{"ben", "cleo"} {
		s.do(OfferShare{Machine: "w1", Person: "anna", Home: "home-anna", Hash: string(rune('a' + i))})
		s.do(ShareLoad{Hash: string(rune('a' + i)), Person: PersonID(who), Home: HomeID("home-" + who)})
	}
	before := s.room.Snapshot(s.now)
	s.do(Merged{Person: "ben", Into: "anna", IntoHome: "home-anna"})
	s.do(Merged{Person: "cleo", Into: "dora", IntoHome: "home-dora"})
	if got := s.room.Snapshot(s.now).Machine("w1").Load.Shared; !reflect.DeepEqual(got, []Sharer{{"dora", "home-dora"}}) {
		t.Errorf("shared with %+v", got)
	}
	if got := before.Machine("w1").Load.Shared; !reflect.DeepEqual(got, []Sharer{{"ben", "home-ben"}, {"cleo", "home-cleo"}}) {
		t.Errorf("an older snapshot changed: %+v", got)
	}
}

func TestOpenHomes(t *testing.T) {
	s := newScene(t, nil)
	s.do(OpenHomes{Person: "boss", On: false})
	version := s.room.Snapshot(s.now).RulesVersion
	s.do(OpenHomes{Person: "boss", On: false})
	snap := s.room.Snapshot(s.now)
	if snap.Rules.OpenHomes || snap.RulesVersion != version || !s.hasFact(FactRules, "homes have codes") {
		t.Errorf("rules %d: open %v", snap.RulesVersion, snap.Rules.OpenHomes)
	}
	s.do(OpenHomes{Person: "boss", On: true})
	if !s.hasFact(FactRules, "homes are open") {
		t.Error("not in the log")
	}
}
