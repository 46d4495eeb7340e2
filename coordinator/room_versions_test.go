package coordinator

import (
	"testing"
	"time"
)

// TestEveryVersionIsKept: with when and by whom, over restarts, and the room
// goes by the newest.
func TestEveryVersionIsKept(t *testing.T) {
	s := newScene(t, nil)
	first := s.room.Snapshot(s.now)
	rules := first.Rules.clone()
	rules.Hold = 12 * time.Minute
	s.do(SetRules{Person: "mia", Rules: rules, Version: first.RulesVersion})
	s.do(HoldLonger{Person: "mia", Home: "home-a", On: true})
	for range 2 {
		snap := s.room.Snapshot(s.now)
		v := snap.Versions
		if len(v) != 3 || v[0].Rules.Hold != first.Rules.Hold || v[1].Rules.Hold != 12*time.Minute || len(v[1].Rules.LongerHoldHomes) != 0 || len(v[2].Rules.LongerHoldHomes) != 1 {
			t.Fatalf("versions %+v", v)
		}
		if v[1].Person != "mia" || v[1].At.IsZero() || snap.RulesVersion != v[2].Version || v[2].Version != v[1].Version+1 {
			t.Errorf("versions %+v", v)
		}
		s.reopen(time.Minute)
	}
}

// TestRulesAreNotOverwrittenUnseen: a change made from an older version is refused.
func TestRulesAreNotOverwrittenUnseen(t *testing.T) {
	s := newScene(t, nil)
	seen := s.room.Snapshot(s.now)
	a, b := seen.Rules.clone(), seen.Rules.clone()
	a.Hold, b.Hold = 11*time.Minute, 12*time.Minute
	s.do(SetRules{Rules: a, Version: seen.RulesVersion})
	s.refused(SetRules{Rules: b, Version: seen.RulesVersion}, "rules.changed")
	if got := s.room.Snapshot(s.now).Rules.Hold; got != 11*time.Minute {
		t.Errorf("the hold is %v", got)
	}
}

// TestSameRulesAreNoVersion: saving what is in force changes nothing.
func TestSameRulesAreNoVersion(t *testing.T) {
	s := newScene(t, nil)
	before := s.room.Snapshot(s.now)
	s.do(SetRules{Rules: before.Rules})
	if after := s.room.Snapshot(s.now); after.RulesVersion != before.RulesVersion || len(after.Versions) != len(before.Versions) {
		t.Errorf("version %d after %d", after.RulesVersion, before.RulesVersion)
	}
}
