package coordinator

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/queue"
)

// history drives a room with random events, and after each checks what must
// always hold. The room is killed and opened again at random.
type history struct {
	*scene
	people []string
}

// TestRandomHistories holds the room to its invariants over random histories.
func TestRandomHistories(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		h := &history{scene: newScene(t, nil), people: []string{"anna", "ben", "cleo", "dora"}}
		rt.Repeat(map[string]func(*rapid.T){
			"":            func(rt *rapid.T) { h.invariants(rt) },
			"join":        h.randomJoin,
			"turn":        h.randomTurnAct,
			"start":       func(rt *rapid.T) { h.watts(h.machine(rt), 300) },
			"end":         func(rt *rapid.T) { h.watts(h.machine(rt), 1) },
			"cut":         func(rt *rapid.T) { h.watts(h.machine(rt), 0) },
			"at machine":  h.randomMachineAct,
			"wait":        func(rt *rapid.T) { h.wait(time.Duration(rapid.IntRange(1, 90).Draw(rt, "minutes")) * time.Minute) },
			"meters down": h.randomOutage,
			"reopen": func(rt *rapid.T) {
				h.reopen(time.Duration(rapid.IntRange(0, 40).Draw(rt, "down")) * time.Minute)
			},
		})
	})
}

func (h *history) machine(rt *rapid.T) MachineID {
	return rapid.SampledFrom([]MachineID{"w1", "w2", "d3"}).Draw(rt, "machine")
}

func (h *history) person(rt *rapid.T) (PersonID, HomeID) {
	who := rapid.SampledFrom(h.people).Draw(rt, "person")
	return PersonID(who), HomeID("home-" + who)
}

// attempt steps an event; a refusal must be one that a person can read.
func (h *history) attempt(rt *rapid.T, ev Event) {
	if _, err := h.try(ev); err != nil {
		if refusal, ok := err.(*Error); !ok || refusal.Key == "" || refusal.Text == "" {
			rt.Fatalf("%T was refused by %v", ev, err)
		}
	}
}

func (h *history) randomJoin(rt *rapid.T) {
	person, home := h.person(rt)
	need := rapid.SampledFrom([]queue.Need{queue.Wash, queue.Dry}).Draw(rt, "need")
	h.attempt(rt, Join{Person: person, Home: home, Need: need, DryAfter: rapid.Bool().Draw(rt, "dry after")})
}

func (h *history) randomTurnAct(rt *rapid.T) {
	person, home := h.person(rt)
	id := TurnID(rapid.IntRange(0, int(h.room.state.LastTurn)).Draw(rt, "turn"))
	h.attempt(rt, rapid.SampledFrom([]Event{
		Leave{Turn: id, Person: person, Home: home},
		LetNext{Turn: id, Person: person, Home: home},
		NotNow{Turn: id, Person: person, Home: home, Until: h.now.Add(40 * time.Minute)},
		OnMyWay{Turn: id, Person: person, Home: home},
		AtClosing{Turn: id, Person: person, Home: home, Leave: true},
		MovedOut{Person: person}, MovedOut{Person: person, TurnsOnly: true}, Merged{Person: person, Into: "ben", IntoHome: "home-ben"},
	}).Draw(rt, "act"))
}

func (h *history) randomMachineAct(rt *rapid.T) {
	person, home := h.person(rt)
	m := h.machine(rt)
	h.attempt(rt, rapid.SampledFrom([]Event{
		Claim{Machine: m, Person: person, Home: home},
		NotMe{Machine: m, Person: person, Home: home},
		Collect{Machine: m, Person: person, Home: home},
		Collect{Machine: m, OnTable: true},
		StillInside{Machine: m, Person: person, Home: home},
		DryAfter{Machine: m, Person: person, Home: home},
		MoreTime{Machine: m, Person: person, Home: home},
		OfferShare{Machine: m, Person: person, Home: home, Hash: "offer-" + string(m)},
		ShareLoad{Person: person, Home: home, Hash: "offer-" + string(m)},
		Fetched{Load: 2, Person: person, Home: home, Manager: true},
		HoldLonger{Home: home, On: true},
		ReportFault{Machine: m, Person: person, Home: home, Text: "It rattles."},
		TakeOut{Machine: m, Text: "Repair"},
		PutBack{Machine: m},
		ByHand{Machine: m, On: true},
		ByHand{Machine: m, On: false},
		StartByHand{Machine: m, Person: person, Home: home},
		EndByHand{Machine: m},
	}).Draw(rt, "act"))
}

// randomOutage lets no meter be heard for a while.
func (h *history) randomOutage(rt *rapid.T) {
	h.now = h.now.Add(time.Duration(rapid.IntRange(1, 30).Draw(rt, "minutes")) * time.Minute)
	h.do(Tick{})
}

// invariants are what must hold after every step.
func (h *history) invariants(rt *rapid.T) {
	h.holdsAreMutual(rt)
	h.loadsAreInMachines(rt)
	h.deadlinesAreMet(rt)
	h.nobodyWaitsForAnOpenMachine(rt)
	h.snapshotHolds(rt)
	h.encodes(rt)
}

