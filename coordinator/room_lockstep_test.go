package coordinator

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// twins are two rooms that are told the same: one is never closed, the other is
// opened again, from what was committed, after every step.
type twins struct {
	open, reopened *Room
	store          Stored
	now            time.Time
	watts          map[MachineID]float64
	// gone are the loads that were collected; what may be told about them later
	// is only that, until an owner contradicts.
	gone map[LoadID]bool
}

func newTwins() *twins {
	w := &twins{now: noon, watts: map[MachineID]float64{}, gone: map[LoadID]bool{}}
	w.open, w.reopened = NewRoom(testPlan(), newPlain), NewRoom(testPlan(), newPlain)
	return w
}

// commit stores what a step of the reopened room gave.
func (w *twins) commit(rt *rapid.T, set ChangeSet) {
	if !set.Moves() {
		return
	}
	if set.Expect != w.store.Seq {
		rt.Fatalf("a set expects %d, the store is at %d", set.Expect, w.store.Seq)
	}
	w.store.Seq++
	w.store.At = set.At
	w.store.Rows = putRows(w.store.Rows, set.Rows)
	for _, c := range set.Checkpoints {
		w.store.Checkpoints = append(deleteCheckpoint(w.store.Checkpoints, c.Machine), c)
		w.store.Tail = slices.DeleteFunc(w.store.Tail, func(m MachineReading) bool {
			return m.Machine == c.Machine && !m.At.After(c.At)
		})
	}
}

// step tells both rooms the same, lets what fell due meanwhile take effect, and
// opens the second one again.
func (w *twins) step(rt *rapid.T, ev Event) {
	w.tell(rt, ev)
	w.tell(rt, Tick{})
	again, err := Restore(testPlan(), w.store, newPlain)
	if err != nil {
		rt.Fatal(err)
	}
	// Standby power is seen again within minutes, and is not stored.
	copy(again.glows, w.reopened.glows)
	w.reopened = again
	set, _, err := again.Step(w.now, Reopened{Since: w.now})
	if err != nil || set.Moves() {
		rt.Fatalf("after %T, opening again changes %+v: %v", ev, set.Facts, err)
	}
	w.same(rt, ev, foreseen(w.open, w.now), foreseen(again, w.now))
	if a, b := w.open.Deadline(), again.Deadline(); !a.Equal(b) || (!a.IsZero() && !a.After(w.now)) {
		rt.Fatalf("after %T at %s the open room waits for %s, the reopened one for %s", ev, w.now, a, b)
	}
}

// tell steps both rooms and compares what they give.
func (w *twins) tell(rt *rapid.T, ev Event) {
	a, _, errA := w.open.Step(w.now, ev)
	b, _, errB := w.reopened.Step(w.now, ev)
	if (errA == nil) != (errB == nil) || (errA != nil && errA.Error() != errB.Error()) {
		rt.Fatalf("%T: the open room answers %v, the reopened one %v", ev, errA, errB)
	}
	w.same(rt, ev, a.Notices, b.Notices)
	w.same(rt, ev, a.Withdraw, b.Withdraw)
	byKind := func(a, b Fact) int {
		return strings.Compare(string(a.Kind)+string(a.Machine), string(b.Kind)+string(b.Machine))
	}
	slices.SortStableFunc(a.Facts, byKind)
	slices.SortStableFunc(b.Facts, byKind)
	w.same(rt, ev, a.Facts, b.Facts)
	w.commit(rt, b)
	if m, ok := ev.(Measured); ok && len(b.Checkpoints) == 0 {
		w.store.Tail = append(w.store.Tail, MachineReading{Machine: m.Machine, Reading: m.Reading})
	}
	w.quietAboutTheGone(rt, a)
}

func (w *twins) same(rt *rapid.T, ev Event, a, b any) {
	x, errA := json.Marshal(a)
	y, errB := json.Marshal(b)
	if errA != nil || errB != nil || string(x) != string(y) {
		rt.Fatalf("after %T %+v at %s\nopen:     %s %v\nreopened: %s %v", ev, ev, w.now, x, errA, y, errB)
	}
}

// quietAboutTheGone: nothing is told about a load once it is collected, but
// that somebody took or moved it.
func (w *twins) quietAboutTheGone(rt *rapid.T, set ChangeSet) {
	for _, f := range set.Facts {
		switch f.Kind {
		case FactCollected:
			w.gone[f.Load] = true
		case FactStillIn:
			delete(w.gone, f.Load)
		}
	}
	for _, n := range set.Notices {
		if w.gone[n.Subject.Load] && n.Kind != LoadTaken && n.Kind != LoadMoved && n.Reason != onTable {
			rt.Fatalf("%s was told although load %d is collected", n.Kind, n.Subject.Load)
		}
	}
}

