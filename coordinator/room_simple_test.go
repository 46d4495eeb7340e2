package coordinator

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/queue"
)

// simple is the queue of a room with washers and dryers in the plainest words
// there are: who waits in which order, who is called, what is inside. It knows no
// limits, closing hours, broken meters or regrets.
type simple struct {
	now      time.Time
	line     []*simpleTurn
	machines []*simpleMachine
}

type simpleTurn struct {
	id     TurnID
	need   queue.Need
	misses int
	barred time.Time // not called before, unless another is
	at     *simpleMachine
	lets   []*simpleTurn // go first
}

type simpleMachine struct {
	id         MachineID
	need       queue.Need
	running    bool
	full       bool
	told       time.Time // when its load was done
	heldFor    *simpleTurn
	heldUntil  time.Time
	runningFor time.Time
}

// open: a machine may be called to when it rests, is held for nobody, and is empty or
// its load has been done for three quarters of an hour.
func (s *simple) open(m *simpleMachine) bool {
	return !m.running && m.heldFor == nil && (!m.full || !s.now.Before(m.told.Add(45*time.Minute)))
}

// queue is who waits for the same, in order: as they joined, but for those who must
// let another go first; with t, which is called.
func (s *simple) queue(need queue.Need, with *simpleTurn) []*simpleTurn {
	var left, order []*simpleTurn
	for _, t := range s.line {
		if t.need == need && (t.at == nil || t == with) {
			left = append(left, t)
		}
	}
	for len(left) > 0 {
		i := slices.IndexFunc(left, func(t *simpleTurn) bool {
			return !slices.ContainsFunc(t.lets, func(other *simpleTurn) bool { return slices.Contains(left, other) })
		})
		order = append(order, left[i])
		left = slices.Delete(left, i, i+1)
	}
	return order
}

// call: first come, first served, to an empty machine rather than a full one. A
// call lets those go again who had missed theirs.
func (s *simple) call() {
	for _, t := range append(s.queue(queue.Wash, nil), s.queue(queue.Dry, nil)...) {
		if s.now.Before(t.barred) {
			continue
		}
		var best *simpleMachine
		for _, m := range s.machines {
			if s.open(m) && m.need == t.need && (best == nil || best.full && !m.full) {
				best = m
			}
		}
		if best != nil {
			t.at, t.lets, best.heldFor, best.heldUntil = best, nil, t, s.now.Add(10*time.Minute)
			for _, other := range s.line {
				other.barred = time.Time{}
			}
			s.call()
			return
		}
	}
}

// miss: the first time costs a place among those who wait for the same (the next
// goes first, or who had let this one go first no longer does), and ten minutes, the
// second time the turn.
func (s *simple) miss(m *simpleMachine) {
	t := m.heldFor
	if t.misses++; t.misses == 2 {
		s.leave(t.id)
		return
	}
	order := s.queue(t.need, t)
	m.heldFor, t.at = nil, nil
	t.barred = s.now.Add(10 * time.Minute)
	switch i := slices.Index(order, t) + 1; {
	case i == len(order):
	case order[i].id > t.id:
		t.lets = append(t.lets, order[i])
	default:
		order[i].lets = slices.DeleteFunc(order[i].lets, func(other *simpleTurn) bool { return other == t })
	}
}

// pass lets time pass, each thing at its time.
func (s *simple) pass(to time.Time) {
	for {
		next := to
		for _, m := range s.machines {
			if m.heldFor != nil && m.heldUntil.Before(next) {
				next = m.heldUntil
			}
			if at := m.told.Add(45 * time.Minute); m.full && !m.running && at.After(s.now) && at.Before(next) {
				next = at
			}
		}
		for _, t := range s.line {
			if t.barred.After(s.now) && t.barred.Before(next) {
				next = t.barred
			}
		}
		s.now = next
		for _, m := range s.machines {
			if m.heldFor != nil && !m.heldUntil.After(s.now) {
				s.miss(m)
			}
		}
		s.call()
		if !next.Before(to) {
			return
		}
	}
}

// start: whoever starts a held machine is the one it is held for; what was in it goes.
func (s *simple) start(m *simpleMachine) {
	if t := m.heldFor; t != nil {
		s.leave(t.id)
	}
	m.running, m.full, m.runningFor = true, true, s.now
}

