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

// using counts the loads that keep others from a machine, and the calls, of a home.
func (a *anything) using(home HomeID) int {
	n := 0
	for _, l := range a.room.state.Loads {
		left := l.Ready() && (l.AssumedEmpty || !a.leftAt(&l).After(a.room.state.Now))
		if l.Home == home && !left {
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
// called to that machine: not as the room was before the set, or not as it is after
// it. What changed in between may have changed after the call.
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
		if could && t.Eligible(m, house, set.At) == queue.Yes {
			a.rt.Fatalf("turn %d was called to %s before turn %d:\n%s%s", called.Turn, m.ID, t.ID, a.verdicts(house), facts(set))
		}
	}
}

// wrote reports whether a set has a fact of a kind about a turn.
func wrote(set ChangeSet, id TurnID, kind FactKind, note string) bool {
	return slices.ContainsFunc(set.Facts, func(f Fact) bool { return f.Turn == id && f.Kind == kind && f.Note == note })
}

// facts lists what a set says happened, for whom a test fails.
func facts(set ChangeSet) string {
	var b strings.Builder
	for _, f := range set.Facts {
		fmt.Fprintf(&b, "%s %s %s turn %d load %d %s\n", f.At.Format("15:04:05.000"), f.Kind, f.Machine, f.Turn, f.Load, f.Note)
	}
	return b.String()
}

// orderIsKept: whoever was before another in the line still is, but for the
// written reasons, of which the same set stores a fact: a missed call, letting the
// next go first, and a call or start that was taken back. A missed call costs one place among turns of the same kind.
func (a *anything) orderIsKept(set ChangeSet) {
	line := a.room.state.Turns
	for j := range line {
		cost := 0
		for i := range j {
			was, ahead := a.before.Index(line[i].ID), a.before.Index(line[j].ID)
			if was < 0 || ahead < 0 || was < ahead || line[i].State == queue.Started {
				continue // one of them is new, or the order is as it was, or waits no more
			}
			reason := a.overtook(set, &line[i], &line[j])
			a.did["overtook: "+reason]++
			waited := a.before[was].State == queue.Waiting // one that is called has had its machine
			if reason == "missed" && waited && line[i].Need == line[j].Need {
				cost++
			}
			if reason == "" || cost > 1 {
				a.rt.Fatalf("turn %d went before turn %d (%q):\n%s", line[i].ID, line[j].ID, reason, facts(set))
			}
		}
	}
}

// overtook names why first is now before second; empty for no written reason.
func (a *anything) overtook(set ChangeSet, first, second *queue.Turn) string {
	for _, f := range set.Facts {
		switch {
		case f.Turn == second.ID && f.Kind == FactPassed && f.Note == "let the next one go first":
			return "let next"
		case f.Turn == first.ID && (f.Kind == FactNotMine || f.Kind == FactTestRun):
			return "start taken back"
		case f.Turn == first.ID && f.Kind == FactTakenBack && f.Note != byLongerWash:
			return "call taken back"
		}
	}
	if wrote(set, second.ID, FactMissed, "") {
		return "missed"
	}
	return ""
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
