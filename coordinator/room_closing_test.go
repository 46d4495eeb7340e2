package coordinator

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/queue"
)

// eveningRoom has one washer, a last start at 20:00, and it is ten to eight.
func eveningRoom(t *testing.T) *scene {
	s := newScene(t, func(p *Plan) {
		oneWasher(p)
		for i := range p.Seed.Hours {
			p.Seed.Hours[i] = queue.Day{Opens: 7 * 60, LastStart: 20 * 60, EndedBy: queue.NoClock}
		}
	})
	s.wait(7*time.Hour + 50*time.Minute)
	s.watts("w1", 300)
	return s
}

// joinAndLeave joins for a person who leaves at closing.
func (s *scene) joinAndLeave(who string) TurnID {
	s.Helper()
	return s.do(Join{Person: PersonID(who), Home: HomeID("home-" + who), Need: queue.Wash, LeaveAtClosing: true}).Turn
}

// TestAtClosing: who chose to leave is out of the queue as soon as no start is
// allowed any more, and told so; who did not keeps the place for the morning.
func TestAtClosing(t *testing.T) {
	s := eveningRoom(t)
	stays, leaves := s.join("anna", queue.Wash), s.joinAndLeave("ben")
	s.wait(s.untilClock(20, 0))
	if s.room.Snapshot(s.now).Turn(leaves) == nil {
		t.Fatal("at the last start itself the turn is gone already")
	}
	s.wait(time.Second)
	snap := s.room.Snapshot(s.now)
	if snap.Turn(leaves) != nil || snap.Turn(stays) == nil {
		t.Fatalf("after closing the turns are %+v, want only anna's", snap.Turns)
	}
	s.wantTold(TurnClosed, "ben")
	if !s.hasFact(FactLeft, "closing") {
		t.Error("nothing is written of the turn that left")
	}
	s.watts("w1", 1)
	s.do(Collect{Machine: "w1"})
	s.wait(s.untilClock(7, 0))
	if turn := s.room.Snapshot(s.now).Turn(stays); turn == nil || turn.State != queue.Called {
		t.Fatalf("in the morning anna's turn is %+v, want it called", turn)
	}
}

// untilClock is how long it is until the next such time of day.
func (s *scene) untilClock(h, m int) time.Duration {
	at := time.Date(s.now.Year(), s.now.Month(), s.now.Day(), h, m, 0, 0, time.UTC)
	if !at.After(s.now) {
		at = at.Add(24 * time.Hour)
	}
	return at.Sub(s.now)
}

// TestAtClosingCanBeChanged: until then the choice is free, for the home's own turns.
func TestAtClosingCanBeChanged(t *testing.T) {
	s := eveningRoom(t)
	anna, ben := s.join("anna", queue.Wash), s.joinAndLeave("ben")
	s.do(AtClosing{Turn: anna, Person: "anna", Leave: true})
	s.do(AtClosing{Turn: ben, Person: "sister", Home: "home-ben"})
	s.refused(AtClosing{Turn: ben, Person: "cleo", Home: "home-cleo", Leave: true}, "turn.foreign")
	s.reopen(0)
	s.wait(30 * time.Minute)
	if snap := s.room.Snapshot(s.now); snap.Turn(anna) != nil || snap.Turn(ben) == nil {
		t.Fatalf("the turns are %+v, want only ben's", snap.Turns)
	}
	if !s.hasFact(FactChose, "leaves at closing") || !s.hasFact(FactChose, "waits for the morning") {
		t.Error("the choices are not written down")
	}
}

// TestJoinedInAClosedRoom: the closing that was does not count, the next one does.
func TestJoinedInAClosedRoom(t *testing.T) {
	s := eveningRoom(t)
	s.wait(time.Hour)
	id := s.joinAndLeave("anna")
	s.do(TakeOut{Machine: "w1"})
	s.wait(s.untilClock(19, 59))
	if s.room.Snapshot(s.now).Turn(id) == nil {
		t.Fatal("the turn left before the room had been open")
	}
	s.wait(2 * time.Minute)
	if s.room.Snapshot(s.now).Turn(id) != nil {
		t.Fatal("the turn stays over the next closing")
	}
}

// TestCalledAtClosing: a call stands; when it is missed after closing the turn leaves.
func TestCalledAtClosing(t *testing.T) {
	s := eveningRoom(t)
	id := s.joinAndLeave("anna")
	s.wait(5 * time.Minute)
	s.watts("w1", 1)
	s.do(Collect{Machine: "w1"})
	s.wait(8 * time.Minute)
	if turn := s.room.Snapshot(s.now).Turn(id); turn == nil || turn.State != queue.Called {
		t.Fatalf("over closing the called turn is %+v", turn)
	}
	s.wait(10 * time.Minute)
	s.wantTold(TurnMissed, "anna")
	s.wantTold(TurnClosed, "anna")
}

// TestBookedDryerLeavesToo: the dryer that a wash books has the choice of its wash.
func TestBookedDryerLeavesToo(t *testing.T) {
	s := newScene(t, nil)
	s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true, LeaveAtClosing: true})
	s.watts("w1", 300)
	for _, turn := range s.room.Snapshot(s.now).Turns {
		if turn.Need == queue.Dry && turn.LeaveAt.IsZero() {
			t.Error("the dryer's turn waits for the morning")
		}
	}
}

// TestLeftAtClosingForecast: a turn that leaves at closing is not forecast for the morning.
func TestLeftAtClosingForecast(t *testing.T) {
	s := eveningRoom(t)
	stays, leaves := s.join("anna", queue.Wash), s.joinAndLeave("ben")
	snap := s.foreseen()
	if f := snap.Forecast(stays); f == nil || !f.Known || f.Median.Sub(s.now) < 10*time.Hour {
		t.Errorf("who stays is called at %+v, want in the morning", f)
	}
	if f := snap.Forecast(leaves); f == nil || f.Known {
		t.Errorf("who leaves is called at %+v, want nothing known", f)
	}
}

// TestClosingLeavesNobodyBehind: whatever the hours, in a closed room nobody
// waits who chose, while it was open, to leave at closing; nor is anybody gone
// from an open one.
func TestClosingLeavesNobodyBehind(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		day := func(string) queue.Day {
			opens := rapid.IntRange(6*60, 12*60).Draw(rt, "opens")
			return queue.Day{Opens: queue.Clock(opens), LastStart: queue.Clock(opens + rapid.IntRange(0, 11*60).Draw(rt, "for")), EndedBy: queue.NoClock}
		}
		s := newScene(t, func(p *Plan) {
			oneWasher(p)
			for i := range p.Seed.Hours {
				p.Seed.Hours[i] = day("hours")
			}
		})
		s.do(TakeOut{Machine: "w1"})
		open := s.room.state.Rules.Hours.MayStart(s.now, 75*time.Minute, time.UTC)
		id := s.joinAndLeave("anna")
		for range rapid.IntRange(1, 30).Draw(rt, "steps") {
			s.now = s.now.Add(time.Duration(rapid.IntRange(1, 100).Draw(rt, "minutes")) * time.Minute)
			s.do(Tick{})
			isOpen := s.room.state.Rules.Hours.MayStart(s.now, 75*time.Minute, time.UTC)
			there := s.room.Snapshot(s.now).Turn(id) != nil
			if open && !isOpen && there {
				rt.Fatalf("at %s the room is closed and the turn waits", s.now)
			}
			if !there && len(s.told(TurnClosed)) != 1 {
				rt.Fatalf("at %s the turn is gone, told %v", s.now, s.told(TurnClosed))
			}
			open = open || isOpen
		}
	})
}
