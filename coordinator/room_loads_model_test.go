package coordinator

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/queue"
)

// loadHistory is a history of what people do with loads: short runs, doors,
// more time, faults, starts out of turn; two of them live together.
type loadHistory struct {
	*history
	// still is until when the ladder of a load must stand still: its owner asked.
	still map[LoadID]asked
	seen  int // notices looked at
}

type asked struct{ from, until time.Time }

// TestRandomLoads holds loads to what must always be true of them.
func TestRandomLoads(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		plan := func(p *Plan) {
			p.Machines[1].Kind = queue.WasherDryer
			p.Seed.WalkUps = rapid.SampledFrom([]Manner{Allowed, Tolerated, Reported}).Draw(rt, "walk-ups")
			p.Seed.MoreTimeWaiting = rapid.SampledFrom([]time.Duration{0, 5 * time.Minute}).Draw(rt, "more, waiting")
			p.Seed.NotMeWithin = rapid.SampledFrom([]time.Duration{0, 15 * time.Minute}).Draw(rt, "not me")
		}
		h := &loadHistory{
			history: &history{scene: newScene(t, plan), people: []string{"anna", "ben", "cleo"}},
			still:   map[LoadID]asked{},
		}
		rt.Repeat(map[string]func(*rapid.T){
			"":           func(rt *rapid.T) { h.check(rt) },
			"join":       h.randomJoin,
			"start":      func(rt *rapid.T) { h.watts(h.machine(rt), 300) },
			"end":        func(rt *rapid.T) { h.watts(h.machine(rt), 1) },
			"short run":  h.shortRun,
			"door":       h.randomDoor,
			"at machine": h.randomMachineAct,
			"load":       h.randomLoadAct,
			"turn":       h.randomTurnAct,
			"wait":       func(rt *rapid.T) { h.wait(time.Duration(rapid.IntRange(1, 70).Draw(rt, "minutes")) * time.Minute) },
			"days":       func(rt *rapid.T) { h.wait(time.Duration(rapid.IntRange(10, 30).Draw(rt, "hours")) * time.Hour) },
			"reopen":     func(rt *rapid.T) { h.reopen(time.Duration(rapid.IntRange(0, 40).Draw(rt, "down")) * time.Minute) },
		})
	})
}

// person is one of three homes; anna has a flatmate.
func (h *loadHistory) person(rt *rapid.T) (PersonID, HomeID) {
	who, home := h.history.person(rt)
	if who == "anna" && rapid.Bool().Draw(rt, "flatmate") {
		who = "flatmate"
	}
	return who, home
}

func (h *loadHistory) shortRun(rt *rapid.T) {
	id := h.machine(rt)
	h.watts(id, 300)
	h.wait(time.Duration(rapid.IntRange(1, 8).Draw(rt, "minutes")) * time.Minute)
	h.watts(id, 1)
}

func (h *loadHistory) randomDoor(rt *rapid.T) {
	h.attempt(rt, Door{Machine: h.machine(rt), Open: rapid.Bool().Draw(rt, "open")})
}

func (h *loadHistory) randomLoadAct(rt *rapid.T) {
	person, home := h.person(rt)
	m := h.machine(rt)
	if rapid.Bool().Draw(rt, "more time") {
		reply, err := h.try(MoreTime{Machine: m, Person: person, Home: home})
		if err == nil {
			h.still[reply.Load] = asked{h.now, h.room.load(reply.Load).MoreUntil}
		}
		return
	}
	h.attempt(rt, rapid.SampledFrom([]Event{
		Claim{Machine: m, Person: person, Home: home},
		Collect{Machine: m, Person: person, Home: home},
		NotMe{Machine: m, Person: person, Home: home},
		StillInside{Machine: m, Person: person, Home: home},
		ReportFault{Machine: m, Person: person, Home: home, Text: "It rattles."},
		ReportFault{Machine: m, Text: "It hums."},
	}).Draw(rt, "act"))
}