// holdsAreMutual: no machine is held twice, no turn holds two machines, and every hold ends.
func (h *history) holdsAreMutual(rt *rapid.T) {
	held := map[TurnID]MachineID{}
	for i := range h.room.state.Machines {
		m := &h.room.state.Machines[i]
		if m.Hold == nil {
			continue
		}
		if other, twice := held[m.Hold.Turn]; twice {
			rt.Fatalf("turn %d holds %s and %s", m.Hold.Turn, other, m.ID)
		}
		held[m.Hold.Turn] = m.ID
		if m.Running || m.Out {
			rt.Fatalf("machine %s is held, and running %v, out %v", m.ID, m.Running, m.Out)
		}
		if !m.Hold.Until.After(h.now) && !h.room.supplyOut() {
			rt.Fatalf("the hold of %s lapsed at %s, now is %s", m.ID, m.Hold.Until, h.now)
		}
	}
	seen := map[TurnID]bool{}
	for _, t := range h.room.state.Turns {
		if seen[t.ID] {
			rt.Fatalf("turn %d is in the line twice", t.ID)
		}
		seen[t.ID] = true
		if (t.State == queue.Called) != (held[t.ID] != "") || (t.State == queue.Called && held[t.ID] != t.Machine) {
			rt.Fatalf("turn %d is %s for %q, but holds %q", t.ID, t.State, t.Machine, held[t.ID])
		}
	}
}

// loadsAreInMachines: every open load is in exactly one machine, and no other is in one.
func (h *history) loadsAreInMachines(rt *rapid.T) {
	var inside []LoadID
	for _, m := range h.room.state.Machines {
		if m.Load != 0 {
			inside = append(inside, m.Load)
		}
		if m.Running && m.Load == 0 {
			rt.Fatalf("machine %s runs without a load", m.ID)
		}
	}
	var open []LoadID
	for _, l := range h.room.state.Loads {
		open = append(open, l.ID)
	}
	slices.Sort(inside)
	slices.Sort(open)
	if !slices.Equal(inside, open) {
		rt.Fatalf("loads %v are open, but %v are in machines", open, inside)
	}
}

// deadlinesAreMet: nothing that a tick could do is overdue.
func (h *history) deadlinesAreMet(rt *rapid.T) {
	h.do(Tick{})
	if due := h.room.Deadline(); !due.IsZero() && !due.After(h.now) {
		rt.Fatalf("after a tick at %s something is still due at %s", h.now, due)
	}
}

// nobodyWaitsForAnOpenMachine: no eligible turn waits while a machine that it
// can use stands open.
func (h *history) nobodyWaitsForAnOpenMachine(rt *rapid.T) {
	if h.room.supplyOut() {
		return
	}
	house := h.room.house()
	for k := range h.room.state.Turns {
		for i := range h.room.plan.Machines {
			t, m := &h.room.state.Turns[k], &h.room.plan.Machines[i]
			if h.room.open(i, h.now) && t.Eligible(&m.Machine, house, h.now) == queue.Yes {
				rt.Fatalf("turn %d waits although machine %s is open", t.ID, m.ID)
			}
		}
	}
}

// snapshotHolds: what people see agrees with the state.
func (h *history) snapshotHolds(rt *rapid.T) {
	snap := h.foreseen()
	for _, v := range snap.Machines {
		if v.Status == Free && v.Load != nil && !v.MayHoldLoad {
			rt.Fatalf("machine %s is shown free with load %d inside", v.ID, v.Load.ID)
		}
		if v.Status == Free && h.room.mute(h.room.index(v.ID)) {
			rt.Fatalf("machine %s is shown free although its meter is silent", v.ID)
		}
	}
	for _, f := range snap.Forecasts {
		if f.Known && (f.Low.Before(h.now) || f.Median.Before(f.Low) || f.High.Before(f.Median)) {
			rt.Fatalf("forecast out of order: %+v at %s", f, h.now)
		}
	}
}

// encodes: what is stored is what is in memory.
func (h *history) encodes(rt *rapid.T) {
	if h.store.stored.Seq == 0 {
		return
	}
	again, err := Restore(h.room.plan, h.store.stored, newPlain)
	if err != nil {
		rt.Fatal(err)
	}
	// Now moves on with every reading; nothing depends on what is stored of it.
	again.state.Now = h.room.state.Now
	want, _ := json.Marshal(&h.room.state)
	got, _ := json.Marshal(&again.state)
	if !bytes.Equal(want, got) {
		rt.Fatalf("in memory:\n%s\nstored:\n%s", want, got)
	}
}

// TestNoticeKeysDiffer: the same kind of notice about different things, steps
// or people has different keys.
func TestNoticeKeysDiffer(t *testing.T) {
	keys := map[string]string{}
	for _, n := range []Notice{
		{Subject: Subject{Room: "a", Load: 1}, Kind: LoadReady, To: "x"},
		{Subject: Subject{Room: "a", Load: 2}, Kind: LoadReady, To: "x"},
		{Subject: Subject{Room: "b", Load: 1}, Kind: LoadReady, To: "x"},
		{Subject: Subject{Room: "a", Turn: 1}, Kind: LoadReady, To: "x"},
		{Subject: Subject{Room: "a", Machine: "1"}, Kind: LoadReady, To: "x"},
		{Subject: Subject{Room: "a", Load: 1}, Kind: LoadNudge, To: "x"},
		{Subject: Subject{Room: "a", Load: 1}, Kind: LoadReady, Step: 1, To: "x"},
		{Subject: Subject{Room: "a", Load: 1}, Kind: LoadReady, To: "y"},
		{Subject: Subject{Room: "a", Load: 1}, Kind: LoadReady, Role: Managers},
	} {
		if other, twice := keys[n.Key()]; twice {
			t.Errorf("%+v and %s share the key %s", n, other, n.Key())
		}
		keys[n.Key()] = fmt.Sprintf("%+v", n)
	}
}
