package coordinator

import (
	"testing"
	"time"

	"drumturn/queue"
)

// passedBy is a washer whose load stays while anna and ben wait, and which
// somebody starts again without having been called.
func passedBy(t *testing.T, m Manner) *scene {
	t.Helper()
	s := newScene(t, func(p *Plan) {
		oneWasher(p)
		p.Seed.WalkUps = m
	})
	s.cycle("w1", time.Hour)
	s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	s.wait(5 * time.Minute)
	s.watts("w1", 300)
	return s
}

func (s *scene) outOfTurn() bool {
	l := s.room.Snapshot(s.now).Machine("w1").Load
	return l != nil && l.Past != 0
}

// TestManners: who is told of a start out of turn, and when; the board and the
// log show it whatever the house says.
func TestManners(t *testing.T) {
	for m, told := range map[Manner][2][]string{
		Allowed: {nil, nil}, Tolerated: {{"anna"}, nil}, Reported: {{"anna"}, {"managers"}},
	} {
		t.Run(m.String(), func(t *testing.T) {
			s := passedBy(t, m)
			if !s.outOfTurn() || !s.hasFact(FactOvertook, m.String()) {
				t.Fatal("the board or the log does not show it")
			}
			s.wait(15*time.Minute - time.Second)
			s.wantTold(TurnPassed)
			s.wantTold(WalkUpTold)
			s.wait(time.Second)
			s.wantTold(TurnPassed, told[0]...)
			s.wantTold(WalkUpTold, told[1]...)
			s.reopen(time.Minute)
			s.wait(2 * time.Hour)
			s.wantTold(TurnPassed, told[0]...)
			s.wantTold(WalkUpTold, told[1]...)
		})
	}
}

// TestClaimSettles: the one who was first passed nobody over; another who claims
// did, and so did whoever has no turn.
func TestClaimSettles(t *testing.T) {
	for who, past := range map[string]bool{"anna": false, "ben": true, "zoe": true} {
		s := passedBy(t, Reported)
		s.do(Claim{Machine: "w1", Person: PersonID(who), Home: HomeID("home-" + who)})
		if s.outOfTurn() != past {
			t.Errorf("claimed by %s it is out of turn: %v", who, !past)
		}
		s.wait(20 * time.Minute)
		if got := len(s.told(WalkUpTold)) == 1; got != past {
			t.Errorf("claimed by %s it was reported: %v", who, got)
		}
	}
}

// TestStartsThatPassNobody: where nobody could have been called, a start with
// nobody called is nothing out of turn.
func TestStartsThatPassNobody(t *testing.T) {
	for name, before := range map[string]func(*scene){
		"nobody waits": func(*scene) {},
		"one who waits for a dryer": func(s *scene) {
			s.watts("d3", 300)
			s.join("anna", queue.Dry)
		},
		"one who cannot come yet": func(s *scene) {
			id := s.join("anna", queue.Wash)
			s.do(NotNow{Turn: id, Person: "anna", Home: "home-anna", Until: s.now.Add(time.Hour)})
		},
		"one who missed the call a moment ago": func(s *scene) {
			s.join("anna", queue.Wash)
			s.wait(11 * time.Minute)
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := newScene(t, func(p *Plan) {
				p.Machines = []Machine{p.Machines[0], p.Machines[2]}
				p.Seed.WalkUps = Reported
			})
			before(s)
			s.watts("w1", 300)
			if s.outOfTurn() {
				t.Fatal("it is shown as out of turn")
			}
			s.wait(20 * time.Minute)
			s.wantTold(WalkUpTold)
		})
	}
}

// TestNotMeIsOutOfTurn: the holder did not start it, so somebody else has,
// while the machine was kept.
func TestNotMeIsOutOfTurn(t *testing.T) {
	s := newScene(t, func(p *Plan) {
		oneWasher(p)
		p.Seed.WalkUps = Reported
	})
	s.join("anna", queue.Wash)
	s.watts("w1", 300)
	if s.outOfTurn() {
		t.Fatal("the holder's start is out of turn")
	}
	s.do(NotMe{Machine: "w1", Person: "anna", Home: "home-anna"})
	if !s.outOfTurn() {
		t.Fatal("after \"not me\" it is not out of turn")
	}
	for _, f := range s.facts {
		if f.Kind == FactOvertook && (f.Person != "" || f.Home != "" || f.Turn != 0) {
			t.Errorf("%+v names somebody", f)
		}
	}
}

// TestCollectedBeforeItIsReported: a load that is gone is not told about.
func TestCollectedBeforeItIsReported(t *testing.T) {
	s := passedBy(t, Reported)
	s.wait(5 * time.Minute)
	s.watts("w1", 1)
	s.do(Collect{Machine: "w1"})
	s.wait(time.Hour)
	s.wantTold(WalkUpTold)
	s.wantTold(TurnPassed)
}

// TestByHandOutOfTurn: taps count as the meter's word does.
func TestByHandOutOfTurn(t *testing.T) {
	for who, past := range map[string]bool{"anna": false, "zoe": true, "": true} {
		s := newScene(t, oneWasher)
		s.do(ByHand{Machine: "w1", On: true})
		s.do(StartByHand{Machine: "w1"})
		s.do(EndByHand{Machine: "w1"})
		s.join("anna", queue.Wash)
		home := HomeID("home-" + who)
		if who == "" {
			home = ""
		}
		s.do(StartByHand{Machine: "w1", Person: PersonID(who), Home: home})
		if s.outOfTurn() != past {
			t.Errorf("started by %q it is out of turn: %v", who, !past)
		}
	}
}