func (h *loadHistory) check(rt *rapid.T) {
	h.invariants(rt)
	h.nothingUnsentAboutTheCollected(rt)
	h.laddersStoodStill(rt)
	h.reportedByTwoHomesIsOut(rt)
	h.startedTurnsHaveLoads(rt)
	h.outOfTurnNamesNobody(rt)
}

// nothingUnsentAboutTheCollected: no notice waits to be sent about a load that
// was collected, but those that say so, or that it lies on the table for days.
func (h *loadHistory) nothingUnsentAboutTheCollected(rt *rapid.T) {
	for key, n := range h.unsent {
		says := n.Kind == LoadTaken || n.Kind == LoadMoved || n.Reason == onTable
		if n.Subject.Load != 0 && !says && h.room.load(n.Subject.Load) == nil {
			rt.Fatalf("%s is still to be sent, the load is collected", key)
		}
	}
}

// laddersStoodStill: no step of the ladder is told while the time lasts that the
// owner asked for.
func (h *loadHistory) laddersStoodStill(rt *rapid.T) {
	for _, n := range h.notices[h.seen:] {
		a := h.still[n.Subject.Load]
		step := n.Kind == LoadNudge || n.Kind == LoadWaiting || n.Kind == LoadLeft
		again := h.room.load(n.Subject.Load) != nil && h.room.load(n.Subject.Load).MoreUntil.IsZero()
		if step && !again && n.Made.After(a.from) && n.Made.Before(a.until) {
			rt.Fatalf("%s was told at %s; the owner had time from %s until %s", n.Key(), n.Made, a.from, a.until)
		}
	}
	h.seen = len(h.notices)
}

func (h *loadHistory) reportedByTwoHomesIsOut(rt *rapid.T) {
	for _, m := range h.room.state.Machines {
		homes := map[HomeID]bool{}
		for _, f := range m.Faults {
			homes[f.Home] = true
		}
		delete(homes, "")
		if len(homes) >= 2 && !m.Out {
			rt.Fatalf("machine %s is in service, reported by %d homes", m.ID, len(homes))
		}
		if len(m.Faults) > 10 {
			rt.Fatalf("machine %s keeps %d reports", m.ID, len(m.Faults))
		}
	}
}

// startedTurnsHaveLoads: a turn is used up by exactly one load, or waits.
func (h *loadHistory) startedTurnsHaveLoads(rt *rapid.T) {
	used := map[TurnID]int{}
	for _, l := range h.room.state.Loads {
		if l.Turn != 0 {
			used[l.Turn]++
		}
	}
	for _, t := range h.room.state.Turns {
		if want := map[bool]int{true: 1}[t.State == queue.Started]; used[t.ID] != want {
			rt.Fatalf("turn %d of %s is %s and used by %d loads: %+v", t.ID, t.Person, t.State, used[t.ID], h.room.state.Loads)
		}
		behind := LoadID(t.Behind)
		if behind != 0 && h.room.load(behind) == nil {
			rt.Fatalf("turn %d waits behind load %d, which is gone", t.ID, behind)
		}
	}
}

// outOfTurnNamesNobody: neither the facts nor the notices about starts out of
// turn say who it was.
func (h *loadHistory) outOfTurnNamesNobody(rt *rapid.T) {
	for _, f := range h.facts {
		if f.Kind == FactOvertook && (f.Person != "" || f.Home != "" || f.Turn != 0) {
			rt.Fatalf("%+v names somebody", f)
		}
	}
	for _, n := range h.notices {
		if n.Kind == WalkUpTold && (h.room.state.Rules.WalkUps != Reported || n.To != "" || n.Role != Managers) {
			rt.Fatalf("%s: the house says %s", n.Key(), h.room.state.Rules.WalkUps)
		}
		if n.Kind == TurnPassed && h.room.state.Rules.WalkUps == Allowed {
			rt.Fatalf("%s: the house allows walk-ups", n.Key())
		}
	}
	if i := slices.IndexFunc(h.room.state.Loads, func(l Load) bool { return l.Past != 0 && l.PastSince.IsZero() }); i >= 0 {
		rt.Fatalf("%+v is out of turn since never", h.room.state.Loads[i])
	}
}
