package coordinator

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// washing is a room in which anna's wash, with a dryer to follow, has run for 55
// of the 60 minutes that a cycle takes there.
func washing(t *testing.T, change func(*Plan)) *scene {
	s := newScene(t, change)
	s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true})
	s.watts("w1", 300)
	s.wait(55 * time.Minute)
	return s
}

// dryerOf finds somebody's dryer turn.
func (s *scene) dryerOf(who string) *queue.Turn {
	for i, t := range s.room.state.Turns {
		if t.Person == PersonID(who) && t.Need == queue.Dry {
			return &s.room.state.Turns[i]
		}
	}
	return nil
}

// TestDryerIsCalledAhead: three minutes before the wash is expected to end its
// dryer is kept, and the hold counts from when it has ended.
func TestDryerIsCalledAhead(t *testing.T) {
	s := washing(t, nil)
	if turn := s.dryerOf("anna"); turn.State != queue.Waiting {
		t.Fatalf("five minutes ahead the turn is %+v", turn)
	}
	s.wait(3 * time.Minute)
	end := s.room.state.Machines[0].Start.Add(time.Hour)
	n := s.notices[len(s.notices)-1]
	if n.Kind != TurnCalled || n.Reason != "wash-ends" || !n.ReadyAt.Equal(end) || !n.Until.Equal(end.Add(10*time.Minute)) {
		t.Fatalf("anna is told %+v, want of the end at %s", n, end)
	}
	if h := s.room.Snapshot(s.now).Machine("d3").Hold; h == nil || !h.Ahead {
		t.Fatalf("the dryer's hold is %+v, want one ahead", h)
	}
	s.wait(4 * time.Minute)
	s.watts("w1", 1)
	v := s.room.Snapshot(s.now).Machine("d3")
	if v.Status != Held || v.Hold.Ahead || !v.Until.Equal(s.now.Add(10*time.Minute)) || !v.Since.Equal(s.now) {
		t.Fatalf("after the end the dryer is %s until %s, hold %+v", v.Status, v.Until, v.Hold)
	}
	s.wait(4 * time.Minute)
	s.watts("d3", 300)
	if got := s.room.state.Learned.Answers; len(got) != 2 || got[1] > 5*time.Minute {
		t.Errorf("the answers are %v, want the walk counted from the end of the wash", got)
	}
	if v := s.room.Snapshot(s.now).Machine("d3"); v.Load == nil || v.Load.Owner != "anna" {
		t.Errorf("the dryer's load is %+v", v.Load)
	}
}

// TestDryerNotCalledAhead: a house that wants it so calls when the wash has ended.
func TestDryerNotCalledAhead(t *testing.T) {
	s := washing(t, func(p *Plan) { p.Seed.DryCallAhead = 0 })
	s.wait(5 * time.Minute)
	if turn := s.dryerOf("anna"); turn.State != queue.Waiting {
		t.Fatalf("before the end the turn is %+v", turn)
	}
	s.watts("w1", 1)
	if turn := s.dryerOf("anna"); turn.State != queue.Called {
		t.Fatalf("at the end the turn is %+v", turn)
	}
}

// TestWashTakesLonger: the call is taken back, with a fact and a word to the
// owner and without blame; the next is called, and anna when the wash has ended.
func TestWashTakesLonger(t *testing.T) {
	s := washing(t, nil)
	s.wait(3 * time.Minute)
	s.join("ben", queue.Dry)
	s.wait(11 * time.Minute)
	if turn := s.dryerOf("anna"); turn.State != queue.Called {
		t.Fatalf("eleven minutes on the turn is %+v", turn)
	}
	s.wait(2 * time.Minute)
	if turn := s.dryerOf("anna"); turn.State != queue.Waiting || turn.Misses != 0 {
		t.Fatalf("a hold's time after the expected end the turn is %+v, want it waiting without blame", turn)
	}
	if !s.hasFact(FactTakenBack, byLongerWash) {
		t.Error("no fact says that the call was taken back")
	}
	s.wantTold(TurnReturned, "anna")
	if turn := s.dryerOf("ben"); turn.State != queue.Called {
		t.Fatalf("ben's turn is %+v, want it called", turn)
	}
	s.wait(11 * time.Minute)
	if turn := s.dryerOf("anna"); turn.State != queue.Waiting {
		t.Fatalf("while the wash runs the turn is %+v, want no second call ahead", turn)
	}
	s.watts("w1", 1)
	if turn := s.dryerOf("anna"); turn.State != queue.Called || s.room.state.Machines[2].Hold.Ahead {
		t.Fatalf("after the wash the turn is %+v", turn)
	}
}

