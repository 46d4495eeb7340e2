package coordinator

import (
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// realScene is a room with one washer behind the engine that the program uses.
func realScene(t *testing.T) *scene {
	t.Helper()
	plan := testPlan()
	oneWasher(&plan)
	engine := func(s cycle.Settings) cycle.Engine { return cycle.New(s) }
	s := &scene{T: t, room: NewRoom(plan, engine), now: noon, unsent: map[string]Notice{}}
	s.draw(10*time.Minute, 1.5)
	return s
}

// draw reads a power every ten seconds for a time, with every deadline at its instant.
func (s *scene) draw(d time.Duration, watts ...float64) {
	s.Helper()
	for i := range int(d / (10 * time.Second)) {
		next := s.now.Add(10 * time.Second)
		for due := s.room.Deadline(); !due.IsZero() && !due.After(next); due = s.room.Deadline() {
			s.now = later(s.now, due)
			s.do(Tick{})
		}
		s.now = next
		s.watts("w1", watts[i%len(watts)])
	}
}

// wash is a plain programme: heating, tumbling with pauses, spinning.
func (s *scene) wash() {
	s.Helper()
	s.draw(2*time.Minute, 60, 40, 180)
	s.draw(12*time.Minute, 2100, 2080, 2110)
	s.draw(35*time.Minute, 190, 170, 45, 200, 30)
	s.draw(8*time.Minute, 350, 420, 500, 480)
	s.draw(time.Minute, 60)
}

// TestTestRunWithTheRealEngine: two minutes of work, and the door is opened
// again. Whether the engine calls it a cycle that stopped early or none at all,
// the turn is not used up: it is called again, at the head.
func TestTestRunWithTheRealEngine(t *testing.T) {
	for name, learned := range map[string]int{"never seen a cycle": 0, "knows two washes": 2} {
		t.Run(name, func(t *testing.T) {
			s := realScene(t)
			for range learned {
				s.wash()
				s.draw(20*time.Minute, 1.5)
				if _, err := s.try(Collect{Machine: "w1"}); err != nil {
					t.Fatal(err)
				}
			}
			id := s.join("anna", queue.Wash)
			ben := s.join("ben", queue.Wash)
			s.draw(2*time.Minute, 60, 45, 180, 190)
			if v := s.room.Snapshot(s.now).Machine("w1"); v.Status != Running || v.Load.Owner != "anna" {
				t.Fatalf("two minutes on, the machine is %s, load %+v", v.Status, v.Load)
			}
			s.draw(12*time.Minute, 1.5)
			if l := s.room.Snapshot(s.now).Machine("w1").Load; l != nil {
				if !l.testRun() {
					t.Fatalf("the load is %+v, want a short run that stopped early", l)
				}
				s.do(Collect{Machine: "w1", Person: "anna", Home: "home-anna"})
			}
			snap := s.room.Snapshot(s.now)
			if turn := snap.Turn(id); turn == nil || turn.State != queue.Called || snap.Turn(ben).State != queue.Waiting {
				t.Fatalf("after the test run the turns are %+v, want anna called again before ben", snap.Turns)
			}
		})
	}
}

// TestStoppedAndGoneOnWithTheRealEngine: stopped after some minutes to put a sock
// in, gone on five minutes later: one load of one owner, whatever the engine counts.
func TestStoppedAndGoneOnWithTheRealEngine(t *testing.T) {
	s := realScene(t)
	s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	s.draw(2*time.Minute, 60, 40, 180)
	s.draw(6*time.Minute, 2100, 2080)
	s.draw(5*time.Minute, 1.5)
	s.wash()
	s.draw(20*time.Minute, 1.5)
	v := s.room.Snapshot(s.now).Machine("w1")
	if v.Load == nil || v.Load.ID != 1 || v.Load.Owner != "anna" || v.Load.Reason != EndDone {
		t.Fatalf("the machine is %s with load %+v, want load 1 of anna, done", v.Status, v.Load)
	}
	if s.hasFact(FactCollected, byNextStart) {
		t.Fatal("going on counted as the next load")
	}
}
