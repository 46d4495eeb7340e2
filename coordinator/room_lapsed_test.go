package coordinator

import (
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// lateEngine knows of a start only a minute after it happened, as real ones do.
type lateEngine struct{ plainEngine }

func (e *lateEngine) Read(now time.Time, r cycle.Reading) []cycle.Event {
	if r.Watts > 10 && !e.S.Running {
		if e.Cut.IsZero() {
			e.Cut = r.At
		}
		if r.At.Sub(e.Cut) < time.Minute {
			e.S.Last = r
			return nil
		}
		out := e.plainEngine.Read(now, r)
		for i := range out {
			if out[i].Kind == cycle.Started {
				out[i].Start, e.S.Start = e.Cut, e.Cut
			}
		}
		e.Cut = time.Time{}
		return out
	}
	return e.plainEngine.Read(now, r)
}

func (e *lateEngine) Tick(time.Time) []cycle.Event { return nil }
func (e *lateEngine) Next() time.Time              { return time.Time{} }

// TestStartWithinALapsedHold: a machine that was started while it was held
// counts as the holder's, although the hold had lapsed when the start was known.
func TestStartWithinALapsedHold(t *testing.T) {
	for _, misses := range []int{0, 1} {
		s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:1] })
		s.room.engines[0] = &lateEngine{}
		s.watts("w1", 1)
		s.join("anna", queue.Wash)
		s.room.state.Turns[0].Misses = misses
		s.join("ben", queue.Wash)
		s.now = s.now.Add(9*time.Minute + 30*time.Second)
		s.watts("w1", 300)
		s.now = s.now.Add(time.Minute)
		s.do(Tick{})
		s.wantTold(TurnCalled, "anna", "ben")
		s.now = s.now.Add(10 * time.Second)
		s.watts("w1", 300)
		if l := s.room.Snapshot(s.now).Machine("w1").Load; l == nil || l.Owner != "anna" {
			t.Fatalf("the load is %+v, want anna's", l)
		}
		s.wantTold(TurnReturned, "ben")
		back, forgiven := s.factsOf(FactTakenBack), s.factsOf(FactForgiven)
		if len(back) != 1 || back[0].Person != "ben" || back[0].Note != byLateStart || len(forgiven) != 1 || forgiven[0].Person != "anna" {
			t.Errorf("the facts are %+v and %+v, want ben's call taken back and anna's miss forgiven", back, forgiven)
		}
		if head := s.room.state.Turns[s.room.state.Turns.FirstWaiting(&s.room.plan.Machines[0].Machine)]; head.Person != "ben" {
			t.Fatalf("the head is %s, want ben", head.Person)
		}
		anna := s.room.state.Turns[s.room.state.Turns.Index(1)]
		if anna.State != queue.Started || anna.Misses != misses {
			t.Fatalf("anna's turn is %+v, want started with %d misses", anna, misses)
		}
	}
}

// TestStartAfterALapsedHold: a start after the hold has lapsed is a walk-up.
func TestStartAfterALapsedHold(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:1] })
	s.join("anna", queue.Wash)
	s.wait(11 * time.Minute)
	s.watts("w1", 300)
	if l := s.room.Snapshot(s.now).Machine("w1").Load; l == nil || l.Owner != "" {
		t.Fatalf("the load is %+v, want nobody's", l)
	}
}

// TestCallsAreCountedOn: a turn that was called again before its start became
// known, and is given back after it, is told of the next call too: each has a
// number of its own.
func TestCallsAreCountedOn(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:1] })
	s.join("anna", queue.Wash)
	called := s.now
	s.wait(21 * time.Minute)
	s.wantTold(TurnCalled, "anna", "anna")
	s.now = s.now.Add(time.Second)
	s.room.engines[0].(*plainEngine).S.Running = true
	s.room.hear(0, []cycle.Event{{Kind: cycle.Started, At: s.now, Start: called.Add(9 * time.Minute)}}, s.now)
	s.do(NotMe{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.watts("w1", 1)
	s.do(Collect{Machine: "w1"})
	s.wantTold(TurnCalled, "anna", "anna", "anna")
}
