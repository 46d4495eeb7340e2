package coordinator

import (
	"testing"
	"time"

	"drumturn/queue"
)

// TestStory is the room's main story: a call, a start, a load that stays, the
// ladder, the table, a turn let go, a call missed.
func TestStory(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:1] })
	s.join("anna", queue.Wash)
	s.wantTold(TurnCalled, "anna")
	s.wantStatus("w1", Held)
	b := s.join("ben", queue.Wash)
	s.join("cleo", queue.Wash)

	s.wait(3 * time.Minute)
	s.watts("w1", 300)
	s.wantStatus("w1", Running)
	s.wantTold(LoadBegun, "anna")
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.wantStatus("w1", Finished)
	s.wantTold(LoadReady, "anna")

	s.wait(10 * time.Minute)
	s.wantStatus("w1", Overdue)
	s.wantTold(LoadNudge, "anna")
	s.wait(5 * time.Minute)
	s.wantTold(LoadWaiting, "ben")
	s.wait(15 * time.Minute)
	s.wantTold(LoadLeft, "managers")

	s.do(Collect{Machine: "w1", OnTable: true})
	s.wantTold(LoadMoved, "anna")
	s.wantTold(TurnCalled, "anna", "ben")
	s.do(LetNext{Turn: b, Person: "ben", Home: "home-ben"})
	s.wantTold(TurnCalled, "anna", "ben", "cleo")
	s.wait(10 * time.Minute)
	s.wantTold(TurnMissed, "cleo")
	s.wantTold(TurnCalled, "anna", "ben", "cleo", "ben")
	s.wantStatus("w1", Held)
}

// TestNobodyTaps: nothing blocks a queue for ever, though nobody ever taps.
func TestNobodyTaps(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:1] })
	s.cycle("w1", time.Hour) // a walk-up that nobody claims
	s.join("ben", queue.Wash)
	s.wait(44 * time.Minute)
	s.wantTold(TurnCalled)
	s.wait(2 * time.Minute)
	s.wantTold(TurnCalled, "ben")
	if hold := s.room.Snapshot(s.now).Machine("w1").Hold; hold == nil || !hold.LoadInside {
		t.Fatalf("the hold does not say that a load is inside: %+v", hold)
	}
	s.watts("w1", 300)
	if !s.hasFact(FactCollected, "next start") {
		t.Fatal("the start did not count as collection of the load before")
	}
	if load := s.room.Snapshot(s.now).Machine("w1").Load; load.Owner != "ben" {
		t.Fatalf("the load belongs to %q, want ben", load.Owner)
	}
}

func TestAssumedEmpty(t *testing.T) {
	s := newScene(t, nil)
	s.cycle("w1", time.Hour)
	s.wait(3*time.Hour - time.Minute)
	s.wantStatus("w1", Overdue)
	s.wait(time.Minute)
	s.wantStatus("w1", Free)
	if !s.room.Snapshot(s.now).Machine("w1").MayHoldLoad {
		t.Fatal("the board does not say that the machine may hold a load")
	}
}

func TestSecondMissEndsTurn(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:1] })
	s.join("anna", queue.Wash)
	s.wait(10 * time.Minute)
	s.wantTold(TurnMissed, "anna")
	if v := s.room.Snapshot(s.now).Machine("w1"); v.Status != Free || !v.OpenToWalkUps {
		t.Fatalf("after a miss the machine is %s, open to walk-ups %v", v.Status, v.OpenToWalkUps)
	}
	s.wait(9 * time.Minute)
	s.wantTold(TurnCalled, "anna")
	s.wait(time.Minute)
	s.wantTold(TurnCalled, "anna", "anna")
	s.wait(10 * time.Minute)
	s.wantTold(TurnEnded, "anna")
	if n := len(s.room.Snapshot(s.now).Turns); n != 0 {
		t.Fatalf("%d turns are left", n)
	}
}

