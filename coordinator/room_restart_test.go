package coordinator

import (
	"bytes"
	"encoding/json"
	"testing"
	"time"

	"drumturn/queue"
)

// TestRestartRestoresEverything: what a store gives back is the room as it was.
func TestRestartRestoresEverything(t *testing.T) {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	s.watts("w1", 300)
	s.do(ReportFault{Machine: "d3", Person: "ben", Home: "home-ben", Text: "It squeaks."})
	before, _ := json.Marshal(&s.room.state)
	s.reopen(0)
	after, _ := json.Marshal(&s.room.state)
	if !bytes.Equal(before, after) {
		t.Fatalf("before the restart:\n%s\nafter:\n%s", before, after)
	}
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.wantTold(LoadReady, "anna")
}

func TestHoldThatLapsedWhileDownRestartsOnce(t *testing.T) {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.wait(4 * time.Minute)
	s.reopen(30 * time.Minute)
	s.idle()
	s.wantTold(TurnMissed)
	s.wait(9 * time.Minute)
	s.wantTold(TurnMissed)
	s.reopen(5 * time.Minute)
	s.wantTold(TurnMissed, "anna")
}

func TestHoldThatOutlastsTheStopGoesOn(t *testing.T) {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.wait(2 * time.Minute)
	s.reopen(3 * time.Minute)
	s.idle()
	s.wait(5*time.Minute - time.Second)
	s.wantTold(TurnMissed)
	s.wait(time.Second)
	s.wantTold(TurnMissed, "anna")
}

func TestLadderStepThatLapsedWhileDownRestarts(t *testing.T) {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.cycle("w1", time.Hour)
	s.wait(12 * time.Minute)
	s.wantTold(LoadNudge, "anna")
	s.join("ben", queue.Wash) // waits for nothing: washer 2 is called
	s.reopen(time.Hour)
	s.idle()
	s.wantTold(LoadLeft)
	s.wait(19 * time.Minute)
	s.wantTold(LoadLeft)
	s.wait(2 * time.Minute)
	s.wantTold(LoadLeft, "managers")
}

// TestEndMissedWhileDown: a cycle that the detector and the state disagree
// about after a restart is closed as presumed, and never left running for ever.
func TestEndMissedWhileDown(t *testing.T) {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.watts("w1", 300)
	s.wait(time.Hour)
	s.store.stored.Checkpoints = nil // as after a change of the engine
	s.store.stored.Tail = []MachineReading{{Machine: "w1", Reading: powerAt(s.now, 1)}}
	s.reopen(time.Minute)
	load := s.room.Snapshot(s.now).Machine("w1").Load
	if load == nil || load.Reason != EndPresumed {
		t.Fatalf("the load is %+v, want presumed ready", load)
	}
	s.wantTold(LoadReady, "anna")
}

// TestForgottenMachine: a machine that left the building file takes its load and
// hold with it; its turn waits again.
func TestForgottenMachine(t *testing.T) {
	s := newScene(t, nil)
	s.watts("w1", 300) // a walk-up
	s.join("anna", queue.Wash)
	plan := s.room.plan
	plan.Machines = plan.Machines[2:]
	room, err := Restore(plan, s.store.stored, newPlain)
	if err != nil {
		t.Fatal(err)
	}
	snap := foreseen(room, s.now)
	if len(snap.Machines) != 1 || len(snap.Turns) != 1 || snap.Turns[0].State != queue.Waiting {
		t.Fatalf("after the washers left: %d machines, turns %+v", len(snap.Machines), snap.Turns)
	}
	if snap.Forecasts[0].Known {
		t.Fatal("a wash is forecast although no washer is left")
	}
}

func TestSupplyInterruption(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:3] })
	s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	s.watts("w1", 300)
	s.watts("w2", 300)
	s.do(Join{Person: "dora", Home: "home-dora", Need: queue.Dry})
	s.wait(30 * time.Minute)
	s.wantTold(TurnMissed, "dora")

	s.watts("w1", 0)
	s.watts("w2", 0)
	s.wait(2 * time.Minute)
	if s.room.Snapshot(s.now).SupplySince.IsZero() {
		t.Fatal("two machines at 0 W at once are no supply interruption")
	}
	s.wantTold(LoadReady)
	s.now = s.now.Add(10 * time.Minute)
	s.watts("w2", 300) // its detector has said nothing yet
	s.do(Tick{})       // that of washer 1 takes the zero for an early stop
	s.wantTold(LoadReady)
	s.watts("w1", 300)
	if !s.room.Snapshot(s.now).SupplySince.IsZero() {
		t.Fatal("the supply is back, but the board says it is not")
	}
	s.wait(30 * time.Minute)
	if l := s.room.Snapshot(s.now).Machine("w1").Load; l.ID != 1 || l.Owner != "anna" || l.Ready() {
		t.Fatalf("the load after the interruption is %+v, want load 1 of anna, running", l)
	}
	if c := s.room.Snapshot(s.now).Machine("w1").Cycle; c != 1 {
		t.Fatalf("it counts as cycle %d, want 1", c)
	}
	s.watts("w1", 1)
	s.wantTold(LoadReady, "anna")
}

