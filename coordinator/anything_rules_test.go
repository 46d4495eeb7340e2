package coordinator

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"drumturn/queue"
)

// mustHold checks what must hold after every step, whatever happened in it.
func (a *anything) mustHold(set ChangeSet) {
	a.holds()
	a.loads()
	a.onTheShelf()
	a.nothingDue()
	snap := a.room.Snapshot(a.now)
	a.nobodyWaitsBesideAFreeMachine(snap)
	a.board(snap)
	a.callsAreRight(set)
	a.orderIsKept(set)
	a.quietAboutTheGone(set)
	a.noticesAreWhole(set)
	a.assumed(set)
	a.versionsAreKept()
}

// versionsAreKept: the rules in force are the newest version, each number is one
// version, one after the other.
func (a *anything) versionsAreKept() {
	all := a.room.versions
	if len(all) == 0 {
		return // killed before its founding was stored
	}
	for i := 1; i < len(all); i++ {
		if all[i].Version != all[i-1].Version+1 || all[i].At.Before(all[i-1].At) {
			a.rt.Fatalf("version %d of %s comes after version %d of %s", all[i].Version, all[i].At, all[i-1].Version, all[i-1].At)
		}
	}
	newest := all[len(all)-1]
	if newest.Version != a.room.state.RulesVersion || len(newest.Rules.ChangedTo(&a.room.state.Rules)) > 0 {
		a.rt.Fatalf("version %d is the newest, in force is %d, which is other: %+v", newest.Version, a.room.state.RulesVersion, newest.Rules.ChangedTo(&a.room.state.Rules))
	}
}

// holds: no machine is held twice, no turn holds two, and every hold will end.
func (a *anything) holds() {
	held := map[TurnID]MachineID{}
	for i := range a.room.state.Machines {
		m := &a.room.state.Machines[i]
		if m.Hold == nil {
			continue
		}
		t := a.room.holder(i)
		switch {
		case held[m.Hold.Turn] != "":
			a.rt.Fatalf("turn %d holds %s and %s", m.Hold.Turn, held[m.Hold.Turn], m.ID)
		case t == nil || t.State != queue.Called || t.Machine != m.ID || !t.HoldUntil.Equal(m.Hold.Until):
			a.rt.Fatalf("machine %s is held by %+v for %+v", m.ID, m.Hold, t)
		case m.Running || m.Out:
			a.rt.Fatalf("machine %s is held, and running %v, out %v", m.ID, m.Running, m.Out)
		case m.Hold.OnWay != !t.OnWay.IsZero() || t.OnWay.After(a.room.state.Now):
			a.rt.Fatalf("who holds %s is on the way: %v, since %s", m.ID, m.Hold.OnWay, t.OnWay)
		case !a.room.supplyOut() && !m.Hold.Until.After(a.room.state.Now):
			a.rt.Fatalf("the hold of %s should have ended at %s", m.ID, m.Hold.Until)
		case m.Hold.Until.Sub(a.room.state.Now) > maxHold:
			a.rt.Fatalf("the hold of %s ends at %s only", m.ID, m.Hold.Until)
		}
		held[m.Hold.Turn] = m.ID
	}
	seen := map[TurnID]bool{}
	for _, t := range a.room.state.Turns {
		if t.State == queue.Waiting && !t.OnWay.IsZero() {
			a.rt.Fatalf("turn %d waits and is on the way", t.ID)
		}
		if (t.State == queue.Called) != (held[t.ID] != "") {
			a.rt.Fatalf("turn %d is %s and holds %q", t.ID, t.State, held[t.ID])
		}
		if seen[t.ID] || t.State == queue.Missed || t.State == queue.Left {
			a.rt.Fatalf("turn %d is in the line twice, or although it is over: %s", t.ID, t.State)
		}
		seen[t.ID] = true
	}
}

// loads: each open load is in one machine, and a started turn is used by one load.
func (a *anything) loads() {
	inside := map[LoadID]MachineID{}
	for _, m := range a.room.state.Machines {
		if m.Running && m.Load == 0 {
			a.rt.Fatalf("machine %s runs without a load", m.ID)
		}
		if m.Load != 0 {
			inside[m.Load] = m.ID
		}
	}
	used := map[TurnID]int{}
	for _, l := range a.room.state.Loads {
		if inside[l.ID] != l.Machine {
			a.rt.Fatalf("load %d is of machine %s, and in %q", l.ID, l.Machine, inside[l.ID])
		}
		delete(inside, l.ID)
		used[l.Turn]++
	}
	if len(inside) > 0 {
		a.rt.Fatalf("loads %v are in machines, but not open", inside)
	}
	for _, t := range a.room.state.Turns {
		if want := map[bool]int{true: 1}[t.State == queue.Started]; used[t.ID] != want {
			a.rt.Fatalf("turn %d is %s and used by %d loads", t.ID, t.State, used[t.ID])
		}
		if t.Behind != 0 && a.room.load(LoadID(t.Behind)) == nil {
			a.rt.Fatalf("turn %d waits behind load %d, which is gone", t.ID, t.Behind)
		}
	}
}

