package coordinator

import (
	"testing"
	"time"

	"drumturn/queue"
)

// oneLoad lets each home have one load in the room.
func oneLoad(p *Plan) { p.Seed.Limits.LoadsPerHome = 1 }

// TestOneLoadAHomeDriesAhead: where a home may have one load in the room, the dryer
// booked behind its wash is called ahead all the same: it is the same laundry. A
// second wash of that home waits until the dryer's load is gone as well.
func TestOneLoadAHomeDriesAhead(t *testing.T) {
	s := newScene(t, oneLoad)
	s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true})
	s.watts("w1", 300)
	second := s.join("anna", queue.Wash)
	s.wait(50 * time.Minute)
	if h := s.room.state.Machines[2].Hold; h != nil {
		t.Fatalf("ten minutes before the wash ends the dryer is held: %+v", h)
	}
	s.wait(8 * time.Minute)
	if h := s.room.state.Machines[2].Hold; h == nil || !h.Ahead {
		t.Fatalf("two minutes before the wash ends the dryer is held: %+v", h)
	}
	s.wait(2 * time.Minute)
	s.watts("w1", 1)
	s.watts("d3", 300)
	s.wait(5 * time.Minute)
	s.do(Collect{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wait(5 * time.Minute)
	if turn := s.room.state.Turns[s.room.state.Turns.Index(second)]; turn.State != queue.Waiting {
		t.Fatalf("while her laundry dries, anna's second wash is %s", turn.State)
	}
	s.watts("d3", 1)
	s.do(Collect{Machine: "d3", Person: "anna", Home: "home-anna"})
	s.wantTold(TurnCalled, "anna", "anna", "anna")
}

// TestOneLoadAHomeWaits: a dryer that is booked for nothing in particular is called
// only when the wash is collected, or others may be called to it.
func TestOneLoadAHomeWaits(t *testing.T) {
	s := newScene(t, oneLoad)
	s.join("anna", queue.Wash)
	s.watts("w1", 300)
	s.join("anna", queue.Dry)
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.wantTold(TurnCalled, "anna")
	s.wait(s.room.state.Rules.CallWithLoadAfter())
	s.wantTold(TurnCalled, "anna", "anna")
}

// TestOneLoadAHomeForecast: the forecast says so from the start.
func TestOneLoadAHomeForecast(t *testing.T) {
	s := newScene(t, oneLoad)
	s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true})
	s.watts("w1", 300)
	s.wait(30 * time.Minute)
	// The plain engine ends in half an hour, the usual lag is two minutes.
	dryer := s.room.state.Turns[1].ID
	if f := s.foreseen().Forecast(dryer); !f.Known || f.Median.Sub(s.now).Round(time.Minute) != 27*time.Minute {
		t.Errorf("the dryer's turn is foreseen in %s (%v), want 27 minutes", f.Median.Sub(s.now), f.Known)
	}
}