// TestWashCutShort: a wash that stops early may be started again: its dryer is
// given back, and called when nothing came of it within ten minutes.
func TestWashCutShort(t *testing.T) {
	s := newScene(t, nil)
	s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true})
	s.watts("w1", 300)
	s.room.engines[0].(*plainEngine).S.Start = s.now.Add(-58 * time.Minute)
	s.do(Tick{})
	if turn := s.dryerOf("anna"); turn.State != queue.Called {
		t.Fatalf("near the end the turn is %+v", turn)
	}
	s.room.engines[0].(*plainEngine).S.Start = s.now.Add(-10 * time.Minute)
	s.wait(time.Minute)
	s.watts("w1", 1)
	if turn := s.dryerOf("anna"); turn.State != queue.Waiting || turn.Behind == 0 {
		t.Fatalf("after the early stop the turn is %+v, want it behind the wash", turn)
	}
	s.wait(10*time.Minute + time.Second)
	if turn := s.dryerOf("anna"); turn.State != queue.Called {
		t.Fatalf("ten minutes later the turn is %+v", turn)
	}
}

// TestStartedBeforeTheEndIsKnown: who carries the load over before the meter is
// sure of the end has the dryer that is kept for them.
func TestStartedBeforeTheEndIsKnown(t *testing.T) {
	s := washing(t, nil)
	s.wait(4 * time.Minute)
	s.watts("d3", 300)
	if v := s.room.Snapshot(s.now).Machine("d3"); v.Load == nil || v.Load.Owner != "anna" {
		t.Fatalf("the dryer's load is %+v, want anna's", v.Load)
	}
	if got := s.room.state.Learned.Answers; len(got) != 1 {
		t.Errorf("the answers are %v: nobody knows how long this one took", got)
	}
	s.watts("w1", 1)
	s.wait(time.Minute)
	s.wantTold(TurnCalled, "anna", "anna")
}

// TestNotMyWash: whoever says that the wash was not theirs has no dryer kept for it.
func TestNotMyWash(t *testing.T) {
	s := washing(t, func(p *Plan) { p.Seed.NotMeWithin = 2 * time.Hour })
	s.wait(3 * time.Minute)
	s.wantStatus("d3", Held)
	s.do(NotMe{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wantStatus("d3", Free)
}

// TestDryerBreaksAhead: when the dryer that is kept ahead goes out, another one will do.
func TestDryerBreaksAhead(t *testing.T) {
	s := washing(t, func(p *Plan) {
		d := p.Machines[2]
		d.ID, d.Number = "d4", 4
		p.Machines = append(p.Machines, d)
	})
	s.wait(3 * time.Minute)
	s.do(TakeOut{Machine: "d3"})
	if turn := s.dryerOf("anna"); turn.State != queue.Called || turn.Machine != "d4" {
		t.Fatalf("the turn is %+v, want it called to the other dryer", turn)
	}
	if !s.hasFact(FactTakenBack, byOut) {
		t.Error("no fact says that the first call was taken back")
	}
}

// TestCalledAheadOverARestart: the hold ahead is what it was.
func TestCalledAheadOverARestart(t *testing.T) {
	s := washing(t, nil)
	s.wait(3 * time.Minute)
	s.reopen(time.Minute)
	s.watts("w1", 1)
	if h := s.room.state.Machines[2].Hold; h == nil || h.Ahead || !h.Until.Equal(s.now.Add(10*time.Minute)) {
		t.Fatalf("after the end the hold is %+v", h)
	}
}

// nearing is an engine that a reading brings near the end.
type nearing struct{ *plainEngine }

func (e nearing) Remaining(time.Time) (cycle.Estimate, bool) {
	left := 20 * time.Minute
	if e.S.Last.Watts > 1000 { // spins
		left = 2 * time.Minute
	}
	return cycle.Estimate{Median: left, Low: left, High: left}, e.S.Running
}

// TestReadingBringsTheEndNearer: the dryer is called when a reading shows the end
// to be near, though that reading changes nothing else.
func TestReadingBringsTheEndNearer(t *testing.T) {
	s := newScene(t, nil)
	s.room.engines[0] = nearing{s.room.engines[0].(*plainEngine)}
	s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true})
	s.watts("w1", 300)
	s.wait(10 * time.Minute)
	s.wantStatus("d3", Free)
	s.watts("w1", 2000)
	if due := s.room.Deadline(); due.After(s.now) {
		t.Fatalf("the next deadline is %s, now is %s", due, s.now)
	}
	s.do(Tick{})
	s.wantStatus("d3", Held)
}

