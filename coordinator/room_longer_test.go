package coordinator

import (
	"testing"
	"time"

	"drumturn/queue"
)

// TestLongerHold: a machine is kept longer for the homes that the rules name,
// and the notice, the forecast and a restart go by that.
func TestLongerHold(t *testing.T) {
	s := newScene(t, func(p *Plan) {
		oneWasher(p)
		p.Seed.LongerHold, p.Seed.LongerHoldHomes = 25*time.Minute, []HomeID{"home-anna"}
	})
	s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	if until := s.room.Snapshot(s.now).Machine("w1").Until; !until.Equal(s.now.Add(25 * time.Minute)) {
		t.Fatalf("the washer is held until %s, want 25 minutes", until)
	}
	if n := s.notices[len(s.notices)-1]; n.Kind != TurnCalled || !n.Until.Equal(s.now.Add(25*time.Minute)) {
		t.Errorf("anna is told %+v", n)
	}
	s.wait(20 * time.Minute)
	s.reopen(30 * time.Minute)
	if until := s.room.state.Machines[0].Hold.Until; !until.Equal(s.now.Add(25 * time.Minute)) {
		t.Errorf("after a restart it is held until %s, want the full 25 minutes", until)
	}
	s.watts("w1", 1)
	s.wait(26 * time.Minute)
	s.wantTold(TurnMissed, "anna")
	if until := s.room.Snapshot(s.now).Machine("w1").Until; until.Sub(s.now) > 10*time.Minute {
		t.Errorf("for ben it is held until %s, want 10 minutes", until)
	}
}

// TestLongerHoldForecast: who waits behind a home that needs longer is called
// later, when nobody comes.
func TestLongerHoldForecast(t *testing.T) {
	high := func(homes ...HomeID) time.Duration {
		s := newScene(t, func(p *Plan) {
			oneWasher(p)
			p.Seed.LongerHold, p.Seed.LongerHoldHomes = time.Hour, homes
		})
		for range 40 {
			s.room.state.Learned.missed(false)
		}
		s.join("anna", queue.Wash)
		id := s.join("ben", queue.Wash)
		return s.foreseen().Forecast(id).Median.Sub(s.now)
	}
	if short, long := high(), high("home-anna"); short > 11*time.Minute || long < 59*time.Minute {
		t.Errorf("ben is called in %s, and in %s behind a home that has an hour", short, long)
	}
}

// TestManagerHoldsLonger: the manager's choice is a change of the rules, once.
func TestManagerHoldsLonger(t *testing.T) {
	s := newScene(t, nil)
	version := s.room.state.RulesVersion
	for range 2 {
		s.do(HoldLonger{Person: "manager", Home: "home-anna", On: true})
	}
	s.reopen(0)
	rules := s.room.Snapshot(s.now).Rules
	if got := rules.HoldFor("home-anna"); got != 20*time.Minute || rules.HoldFor("home-ben") != 10*time.Minute {
		t.Errorf("the hold is %s", got)
	}
	if s.room.state.RulesVersion != version+1 || !s.hasFact(FactRules, "longer hold") {
		t.Errorf("rules version %d after %d", s.room.state.RulesVersion, version)
	}
	s.do(HoldLonger{Person: "manager", Home: "home-anna"})
	if rules := s.room.Snapshot(s.now).Rules; rules.HoldFor("home-anna") != 10*time.Minute {
		t.Errorf("after it was taken back the hold is %s", rules.HoldFor("home-anna"))
	}
	s.refused(HoldLonger{Person: "manager", On: true}, "longer.home")
}

// TestLongerIsNeverShorter: a house with a hold of an hour gives nobody less.
func TestLongerIsNeverShorter(t *testing.T) {
	rules := DefaultRules()
	rules.Hold, rules.LongerHoldHomes = time.Hour, []HomeID{"a"}
	if got := rules.HoldFor("a"); got != time.Hour {
		t.Errorf("the longer hold is %s", got)
	}
}

// TestNobodyNeedsLongerIsStored: where the manager took a longer hold away that the
// building file had given, it is gone after a restart as well.
func TestNobodyNeedsLongerIsStored(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Seed.LongerHoldHomes = []HomeID{"home-anna"} })
	s.do(HoldLonger{Person: "manager", Home: "home-anna"})
	s.reopen(0)
	if homes := s.room.state.Rules.LongerHoldHomes; len(homes) != 0 {
		t.Errorf("after a restart machines are held longer for %v", homes)
	}
}
