package coordinator

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"drumturn/queue"
)

// callsAreRight judges every call of a set: the machine could be used, the house
// was open, the home was within its limit, and nobody ahead could have had it.
func (a *anything) callsAreRight(set ChangeSet) {
	for _, f := range set.Facts {
		if f.Kind != FactCalled {
			continue
		}
		rules := &a.room.state.Rules
		t := a.room.state.Turns.Index(f.Turn)
		if t < 0 {
			continue // called, and gone again, in one step
		}
		need := a.room.state.Turns[t].Need
		if !rules.Hours.MayStart(set.At, a.room.state.Learned.typical(need), a.room.zone()) {
			a.rt.Fatalf("turn %d was called at %s, when no start is allowed", f.Turn, set.At)
		}
		if i := a.room.index(f.Machine); a.room.mute(i) || a.room.state.Machines[i].Out {
			a.rt.Fatalf("turn %d was called to %s, of which nothing is known or which is out", f.Turn, f.Machine)
		}
		if n := a.using(f.Home); n > rules.Limits.LoadsPerHome {
			a.rt.Fatalf("%s was called, and uses %d of %d machines", f.Home, n, rules.Limits.LoadsPerHome)
		}
		a.nobodyAhead(set, f)
	}
}

// using counts the loads that keep others from a machine, and the calls, of a home;
// not a load that is about to be carried to the dryer that its home is called to.
func (a *anything) using(home HomeID) int {
	n, carried := 0, map[uint64]bool{}
	for _, t := range a.room.state.Turns {
		carried[t.Carries] = carried[t.Carries] || t.State == queue.Called
	}
	for _, l := range a.room.state.Loads {
		left := l.Ready() && (l.AssumedEmpty || !a.leftAt(&l).After(a.room.state.Now))
		if l.Home == home && !left && !carried[uint64(l.ID)] {
			n++
		}
	}
	for _, t := range a.room.state.Turns {
		if t.Home == home && t.State == queue.Called {
			n++
		}
	}
	return n
}

// nobodyAhead: whoever stands before a called turn and still waits may not be
// called to that machine (not as the room was before the set, or not as it is after
// it: what changed in between may have changed after the call) or lets somebody go
// first who may be, or is called.
func (a *anything) nobodyAhead(set ChangeSet, called Fact) {
	m := &a.plan.Machines[a.room.index(called.Machine)].Machine
	house := a.room.house()
	for _, t := range a.room.state.Turns {
		if t.ID == called.Turn {
			return
		}
		if wrote(set, t.ID, FactMissed, "") || wrote(set, t.ID, FactTakenBack, byLongerWash) {
			continue
		}
		could := true
		if k := a.before.Index(t.ID); k >= 0 {
			t.Recall = a.before[k].Recall
			could = a.before[k].State != queue.Waiting || a.before[k].Eligible(m, a.house, set.At) == queue.Yes
		}
		if could && t.Eligible(m, house, set.At) == queue.Yes && !a.letsSomebody(set, &t, m, house) {
			a.rt.Fatalf("turn %d was called to %s before turn %d:\n%s%s", called.Turn, m.ID, t.ID, a.verdicts(house), facts(set))
		}
	}
}

// letsSomebody reports whether a turn lets another go first to a machine, whose home may
// have been within its limit at the call.
func (a *anything) letsSomebody(set ChangeSet, t *queue.Turn, m *queue.Machine, house *queue.House) bool {
	ways, unlimited := t.Ways, *house
	unlimited.Limits.LoadsPerHome = 0
	if k := a.before.Index(t.ID); k >= 0 {
		ways = append(slices.Clone(ways), a.before[k].Ways...)
	}
	return slices.ContainsFunc(ways, func(w queue.Way) bool {
		called := slices.ContainsFunc(set.Facts, func(f Fact) bool { return f.Turn == w.To && f.Kind == FactCalled })
		k := a.before.Index(w.To)
		could := k >= 0 && a.before[k].Eligible(m, a.house, set.At) == queue.Yes
		k = a.room.state.Turns.Index(w.To)
		return called || could || k >= 0 && a.room.state.Turns[k].Eligible(m, &unlimited, set.At) == queue.Yes
	})
}

// wrote reports whether a set has a fact of a kind about a turn.
func wrote(set ChangeSet, id TurnID, kind FactKind, note string) bool {
	return slices.ContainsFunc(set.Facts, func(f Fact) bool { return f.Turn == id && f.Kind == kind && f.Note == note })
}