// TestDryAfterARunningWash: the owner can still book a dryer while the wash runs.
func TestDryAfterARunningWash(t *testing.T) {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.refused(DryAfter{Machine: "w1", Person: "anna"}, "dry-after.none")
	s.watts("w1", 300)
	s.wait(10 * time.Minute)
	s.refused(DryAfter{Machine: "w1", Person: "ben", Home: "home-ben"}, "dry-after.none")
	id := s.do(DryAfter{Machine: "w1", Person: "anna", Home: "home-anna"}).Turn
	s.refused(DryAfter{Machine: "w1", Person: "anna", Home: "home-anna"}, "dry-after.twice")
	s.wait(48 * time.Minute)
	if turn := s.room.Snapshot(s.now).Turn(id); turn == nil || turn.State != queue.Called {
		t.Fatalf("near the end of the wash the turn is %+v", turn)
	}
	s.do(Leave{Turn: id, Person: "anna"})
	s.watts("w1", 1)
	s.refused(DryAfter{Machine: "w1", Person: "anna", Home: "home-anna"}, "dry-after.ready")
	s.join("ben", queue.Dry)
	s.watts("d3", 300)
	s.refused(DryAfter{Machine: "d3", Person: "ben", Home: "home-ben"}, "dry-after.dryer")
}

// TestDryAfterCountsLikeAnyTurn: a home at its limit books no dryer more.
func TestDryAfterCountsLikeAnyTurn(t *testing.T) {
	s := newScene(t, nil)
	s.watts("w2", 300)
	s.join("anna", queue.Wash)
	s.watts("w1", 300)
	s.join("anna", queue.Wash)
	s.join("anna", queue.Wash)
	s.refused(DryAfter{Machine: "w1", Person: "anna", Home: "home-anna"}, "join.limit")
}

// TestAheadKeepsNoDryerLong: however long washes take, a dryer is never kept
// ahead for longer than the house rules allow: the minutes ahead and one hold.
func TestAheadKeepsNoDryerLong(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := newScene(t, func(p *Plan) {
			p.Seed.DryCallAhead = time.Duration(rapid.IntRange(0, 15).Draw(rt, "ahead")) * time.Minute
		})
		most := s.room.state.Rules.DryCallAhead + s.room.state.Rules.Hold
		s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true})
		s.join("ben", queue.Wash)
		s.watts("w1", 300)
		if rapid.Bool().Draw(rt, "another") {
			s.join("cleo", queue.Dry)
		}
		var kept time.Duration
		for range rapid.IntRange(40, 120).Draw(rt, "minutes") {
			s.wait(time.Minute)
			if h := s.room.state.Machines[2].Hold; h != nil && h.Ahead {
				kept += time.Minute
			}
		}
		if kept > most+time.Minute {
			rt.Fatalf("the dryer was kept ahead for %s, at most %s is allowed", kept, most)
		}
	})
}