// measure reads a machine's power; 0 W of a machine at rest says nothing new.
func (w *twins) measure(rt *rapid.T, id MachineID, watts float64) {
	w.now = w.now.Add(time.Second)
	w.watts[id] = watts
	w.step(rt, Measured{Machine: id, Reading: cycle.Power(w.now, watts)})
}

// pass lets minutes pass, with all meters heard and every deadline met.
func (w *twins) pass(rt *rapid.T, minutes int) {
	for range minutes {
		w.now = w.now.Add(time.Minute)
		w.step(rt, Tick{})
		for _, id := range []MachineID{"w1", "w2", "d3"} {
			if watts, ok := w.watts[id]; ok {
				w.measure(rt, id, watts)
			}
		}
	}
}

// act lets somebody do something.
func (w *twins) act(rt *rapid.T) {
	who := rapid.SampledFrom([]string{"anna", "ben", "cleo"}).Draw(rt, "who")
	person, home := PersonID(who), HomeID("home-"+who)
	id := rapid.SampledFrom([]MachineID{"w1", "w2", "d3"}).Draw(rt, "machine")
	turn := TurnID(rapid.IntRange(1, 1+int(w.open.state.LastTurn)).Draw(rt, "turn"))
	w.step(rt, rapid.SampledFrom([]Event{
		Join{Person: person, Home: home, Need: queue.Wash, DryAfter: true},
		Join{Person: person, Home: home, Need: queue.Dry},
		Join{Person: person, Home: home, Need: queue.Wash},
		Leave{Turn: turn, Person: person, Home: home},
		LetNext{Turn: turn, Person: person, Home: home},
		NotNow{Turn: turn, Person: person, Home: home, Until: w.now.Add(20 * time.Minute)},
		Claim{Machine: id, Person: person, Home: home},
		NotMe{Machine: id, Person: person, Home: home},
		Collect{Machine: id, Person: person, Home: home},
		StillInside{Machine: id, Person: person, Home: home},
		DryAfter{Machine: id, Person: person, Home: home},
		Collect{Machine: id, Person: person, Home: home, OnTable: true},
		OfferShare{Machine: id, Person: person, Home: home, Hash: "a"},
		ShareLoad{Hash: "a", Person: person, Home: home},
		Fetched{Load: 1, Person: person, Home: home},
		OnMyWay{Turn: turn, Person: person, Home: home},
		HoldLonger{Home: home, On: true},
		TakeOut{Machine: id}, PutBack{Machine: id},
		MovedOut{Person: person},
	}).Draw(rt, "act"))
}

// TestReopenedBetweenAnyTwoSteps: a room that is closed and opened again after
// every step, however the steps come, cannot be told from one that never was.
func TestReopenedBetweenAnyTwoSteps(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := newTwins()
		for range rapid.IntRange(3, 25).Draw(rt, "steps") {
			switch rapid.IntRange(0, 4).Draw(rt, "what") {
			case 0, 1:
				w.act(rt)
			case 2:
				watts := rapid.SampledFrom([]float64{1, 0, 300, 2000}).Draw(rt, "watts")
				w.measure(rt, rapid.SampledFrom([]MachineID{"w1", "w2", "d3"}).Draw(rt, "machine"), watts)
			case 3:
				w.pass(rt, rapid.IntRange(1, 15).Draw(rt, "minutes"))
			case 4: // no meter is heard
				w.now = w.now.Add(time.Duration(rapid.IntRange(1, 30).Draw(rt, "deaf")) * time.Minute)
				w.step(rt, Tick{})
			}
		}
	})
}

// TestNobodyWaitsForEver: though nobody ever taps, every turn is called, while
// the machines that others started by walking up come to an end.
func TestNobodyWaitsForEver(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := newScene(t, nil)
		n := rapid.IntRange(1, 6).Draw(rt, "turns")
		for i := range n {
			s.join(string(rune('a'+i)), rapid.SampledFrom([]queue.Need{queue.Wash, queue.Dry}).Draw(rt, "need"))
			if id := rapid.SampledFrom([]MachineID{"", "w1", "w2", "d3"}).Draw(rt, "walk-up"); id != "" {
				s.watts(id, 300)
				s.wait(time.Duration(rapid.IntRange(1, 40).Draw(rt, "minutes")) * time.Minute)
			}
		}
		s.wait(time.Hour)
		for _, m := range s.room.plan.Machines {
			s.watts(m.ID, 1)
		}
		s.wait(6 * time.Hour)
		called := map[TurnID]bool{}
		for _, f := range s.facts {
			called[f.Turn] = called[f.Turn] || f.Kind == FactCalled
		}
		for id := TurnID(1); int(id) <= n; id++ {
			if !called[id] {
				rt.Fatalf("turn %d of %d was never called", id, n)
			}
		}
		if left := len(s.room.state.Turns); left > n {
			rt.Fatalf("%d turns are left", left)
		}
	})
}
