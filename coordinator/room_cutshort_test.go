package coordinator

import (
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// dark is a room in which anna's and ben's washes were cut by the supply five
// minutes ago, and the dryer is held for cleo, who had four of her ten minutes.
func dark(t *testing.T) *scene {
	t.Helper()
	s := twoAtWork(t, nil)
	s.wait(10 * time.Minute)
	s.join("cleo", queue.Dry)
	s.wait(4 * time.Minute)
	s.cut(time.Second, "w1", "w2")
	s.wait(5 * time.Minute)
	if !s.interrupted() {
		t.Fatal("the supply is not seen to be interrupted")
	}
	return s
}

// TestEngineTakesBackACut: an engine that says, when power is back, that its
// cycle goes on is believed: the end that waited is dropped, and nothing closes
// the cycle when the interruption is forgotten.
func TestEngineTakesBackACut(t *testing.T) {
	s := dark(t)
	s.room.hear(0, []cycle.Event{{Kind: cycle.Resumed, At: s.now, Start: s.room.state.Machines[0].Start}}, s.now)
	s.room.engines[0].(*plainEngine).S.Running = true
	s.watts("w1", 300)
	s.watts("w2", 300)
	s.wait(35 * time.Minute)
	v := s.room.Snapshot(s.now).Machine("w1")
	if v.Status != Running || v.Cycle != 1 || v.Load.Owner != "anna" {
		t.Fatalf("w1 is %s in cycle %d with %+v, want anna's first cycle running", v.Status, v.Cycle, v.Load)
	}
	s.wantTold(LoadReady)
}

// TestStartTakenBackInTheDark: a start that was none leaves no end behind.
func TestStartTakenBackInTheDark(t *testing.T) {
	s := dark(t)
	s.room.hear(0, []cycle.Event{{Kind: cycle.Withdrawn, At: s.now}}, s.now)
	s.do(Tick{})
	before := len(s.facts)
	s.wait(30 * time.Minute)
	for _, f := range s.facts[before:] {
		if f.Kind == FactCycle && f.Machine == "w1" {
			t.Fatalf("w1 ended a cycle that it never ran: %+v", f)
		}
	}
}

// TestDownInTheDark: where the power cut takes the program along, holds go on
// with the time they had left, and ladders too: not with the time away twice.
func TestDownInTheDark(t *testing.T) {
	s := dark(t)
	since := s.room.state.Supply.Since
	until := s.room.state.Machines[2].Hold.Until
	s.reopen(4 * time.Hour)
	s.watts("w1", 300)
	want := until.Add(s.now.Sub(since))
	if h := s.room.state.Machines[2].Hold; h == nil || h.Until.Sub(want).Abs() > time.Second {
		t.Fatalf("at %s cleo's hold is %+v, want it until %s", s.now, h, want)
	}

	s = newScene(t, nil)
	s.cycle("w2", time.Hour)
	s.do(Claim{Machine: "w2", Person: "ben", Home: "home-ben"})
	s.watts("w1", 300)
	s.watts("d3", 300)
	s.wait(8 * time.Minute)
	s.cut(0, "w1", "d3")
	s.wait(5 * time.Minute)
	s.reopen(4 * time.Hour)
	s.watts("w1", 300)
	s.wantTold(LoadNudge)
	s.wait(3 * time.Minute)
	s.wantTold(LoadNudge, "ben")
}

// TestInterruptionEndsOnce: power that is back just when the interruption is
// given up does not begin others, one for each machine that is seen.
func TestInterruptionEndsOnce(t *testing.T) {
	s := dark(t)
	since := s.room.state.Supply.Since
	s.wait(since.Add(supplyAtMost).Sub(s.now))
	for _, id := range []MachineID{"w2", "w1", "w2"} {
		s.watts(id, 0)
	}
	began := 0
	for _, f := range s.facts {
		if f.Kind == FactSupply && f.Note == "began" {
			began++
		}
	}
	if began != 1 {
		t.Fatalf("%d interruptions began, want one", began)
	}
}

// TestHandEndInTheDark: a cycle run by hand ends at its time, told as a deadline,
// also while the supply is away: no meter says anything of it.
func TestHandEndInTheDark(t *testing.T) {
	s := dark(t)
	s.do(Leave{Turn: 3, Person: "cleo"})
	s.do(ByHand{Machine: "d3", On: true})
	s.room.state.Learned.Dries = []time.Duration{20 * time.Minute, 20 * time.Minute, 20 * time.Minute}
	s.do(StartByHand{Machine: "d3"})
	end := s.now.Add(20 * time.Minute)
	for due := s.room.Deadline(); !due.IsZero() && !due.After(end) && s.now.Before(due); due = s.room.Deadline() {
		s.now = due
		s.do(Tick{})
	}
	if l := s.room.load(s.room.state.Machines[2].Load); !s.interrupted() || l == nil || !l.ToldAt.Equal(end) {
		t.Fatalf("interrupted %v; the load is %+v, want it told at %s", s.interrupted(), l, end)
	}
}