func (s *simple) leave(id TurnID) {
	s.line = slices.DeleteFunc(s.line, func(t *simpleTurn) bool {
		if t.id == id && t.at != nil {
			t.at.heldFor = nil
		}
		return t.id == id
	})
}

// String is who stands where, and what machines do.
func (s *simple) String() string {
	var b strings.Builder
	for _, t := range append(s.queue(queue.Wash, nil), s.queue(queue.Dry, nil)...) {
		fmt.Fprintf(&b, "%d %s; ", t.id, t.need)
	}
	for _, t := range s.line {
		if t.at != nil {
			fmt.Fprintf(&b, "%d %s at %s until %s; ", t.id, t.need, t.at.id, t.at.heldUntil.Format("15:04:05.000"))
		}
	}
	for _, m := range s.machines {
		fmt.Fprintf(&b, "%s running %v, full %v; ", m.id, m.running, m.full)
	}
	return b.String()
}

// seen is the same of a real room.
func seen(r *Room) string {
	var b strings.Builder
	for _, need := range []queue.Need{queue.Wash, queue.Dry} {
		waiting := map[int]TurnID{}
		for i, t := range r.state.Turns {
			if t.State == queue.Waiting && t.Need == need {
				waiting[r.state.Turns.Place(i)] = t.ID
			}
		}
		for place := 1; place <= len(waiting); place++ {
			fmt.Fprintf(&b, "%d %s; ", waiting[place], need)
		}
	}
	for _, t := range r.state.Turns {
		if t.State == queue.Called {
			fmt.Fprintf(&b, "%d %s at %s until %s; ", t.ID, t.Need, t.Machine, t.HoldUntil.Format("15:04:05.000"))
		}
	}
	for _, m := range r.state.Machines {
		fmt.Fprintf(&b, "%s running %v, full %v; ", m.ID, m.Running, m.Load != 0)
	}
	return b.String()
}

// TestRoomAgainstSimple: over random days of washers and dryers, the room does
// what the simple queue does.
func TestRoomAgainstSimple(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := newScene(t, func(p *Plan) { p.Seed.Limits = queue.Limits{TurnsPerHome: 100, LoadsPerHome: 100} })
		m := &simple{now: s.now, machines: []*simpleMachine{{id: "w1", need: queue.Wash}, {id: "w2", need: queue.Wash}, {id: "d3", need: queue.Dry}}}
		machine := func() *simpleMachine { return m.machines[rapid.IntRange(0, 2).Draw(rt, "machine")] }
		join := func(rt *rapid.T) {
			need := queue.Need(rapid.IntRange(1, 2).Draw(rt, "need"))
			m.line = append(m.line, &simpleTurn{id: s.join("anna", need), need: need})
			m.call()
		}
		rt.Repeat(map[string]func(*rapid.T){
			"join": join, "join too": join,
			"leave": func(rt *rapid.T) {
				if len(m.line) > 0 {
					id := rapid.SampledFrom(m.line).Draw(rt, "turn").id
					s.do(Leave{Turn: id, Person: "anna"})
					m.leave(id)
					m.call()
				}
			},
			"start": func(*rapid.T) {
				if d := machine(); !d.running {
					s.watts(d.id, 300)
					m.pass(s.now)
					m.start(d)
					m.call()
				}
			},
			"end": func(*rapid.T) {
				if d := machine(); d.running && s.now.Sub(d.runningFor) >= 20*time.Minute {
					s.watts(d.id, 1)
					m.pass(s.now)
					d.running, d.told = false, s.now
					m.call()
				}
			},
			"collect": func(*rapid.T) {
				if d := machine(); d.full && !d.running {
					s.do(Collect{Machine: d.id})
					d.full = false
					m.call()
				}
			},
			"pass": func(rt *rapid.T) {
				s.wait(time.Duration(rapid.IntRange(1, 70).Draw(rt, "minutes")) * time.Minute)
				m.pass(s.now)
			},
			"": func(rt *rapid.T) {
				if got, want := seen(s.room), m.String(); got != want {
					rt.Fatalf("at %s\nthe room:   %s\nthe simple: %s", s.now.Format("15:04:05.000"), got, want)
				}
			},
		})
	})
}