// nothingDue: nothing that a tick could do is overdue. A reading lets no
// deadline take effect that it does not touch; the tick that comes then does.
func (a *anything) nothingDue() {
	set, _, err := a.room.Step(a.now, Tick{})
	if err != nil {
		a.rt.Fatal(err)
	}
	a.book(set)
	if due := a.room.Deadline(); !due.IsZero() && !due.After(a.room.state.Now) {
		a.rt.Fatalf("after a tick at %s something is due at %s", a.room.state.Now, due)
	}
}

// nobodyWaitsBesideAFreeMachine: no turn that may be called to a machine waits
// while that machine is shown free, or its load has waited as long as others must.
func (a *anything) nobodyWaitsBesideAFreeMachine(snap *Snapshot) {
	if a.room.supplyOut() {
		return
	}
	now, house := a.room.state.Now, a.room.house()
	for _, v := range snap.Machines {
		if v.Hold != nil || v.Status != Free && !(v.Status == Overdue && a.leftAt(v.Load).Before(now)) {
			continue
		}
		for k := range a.room.state.Turns {
			if a.room.state.Turns[k].Eligible(&v.Machine.Machine, house, now) == queue.Yes {
				a.rt.Fatalf("at %s turn %d waits beside machine %s, which is %s:\n%s",
					now.Format("15:04:05"), a.room.state.Turns[k].ID, v.ID, v.Status, a.verdicts(house))
			}
		}
	}
}

// leftAt is when a load has waited so long that others may be called to it.
func (a *anything) leftAt(l *Load) time.Time {
	return later(l.ToldAt.Add(l.Pause+a.room.state.Rules.CallWithLoadAfter()), l.MoreUntil)
}

// verdicts is what Eligible says of every turn and machine.
func (a *anything) verdicts(house *queue.House) string {
	var b strings.Builder
	for k := range a.room.state.Turns {
		t := &a.room.state.Turns[k]
		fmt.Fprintf(&b, "turn %d of %s, %s, %s:", t.ID, t.Home, t.Need, t.State)
		for i := range a.plan.Machines {
			m := &a.plan.Machines[i].Machine
			fmt.Fprintf(&b, " %s %s;", m.ID, t.Eligible(m, house, a.room.state.Now))
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// quietAboutTheGone: the set that collects a load cancels what is unsent about
// it, and nothing is told about it later but that somebody else emptied the machine.
func (a *anything) quietAboutTheGone(set ChangeSet) {
	for _, f := range set.Facts {
		if f.Kind == FactCollected && !slices.Contains(set.Withdraw, Subject{Room: a.plan.ID, Load: f.Load}) {
			a.rt.Fatalf("load %d was collected, and nothing withdrawn: %+v", f.Load, set.Withdraw)
		}
	}
	for key, n := range a.unsent {
		says := n.Kind == LoadTaken || n.Kind == LoadMoved || n.Reason == onTable
		if n.Subject.Load != 0 && !says && (a.gone[n.Subject.Load] || a.room.load(n.Subject.Load) == nil) {
			a.rt.Fatalf("%s is still to be sent, the load is gone", key)
		}
	}
}

// noticesAreWhole: each notice is to somebody, of use for a time, and no nudge
// comes earlier than the house says.
func (a *anything) noticesAreWhole(set ChangeSet) {
	for i := range set.Notices {
		n := &set.Notices[i]
		if (n.To == "") == (n.Role == "") || (n.Machine == 0) != (n.Kind == TurnClosed) || !n.Made.Equal(set.At) || n.UsefulUntil.Before(n.Made) {
			a.rt.Fatalf("notice %s is not whole: %+v", n.Key(), n)
		}
		if n.Kind != LoadNudge && n.Kind != LoadWaiting || n.Step%maxSteps == 0 {
			continue
		}
		l := a.room.load(n.Subject.Load)
		if due := l.ToldAt.Add(l.Pause + a.room.state.Rules.Ladder[n.Step%maxSteps-1].After); n.Made.Before(due) {
			a.rt.Fatalf("%s was told at %s, and due at %s", n.Key(), n.Made, due)
		}
		if night := a.room.afterNight(n.Made); night.After(n.Made) {
			a.rt.Fatalf("%s was told in the night", n.Key())
		}
	}
}

// assumed: no load is taken to be gone before its time.
func (a *anything) assumed(set ChangeSet) {
	for _, f := range set.Facts {
		if l := a.room.load(f.Load); f.Kind == FactAssumed && l != nil {
			if due := later(l.ToldAt.Add(l.Pause+a.room.state.Rules.AssumeEmptyAfter), l.MoreUntil); set.At.Before(due) {
				a.rt.Fatalf("load %d is taken to be gone at %s, not before %s may it be", l.ID, set.At, due)
			}
		}
	}
}

// board: nothing is shown free that may not be.
func (a *anything) board(snap *Snapshot) {
	for _, v := range snap.Machines {
		i := a.room.index(v.ID)
		m := &a.room.state.Machines[i]
		if v.Status == Free && (m.Running || m.Out || a.room.mute(i) || m.Hold != nil || m.Load != 0 && !v.MayHoldLoad) {
			a.rt.Fatalf("machine %s is shown free: %+v", v.ID, m)
		}
		if v.Since.After(a.room.state.Now) {
			a.rt.Fatalf("machine %s is %s since %s, later than now %s", v.ID, v.Status, v.Since, a.room.state.Now)
		}
	}
}