func TestSupplyInterruptionThatEndsTheCycle(t *testing.T) {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	s.watts("w1", 300)
	s.watts("w2", 300)
	s.wait(40 * time.Minute)
	s.watts("w1", 0)
	s.watts("w2", 0)
	s.wait(29 * time.Minute)
	s.wantTold(LoadReady)
	s.wait(2 * time.Minute)
	s.wantTold(LoadReady, "anna", "ben")
	if l := s.room.Snapshot(s.now).Machine("w1").Load; l.Reason != EndStopped {
		t.Fatalf("the load ended as %q, want stopped early", l.Reason)
	}
}

func TestSilentMeter(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:1] })
	s.join("anna", queue.Wash)
	s.now = s.now.Add(9 * time.Minute)
	s.do(Tick{})
	s.wantStatus("w1", Held)
	s.now = s.now.Add(61 * time.Second)
	s.do(Tick{})
	s.wantStatus("w1", Unknown)
	s.wantTold(MeterSilent, "managers")
	s.now = s.now.Add(time.Hour)
	s.do(Tick{})
	s.wantTold(TurnCalled, "anna")
	s.watts("w1", 1)
	s.wantTold(TurnCalled, "anna", "anna")
	s.wantStatus("w1", Held)
}

func TestNeverHeardIsNotFree(t *testing.T) {
	room := NewRoom(testPlan(), newPlain)
	if got := room.Snapshot(noon).Machine("w1").Status; got != Unknown {
		t.Fatalf("a machine whose meter was never heard is %s", got)
	}
	set, _, err := room.Step(noon, Join{Person: "anna", Home: "home-anna", Need: queue.Wash})
	if err != nil || len(set.Notices) != 0 {
		t.Fatalf("the turn was called to a machine of which nothing is known: %v %v", set.Notices, err)
	}
}

func TestRunByHand(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:1]; p.Machines[0].Meter = "" })
	s.wantStatus("w1", Free)
	s.join("anna", queue.Wash)
	s.wantStatus("w1", Held)
	s.refused(StartByHand{Machine: "w1", Person: "ben", Home: "home-ben"}, "hand.held")
	s.do(StartByHand{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wantStatus("w1", Running)
	s.refused(StartByHand{Machine: "w1", Person: "anna", Home: "home-anna"}, "hand.running")
	s.wait(priorWash)
	s.wantStatus("w1", Finished)
	s.wantTold(LoadReady, "anna")
	if l := s.room.Snapshot(s.now).Machine("w1").Load; l.Reason != EndReported {
		t.Fatalf("the load ended as %q, want as reported", l.Reason)
	}
	s.do(Collect{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.do(StartByHand{Machine: "w1", Person: "ben", Home: "home-ben"})
	s.now = s.now.Add(20 * time.Minute)
	s.do(EndByHand{Machine: "w1"})
	s.wantTold(LoadReady, "anna", "ben")
	s.refused(EndByHand{Machine: "w1"}, "hand.idle")
}

func TestMeteredMachineIsNotStartedByHand(t *testing.T) {
	s := newScene(t, nil)
	s.refused(StartByHand{Machine: "w1", Person: "anna", Home: "home-anna"}, "hand.metered")
	s.do(ByHand{Machine: "w1", On: true})
	s.do(StartByHand{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wantStatus("w1", Running)
}

// TestTwoThatFinishTogether: two machines that draw 0 W when they are done and
// finish in the same second are no supply interruption.
func TestTwoThatFinishTogether(t *testing.T) {
	s := newScene(t, nil)
	for i := range s.room.glows {
		s.room.glows[i] = false
	}
	s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	s.watts("w1", 300)
	s.watts("w2", 300)
	s.wait(time.Hour)
	s.watts("w1", 0)
	s.watts("w2", 0)
	s.wait(4 * time.Minute)
	s.wantTold(LoadReady, "anna", "ben")
}