// facts lists what a set says happened, for whom a test fails.
func facts(set ChangeSet) string {
	var b strings.Builder
	for _, f := range set.Facts {
		fmt.Fprintf(&b, "%s %s %s turn %d load %d %s%s\n", f.At.Format("15:04:05.000"), f.Kind, f.Machine, f.Turn, f.Load, f.Note, f.Why)
	}
	return b.String()
}

// orderIsKept: the line stays in its order, but that a call or start which was taken
// back stands at the head, for which the same set stores a fact. Whoever lets
// another go first lets one more at a time, one who stands behind, and a fact says why.
func (a *anything) orderIsKept(set ChangeSet) {
	line := a.room.state.Turns
	for j := range line {
		for i := range j {
			was, ahead := a.before.Index(line[i].ID), a.before.Index(line[j].ID)
			if was < 0 || ahead < 0 || was < ahead || line[i].State == queue.Started {
				continue // one of them is new, or the order is as it was, or waits no more
			}
			if !a.returned(set, line[i].ID) {
				a.rt.Fatalf("turn %d went before turn %d:\n%s", line[i].ID, line[j].ID, facts(set))
			}
		}
		a.waysAreRight(set, j)
	}
}

// returned reports whether a set takes a call or start of a turn back.
func (a *anything) returned(set ChangeSet, id TurnID) bool {
	for _, f := range set.Facts {
		switch {
		case f.Turn != id:
		case f.Kind == FactNotMine || f.Kind == FactTestRun:
			a.did["overtook: start taken back"]++
			return true
		case f.Kind == FactTakenBack && f.Note != byLongerWash:
			a.did["overtook: call taken back"]++
			return true
		}
	}
	return false
}

// waysAreRight judges whom turn j lets go first.
func (a *anything) waysAreRight(set ChangeSet, j int) {
	line := a.room.state.Turns
	t := &line[j]
	var old []queue.Way
	if k := a.before.Index(t.ID); k >= 0 {
		old = a.before[k].Ways
	}
	fresh := 0
	for _, w := range t.Ways {
		k := line.Index(w.To)
		if k <= j || t.State == queue.Called || t.State == queue.Started {
			a.rt.Fatalf("turn %d, %s, lets turn %d go first, which is at %d", t.ID, t.State, w.To, k)
		}
		if slices.Contains(old, w) {
			continue
		}
		fresh++
		fact, note := FactMissed, ""
		if w.Why == queue.OverLetNext {
			fact, note = FactPassed, "let the next one go first"
		}
		if !wrote(set, t.ID, fact, note) || fresh > 1 || w.Why == queue.OverMissed && line[k].Need != t.Need {
			a.rt.Fatalf("turn %d lets turn %d go first (%s):\n%s", t.ID, w.To, w.Why, facts(set))
		}
		a.did["overtook: "+map[queue.Overtaking]string{queue.OverMissed: "missed", queue.OverLetNext: "let next"}[w.Why]]++
	}
}

// nobodyEverTapsAgain lets whatever runs come to an end, and nobody do anything
// any more: everybody who waits is called or gone, and nothing is held.
func (a *anything) nobodyEverTapsAgain() {
	a.calm = true
	for _, m := range a.plan.Machines {
		a.step(PutBack{Machine: m.ID})
		a.step(ByHand{Machine: m.ID, On: m.Meter == ""})
		a.power(m.ID, 1)
	}
	active := func() bool {
		return slices.ContainsFunc(a.room.state.Turns, func(t queue.Turn) bool { return t.State != queue.Started && a.canEverStart(t.Need) })
	}
	for end := a.now.Add(5 * 24 * time.Hour); active() && a.now.Before(end); {
		a.pass(time.Hour)
	}
	if active() {
		a.rt.Fatalf("nobody taps, and for ever they wait:\n%s", a.verdicts(a.room.house()))
	}
}

// canEverStart reports whether a day of the week is long enough for a load, as
// long as the room has learned that they are.
func (a *anything) canEverStart(need queue.Need) bool {
	h := a.room.state.Rules.Hours
	return !h.NextOpening(a.room.state.Now, a.room.state.Learned.typical(need), a.room.zone()).IsZero() || h == queue.AlwaysOpen()
}
