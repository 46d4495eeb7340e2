package coordinator

import (
	"math"
	"slices"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// restartWithin is how soon a machine that stopped early may be started again
// for it to be the same load.
const restartWithin = 10 * time.Minute

// usefulReady is how long the ready notice is worth sending.
const usefulReady = 2 * time.Hour

// hear takes what the engine of machine i came to know.
func (r *Room) hear(i int, events []cycle.Event, now time.Time) {
	if len(events) == 0 {
		return
	}
	for _, ev := range events {
		ev.EnergyWh, ev.PeakW = finite(ev.EnergyWh), finite(ev.PeakW)
		switch byHand := r.state.Machines[i].ByHand; {
		case byHand && ev.Kind != cycle.Silent && ev.Kind != cycle.Heard:
			// Taps tell of its cycles; the meter is not trusted.
		case ev.Kind == cycle.Started:
			r.cycleStarted(i, ev, now)
		case ev.Kind.Ends():
			r.cycleEnded(i, ev, now)
		case ev.Kind == cycle.Resumed:
			r.cycleResumed(i, ev, now)
		case ev.Kind == cycle.Withdrawn:
			r.cycleWithdrawn(i, now)
		case ev.Kind == cycle.Silent:
			r.fellSilent(i, ev, now)
		case ev.Kind == cycle.Heard:
			r.heardAgain(i, now)
		}
	}
	r.noticeChange(i, now)
	r.checkpoint(i)
}

// finite is v, or 0 for what no figure can be made of.
func finite(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	return v
}

// checkpoint stores the memory of machine i's engine with the step. An engine
// that cannot be stored relearns after a restart, so that is no reason to stop.
func (r *Room) checkpoint(i int) {
	c, err := r.engines[i].Checkpoint()
	if err != nil {
		return
	}
	r.out.Checkpoints = append(r.out.Checkpoints, MachineCheckpoint{Machine: r.plan.Machines[i].ID, Checkpoint: c})
	r.touch()
}

// cycleStarted takes the start of a cycle on machine i.
func (r *Room) cycleStarted(i int, ev cycle.Event, now time.Time) {
	m := &r.state.Machines[i]
	if m.Running {
		// The supply interruption cut it, or the engine has forgotten and found it again.
		m.Deferred = nil
		r.touch()
		return
	}
	m.Running, m.Start, m.Since = true, ev.Start, ev.Start
	m.Cycle++
	if l := r.load(m.Load); l != nil && (r.sameLoadAgain(i, l, ev) || r.driesWhereItWashed(i, l, ev)) {
		l.Cycle = m.Cycle
		r.runsAgain(l)
		r.useBooked(l)
		return
	}
	r.emptyForNext(i, now)
	if l := r.newLoad(i, ev.Start, now); l.Turn == 0 {
		r.markPast(i, l, now)
	}
}

// runsAgain takes back that a load is ready, and what its ladder did.
func (r *Room) runsAgain(l *Load) {
	r.withdraw(Subject{Load: l.ID})
	l.ReadyAt, l.ToldAt, l.Reason = time.Time{}, time.Time{}, ""
	l.Pause, l.Steps, l.Taken, l.AssumedEmpty, l.Restarted = 0, 0, 0, false, false
	l.MoreUntil, l.MoreTold, l.Forgotten = time.Time{}, false, false
}

// sameLoadAgain reports whether a start soon after an early stop is the same load.
func (r *Room) sameLoadAgain(i int, l *Load, ev cycle.Event) bool {
	return l.Reason == EndStopped && r.state.Machines[i].Hold == nil && ev.Start.Sub(l.ReadyAt) <= restartWithin
}

// driesWhereItWashed reports whether a start soon after a wash in a washer-dryer
// is that load's drying: it was not collected, it does not dry elsewhere, and
// nobody else was called. It happens once for a load.
func (r *Room) driesWhereItWashed(i int, l *Load, ev cycle.Event) bool {
	if r.plan.Machines[i].Kind != queue.WasherDryer || l.Reason != EndDone || l.Owner == "" || l.Dried || r.state.Machines[i].Hold != nil {
		return false
	}
	if k := r.state.Turns.Index(l.Turn); k >= 0 && r.state.Turns[k].Need == queue.Dry {
		return false
	}
	if k := r.carrier(l); k >= 0 && r.state.Turns[k].State == queue.Started {
		return false // it is in the dryer already
	}
	l.Dried = ev.Start.Sub(l.ReadyAt) <= restartWithin
	return l.Dried
}

// useBooked uses up the dryer turn that was booked behind a load which dries in
// the washer-dryer that washed it.
func (r *Room) useBooked(l *Load) {
	k := r.carrier(l)
	if !l.Dried || k < 0 {
		return
	}
	t := r.state.Turns[k]
	r.dropHold(t.ID)
	r.removeTurn(k)
	r.withdraw(Subject{Turn: t.ID})
	r.fact(Fact{Kind: FactLeft, Person: t.Person, Home: t.Home, Turn: t.ID, Note: "dries where it washed"})
}

// carrier is the dryer turn that was booked for a load; -1 for none.
func (r *Room) carrier(l *Load) int {
	return slices.IndexFunc(r.state.Turns, func(t queue.Turn) bool { return t.Carries == uint64(l.ID) })
}

// emptyForNext counts a load that was still in machine i as collected by the start of the next.
func (r *Room) emptyForNext(i int, now time.Time) {
	if l := r.load(r.state.Machines[i].Load); l != nil {
		r.emptied(i, l, Fact{Note: byNextStart}, now)
	}
}

// newLoad opens the load of the cycle that just started on machine i: the
// holder's, or nobody's yet.
func (r *Room) newLoad(i int, start, now time.Time) *Load {
	m := &r.state.Machines[i]
	r.forgive(i, start, now)
	m.Lapsed = nil
	r.state.LastLoad++
	l := Load{ID: r.state.LastLoad, Machine: m.ID, Cycle: m.Cycle, StartedAt: start}
	kind := FactWalkUp
	if t := r.holder(i); t != nil {
		kind = FactStarted
		if !m.Hold.Ahead { // else nobody knows how long it took
			r.state.Learned.answered(start.Sub(m.Hold.Since), !t.OnWay.IsZero())
		}
		l.Owner, l.Home, l.Turn = t.Person, t.Home, t.ID
	}
	m.Load, m.Hold = l.ID, nil
	r.state.Loads = append(r.state.Loads, l)
	r.fact(Fact{Kind: kind, Machine: m.ID, Person: l.Owner, Home: l.Home, Turn: l.Turn, Load: l.ID, Cycle: m.Cycle, Start: start})
	if l.Turn != 0 {
		r.turnStarted(i, &l, now)
		r.tellBegun(i, &l, now)
	}
	return r.load(l.ID)
}

// cycleEnded takes the end of machine i's cycle: at once, or after the supply
// interruption that may have caused it.
func (r *Room) cycleEnded(i int, ev cycle.Event, now time.Time) {
	m := &r.state.Machines[i]
	if !m.Running {
		return
	}
	if ev.Kind == cycle.StoppedEarly && !r.zeroAt[i].IsZero() {
		r.zeroTogether(i, now)
	}
	if r.cutBySupply(ev.End) {
		deferred := ev
		m.Deferred = &deferred
		r.touch()
		return
	}
	r.closeCycle(i, ev, now)
}

// closeCycle ends the running cycle of machine i and tells whose load is ready.
func (r *Room) closeCycle(i int, ev cycle.Event, now time.Time) {
	m := &r.state.Machines[i]
	m.Running, m.Since, m.Deferred = false, ev.End, nil
	r.fact(Fact{
		Kind: FactCycle, Machine: m.ID, Load: m.Load, Cycle: m.Cycle, Start: ev.Start, End: ev.End,
		EnergyWh: ev.EnergyWh, PeakW: ev.PeakW, Note: ev.Kind.String(),
	})
	r.learnLength(i, ev)
	l := r.load(m.Load)
	if l == nil {
		return
	}
	r.ready(i, l, ev.End, endReason(ev.Kind), now)
}

// endReason is the reason that people see for the way a cycle ended.
func endReason(k cycle.Kind) EndReason {
	switch k {
	case cycle.StoppedEarly:
		return EndStopped
	case cycle.Presumed:
		return EndPresumed
	default:
		return EndDone
	}
}

// ready marks a load as ready and tells its owner: step 0 of the ladder.
func (r *Room) ready(i int, l *Load, end time.Time, reason EndReason, now time.Time) {
	l.ReadyAt, l.ToldAt, l.Reason = end, now, reason
	l.Round++
	r.withdraw(Subject{Load: l.ID})
	if l.Owner != "" {
		r.tellReady(i, l, now)
	}
	if reason == EndStopped { // that may be started again, see goesOnAfter
		r.takeBackBehind(l.ID, now)
	} else {
		r.unblock(l.ID)
	}
}

// goesOnAfter lets the dryer that was booked behind a load go once the load that
// stopped early was not started again in time.
func (r *Room) goesOnAfter(now time.Time) {
	for k := range r.state.Loads {
		if l := &r.state.Loads[k]; r.stoppedAhead(l) && !now.Before(l.ReadyAt.Add(restartWithin)) {
			r.unblock(l.ID)
			r.touch()
		}
	}
}

// stoppedAhead reports whether a dryer is booked behind a load that stopped early.
func (r *Room) stoppedAhead(l *Load) bool {
	return l.Reason == EndStopped && slices.ContainsFunc(r.state.Turns, func(t queue.Turn) bool { return t.Behind == uint64(l.ID) })
}

// tellReady tells the owner that the load is ready, and whoever shares it.
func (r *Room) tellReady(i int, l *Load, now time.Time) {
	r.tellReadyTo(i, l, l.Owner, now)
	for _, s := range l.Shared {
		r.tellReadyTo(i, l, s.Person, now)
	}
}

// tellReadyTo tells one of them; only the owner is offered more time.
func (r *Room) tellReadyTo(i int, l *Load, who PersonID, now time.Time) {
	n := Notice{
		Subject: Subject{Load: l.ID}, Kind: LoadReady, Step: r.again(), To: who,
		ReadyAt: l.ReadyAt, Reason: string(l.Reason), UsefulUntil: now.Add(usefulReady),
	}
	if who == l.Owner {
		n.MoreTime = r.offersMore(i, now)
	}
	r.tell(i, n)
}

// cycleResumed takes back an end that was declared too soon.
func (r *Room) cycleResumed(i int, ev cycle.Event, now time.Time) {
	m := &r.state.Machines[i]
	l := r.load(m.Load)
	if m.Running { // the supply interruption may have cut it: the end that waited is none
		m.Deferred = nil
		r.touch()
		return
	}
	if l == nil { // collected meanwhile: whatever is in it now is another load
		r.cycleStarted(i, ev, now)
		return
	}
	m.Running, m.Since = true, m.Start
	r.runsAgain(l)
	r.returnHold(i, byResumed, now)
}

// cycleWithdrawn takes back a start that was none: nothing is in machine i, and
// the turn that it used up waits again.
func (r *Room) cycleWithdrawn(i int, now time.Time) {
	m := &r.state.Machines[i]
	l := r.load(m.Load)
	if !m.Running || l == nil {
		return
	}
	m.Running, m.Since, m.Load, m.Deferred = false, now, 0, nil
	tried := *l
	r.dropBooked(tried.ID)
	r.withdraw(Subject{Load: tried.ID})
	r.fact(Fact{Kind: FactNotMine, Machine: m.ID, Person: tried.Owner, Home: tried.Home, Turn: tried.Turn, Load: tried.ID, Note: "no cycle"})
	r.state.Loads = slices.DeleteFunc(r.state.Loads, func(x Load) bool { return x.ID == tried.ID })
	r.giveBack(i, &tried, now)
}