// TestDoors: what a door that opens means, by what is in the drum.
func TestDoors(t *testing.T) {
	for _, c := range []struct {
		name    string
		prepare func(*scene)
		empties bool
	}{
		{"nothing inside", func(*scene) {}, false},
		{"at work", func(s *scene) { s.watts("w1", 300) }, false},
		{"done", func(s *scene) { s.cycle("w1", time.Hour) }, true},
		{"overdue", func(s *scene) { s.cycle("w1", time.Hour); s.wait(time.Hour) }, true},
		{"stopped early", func(s *scene) { s.cycle("w1", 10*time.Minute) }, false},
		{"assumed gone", func(s *scene) { s.cycle("w1", 10*time.Minute); s.wait(4 * time.Hour) }, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, oneWasher)
			c.prepare(s)
			s.do(Door{Machine: "w1", Open: false})
			if s.hasFact(FactCollected, byDoor) {
				t.Fatal("a door that is shut empties the machine")
			}
			s.do(Door{Machine: "w1", Open: true})
			if got := s.hasFact(FactCollected, byDoor); got != c.empties {
				t.Fatalf("opened, the machine is emptied: %v", got)
			}
		})
	}
}

// TestDoorMovesOnly: a state that is said again stores nothing, and a restart
// remembers it.
func TestDoorMovesOnly(t *testing.T) {
	s := newScene(t, oneWasher)
	s.do(Door{Machine: "w1", Open: true})
	s.reopen(0)
	s.cycle("w1", time.Hour)
	set, _, err := s.room.Step(s.now, Door{Machine: "w1", Open: true})
	if err != nil || set.Moves() {
		t.Fatalf("the door stands as it stood: %+v, %v", set, err)
	}
	s.refused(Door{Machine: "w9", Open: true}, "machine.unknown")
}

// TestDoorIsContradicted: somebody only looked inside.
func TestDoorIsContradicted(t *testing.T) {
	s := doneFor(t, 4*time.Minute, nil)
	s.do(Door{Machine: "w1", Open: true})
	s.wantStatus("w1", Free)
	s.do(StillInside{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wantStatus("w1", Finished)
	s.wait(6 * time.Minute)
	s.wantTold(LoadNudge, "anna")
}

// TestForgotten: after a day the managers are told once more, and the load is
// marked until it is collected.
func TestForgotten(t *testing.T) {
	s := doneFor(t, 24*time.Hour-time.Minute, nil)
	s.wantTold(LoadLeft, "managers")
	s.wait(time.Minute)
	s.wantTold(LoadLeft, "managers", "managers")
	if v := s.room.Snapshot(s.now).Machine("w1"); !v.MayHoldLoad || !v.Load.Forgotten || !s.hasFact(FactForgotten, "") {
		t.Fatalf("after a day the machine is %s with load %+v", v.Status, v.Load)
	}
	s.wait(72 * time.Hour)
	s.wantTold(LoadLeft, "managers", "managers")
	s.do(Collect{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wantStatus("w1", Free)
}

// TestDriesWhereItWashed: a washer-dryer started again soon, with the load of its
// wash inside, goes on with that load, once; a washer does not.
func TestDriesWhereItWashed(t *testing.T) {
	for _, c := range []struct {
		name string
		kind queue.Kind
		need queue.Need
		wait time.Duration
		same bool
	}{
		{"soon", queue.WasherDryer, queue.Wash, 5 * time.Minute, true},
		{"both in one, seen as two cycles", queue.WasherDryer, queue.WashAndDry, time.Minute, true},
		{"late", queue.WasherDryer, queue.Wash, 11 * time.Minute, false},
		{"a dry load", queue.WasherDryer, queue.Dry, 5 * time.Minute, false},
		{"a washer", queue.Washer, queue.Wash, 5 * time.Minute, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, func(p *Plan) {
				oneWasher(p)
				p.Machines[0].Kind = c.kind
			})
			s.join("anna", c.need)
			s.cycle("w1", time.Hour)
			s.wait(c.wait)
			s.cycle("w1", time.Hour)
			l := s.room.Snapshot(s.now).Machine("w1").Load
			if same := l.ID == 1 && l.Owner == "anna"; same != c.same {
				t.Fatalf("the load is %+v, want the same: %v", l, c.same)
			}
			s.wait(time.Minute)
			s.watts("w1", 300)
			if l := s.room.Snapshot(s.now).Machine("w1").Load; l.ID == 1 {
				t.Fatal("a third cycle is the same load as well")
			}
		})
	}
}

// TestBookedDryerWaitsForARestart: a wash that stopped early may go on within
// minutes, so its dryer is called only then, or once it is collected.
func TestBookedDryerWaitsForARestart(t *testing.T) {
	start := func() *scene {
		s := newScene(t, nil)
		s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true})
		s.cycle("w1", 15*time.Minute)
		s.wantTold(TurnCalled, "anna")
		return s
	}
	s := start()
	s.wait(9 * time.Minute)
	s.wantStatus("d3", Free)
	s.cycle("w1", time.Hour)
	s.wantStatus("d3", Held)

	s = start()
	s.wait(10 * time.Minute)
	s.wantStatus("d3", Held)

	s = start()
	s.do(Collect{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wantStatus("d3", Held)
}