func TestMissedTurnWaitsForAnotherCall(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:1] })
	s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	s.wait(10 * time.Minute)
	s.wantTold(TurnCalled, "anna", "ben")
	s.wait(5 * time.Minute)
	s.watts("w1", 300) // ben starts
	if load := s.room.Snapshot(s.now).Machine("w1").Load; load.Owner != "ben" {
		t.Fatalf("the load belongs to %q, want ben", load.Owner)
	}
}

func TestNotMe(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:1] })
	s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	s.watts("w1", 300)
	s.wait(5 * time.Minute)
	s.refused(NotMe{Machine: "w1", Person: "ben", Home: "home-ben"}, "notme.none")
	s.do(NotMe{Machine: "w1", Person: "anna", Home: "home-anna"})
	snap := s.room.Snapshot(s.now)
	if first := snap.Turns[0]; first.Person != "anna" || first.State != queue.Waiting {
		t.Fatalf("the head of the queue is %+v, want anna waiting", first)
	}
	if load := snap.Machine("w1").Load; load == nil || load.Owner != "" {
		t.Fatalf("the load is %+v, want unclaimed", load)
	}
	s.wait(30 * time.Minute)
	s.watts("w1", 1)
	s.wantTold(LoadReady)
}

func TestNotMeTooLate(t *testing.T) {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.watts("w1", 300)
	s.wait(16 * time.Minute)
	s.refused(NotMe{Machine: "w1", Person: "anna", Home: "home-anna"}, "notme.late")
}

func TestWalkUpClaims(t *testing.T) {
	s := newScene(t, nil)
	s.refused(Claim{Machine: "w1", Person: "anna", Home: "home-anna"}, "claim.empty")
	s.watts("w1", 300)
	s.refused(Claim{Machine: "w1"}, "claim.stranger")
	s.do(Claim{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.refused(Claim{Machine: "w1", Person: "ben", Home: "home-ben"}, "claim.taken")
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.wantTold(LoadReady, "anna")
	s.do(Collect{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wantTold(LoadTaken)
	s.wantStatus("w1", Free)
}

func TestClaimUsesUpTurn(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:1] })
	s.watts("w1", 300)
	s.join("anna", queue.Wash)
	s.do(Claim{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.do(Collect{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wantTold(TurnCalled)
}

func TestDryAfter(t *testing.T) {
	s := newScene(t, nil)
	s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true})
	s.watts("w1", 300)
	s.wait(30 * time.Minute)
	s.wantTold(TurnCalled, "anna")
	s.watts("w1", 1)
	s.wantTold(TurnCalled, "anna", "anna")
	s.wantStatus("d3", Held)
}

func TestCollectedByNeighbourAndContradicted(t *testing.T) {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.watts("w1", 300)
	s.refused(Collect{Machine: "w1", Person: "ben", Home: "home-ben"}, "collect.running")
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.do(Collect{Machine: "w1", Person: "ben", Home: "home-ben"})
	s.wantTold(LoadTaken, "anna")
	s.refused(StillInside{Machine: "w1", Person: "ben", Home: "home-ben"}, "still.foreign")
	s.do(StillInside{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wantStatus("w1", Finished)
	s.do(Collect{Machine: "w1", Person: "flatmate", Home: "home-anna"})
	s.wantStatus("w1", Free)
	s.wantTold(LoadTaken, "anna")
	s.refused(Collect{Machine: "w1"}, "collect.empty")
}

// TestCollectionWithdraws: a collected load cancels what is unsent about it in
// the same transaction.
func TestCollectionWithdraws(t *testing.T) {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.watts("w1", 300)
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.wait(12 * time.Minute)
	s.do(Collect{Machine: "w1", Person: "anna", Home: "home-anna"})
	for key, n := range s.unsent {
		if n.Subject.Load != 0 {
			t.Errorf("%s is still to be sent", key)
		}
	}
	s.wait(time.Hour)
	s.wantTold(LoadLeft)
}