// TestStillInsideKeepsThePlace: a turn whose load was thought to be collected comes
// back into its place in the line, so that "not me" takes nothing from it.
func TestStillInsideKeepsThePlace(t *testing.T) {
	s := newScene(t, oneWasher)
	s.watts("w1", 300)
	mine := s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	s.do(Claim{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wait(10 * time.Minute)
	s.watts("w1", 1)
	s.do(Collect{Machine: "w1"})
	s.do(StillInside{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.do(NotMe{Machine: "w1", Person: "anna", Home: "home-anna"})
	if i := s.room.state.Turns.Index(mine); i != 0 {
		t.Errorf("anna's turn is at %d of the line %+v, want the head", i, s.room.state.Turns)
	}
}

// TestWayIsLearned: who says that they are on their way, and comes or not, is
// remembered for forecasts, beside the answers of all.
func TestWayIsLearned(t *testing.T) {
	s := newScene(t, func(p *Plan) { oneWasher(p); p.Seed.OnMyWayAdds = 5 * time.Minute })
	anna, ben := s.join("anna", queue.Wash), s.join("ben", queue.Wash)
	s.do(OnMyWay{Turn: anna, Person: "anna"})
	s.watts("w1", 1)
	s.wait(16 * time.Minute) // missed, and ben is called
	s.do(OnMyWay{Turn: ben, Person: "ben"})
	s.wait(2 * time.Minute)
	s.watts("w1", 300)
	l := s.room.state.Learned
	if len(l.Said) != 2 || l.Said[0] != noAnswer || l.Said[1] < 2*time.Minute || len(l.Answers) != 2 {
		t.Fatalf("of those who said so is remembered %v, of all %v", l.Said, l.Answers)
	}
	o := s.room.outlook()
	if o.WayAdds != 5*time.Minute || o.WayMissed != (1+10*priorWayMissed)/12 || o.MissedSaid != (1+10*priorWayMissed)/11 {
		t.Errorf("forecasts reckon with %s more, %v missed and %v said", o.WayAdds, o.WayMissed, o.MissedSaid)
	}
}

// TestLateStartOfWhoSaidSo: a miss that is taken back is taken back in both memories.
func TestLateStartOfWhoSaidSo(t *testing.T) {
	for _, said := range []bool{false, true} {
		l := learned{Answers: []time.Duration{time.Minute, noAnswer, noAnswer, 2}, Said: []time.Duration{noAnswer, 1}}
		l.cameAfterAll(said)
		if len(l.Answers) != 3 || l.Answers[1] != noAnswer || len(l.Said) != map[bool]int{false: 2, true: 1}[said] {
			t.Errorf("said %v: left are %v and %v", said, l.Answers, l.Said)
		}
		l.Said = nil
		l.cameAfterAll(true)
		if len(l.Said) != 0 {
			t.Error("a miss that nobody remembers was taken back")
		}
	}
}

// TestForecastOfTheWay: behind somebody who says "on my way" in a house that gives
// 20 minutes for it, the next is called when the wash is over, hardly in between.
func TestForecastOfTheWay(t *testing.T) {
	low := func(say bool) time.Duration {
		s := newScene(t, func(p *Plan) { oneWasher(p); p.Seed.OnMyWayAdds = 20 * time.Minute })
		anna, ben := s.join("anna", queue.Wash), s.join("ben", queue.Wash)
		s.wait(9 * time.Minute)
		if say {
			s.do(OnMyWay{Turn: anna, Person: "anna"})
		}
		return s.foreseen().Forecast(ben).Low.Sub(s.now)
	}
	if silent, said := low(false), low(true); silent > 10*time.Minute || said < 40*time.Minute {
		t.Errorf("ben is called in %s at the earliest, and in %s behind one who is on the way", silent, said)
	}
}

// TestRestartKeepsTheWay: a hold that lapsed while the program was down restarts in
// full, with what was added.
func TestRestartKeepsTheWay(t *testing.T) {
	s := newScene(t, func(p *Plan) { oneWasher(p); p.Seed.OnMyWayAdds = 5 * time.Minute })
	s.do(OnMyWay{Turn: s.join("anna", queue.Wash), Person: "anna"})
	s.reopen(time.Hour)
	if until := s.room.state.Machines[0].Hold.Until; !until.Equal(s.now.Add(15 * time.Minute)) {
		t.Errorf("after a restart it is held for %s, want 15 minutes", until.Sub(s.now))
	}
}

// TestWayToTheDryerAhead: who is called ahead and says "on my way" has the minutes
// more after the end of the wash.
func TestWayToTheDryerAhead(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Seed.OnMyWayAdds = 5 * time.Minute })
	s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true})
	s.watts("w1", 300)
	s.wait(58 * time.Minute)
	s.do(OnMyWay{Turn: s.room.state.Turns[1].ID, Person: "anna"})
	s.wait(2 * time.Minute)
	s.watts("w1", 1)
	if h := s.room.state.Machines[2].Hold; h == nil || h.Ahead || !h.Until.Equal(s.now.Add(15*time.Minute)) {
		t.Errorf("the dryer is held: %+v at %s, want 15 minutes", h, s.now)
	}
}

// TestMissAtTheWasherDryer: whoever missed a call to the washer-dryer has lost a
// place to the next wash, and none to the dry load behind (compare the queue's own test).
func TestMissAtTheWasherDryer(t *testing.T) {
	s := newScene(t, func(p *Plan) {
		p.Machines = p.Machines[:2]
		p.Machines[1].Kind = queue.WasherDryer
	})
	s.watts("w1", 300)
	anna := s.join("anna", queue.Wash) // called to w2
	s.do(TakeOut{Machine: "w1", Text: "Repair"})
	s.join("ben", queue.Dry)
	s.join("cleo", queue.Wash)
	s.wait(11 * time.Minute) // anna misses her call, ben is called and misses his
	s.wantTold(TurnMissed, "anna")
	s.wantTold(TurnCalled, "anna", "ben")
	s.do(PutBack{Machine: "w1"})
	s.watts("w1", 1)
	s.wait(time.Minute)
	s.do(Collect{Machine: "w1"}) // cleo is called to it
	s.wait(10 * time.Minute)     // ben misses his call
	s.wantTold(TurnCalled, "anna", "ben", "cleo", "anna")
	if got := s.room.holder(1); got == nil || got.ID != anna {
		t.Errorf("the washer-dryer is held for %+v, want anna's turn", got)
	}
}
