package coordinator

import (
	"slices"
	"time"

	"drumturn/queue"
)

// contradictWithin is how long an owner may say that a load reported collected is still inside.
const contradictWithin = 24 * time.Hour

// How a load was collected, as facts say it.
const (
	byOwner     = "owner"
	byAnybody   = "reported empty"
	byTable     = "on the table"
	byNextStart = "next start"
	byDoor      = "door"
	byNobody    = "nobody said so" // taken from the table, in all likelihood
)

// testRun is how short a run that was stopped early may be for its turn not to
// be used up by it: the door was opened again, nothing was washed.
const testRun = 5 * time.Minute

// testRun reports whether the load saw no more than a short run, stopped early.
func (l *Load) testRun() bool {
	return l.Reason == EndStopped && l.ReadyAt.Sub(l.StartedAt) <= testRun
}

// mine reports whether the person, or somebody of the same home, owns the load.
func (l *Load) mine(person PersonID, home HomeID) bool {
	return l.Owner != "" && (l.Owner == person || (home != "" && l.Home == home))
}

// claim makes the unclaimed load in machine i the person's. A waiting turn of
// theirs that the machine serves is used up by it.
func (r *Room) claim(now time.Time, i int, e Claim) error {
	l := r.load(r.state.Machines[i].Load)
	switch {
	case e.Person == "":
		return Refuse(NotAllowed, "claim.stranger", "Join the room first, then the load can be yours.")
	case l == nil:
		return Refuse(Conflict, "claim.empty", "Nothing is known to be in this machine.")
	case l.mine(e.Person, e.Home):
		r.reply.Load = l.ID
		return nil
	case l.Owner != "":
		return Refuse(Conflict, "claim.taken", "Somebody has claimed this load already.")
	}
	r.reply.Load = l.ID
	r.claimed(i, l, e.Person, e.Home, now)
	if l.Ready() {
		r.tellReady(i, l, now)
	}
	return nil
}

// claimed makes a load that was nobody's a person's.
func (r *Room) claimed(i int, l *Load, person PersonID, home HomeID, now time.Time) {
	l.Owner, l.Home = person, home
	// They may have shared it with an owner who has moved out.
	l.unshare(func(p PersonID, h HomeID) bool { return l.mine(p, h) })
	r.fact(Fact{Kind: FactClaimed, Machine: l.Machine, Person: person, Home: home, Load: l.ID, Cycle: l.Cycle})
	r.useTurn(i, l, now)
}

// useTurn lets a claimed load use up the first waiting or called turn of its
// owner that machine i serves.
func (r *Room) useTurn(i int, l *Load, now time.Time) {
	for k := range r.state.Turns {
		t := &r.state.Turns[k]
		if t.Person != l.Owner || (t.State != queue.Waiting && t.State != queue.Called) || t.Behind != 0 && t.State == queue.Waiting ||
			t.Fits(&r.plan.Machines[i].Machine) != queue.Yes {
			continue
		}
		r.dropHold(t.ID)
		l.Turn = t.ID
		if l.Past == t.ID { // it was their turn
			l.Past, l.PastSince = 0, time.Time{}
		}
		r.turnStarted(i, l, now)
		return
	}
}

// notMe takes back the start on the machine that was held for the person: the
// turn is at the head again, and the load is nobody's yet.
func (r *Room) notMe(now time.Time, i int, e NotMe) error {
	l := r.load(r.state.Machines[i].Load)
	if l == nil || l.Turn == 0 || !l.mine(e.Person, e.Home) {
		return Refuse(NotFound, "notme.none", "No load in this machine was taken for yours.")
	}
	if now.Sub(l.StartedAt) > r.state.Rules.NotMeWithin {
		return Refuse(Conflict, "notme.late", "That was possible for {within} after the start. Ask the building manager.", "within", r.state.Rules.NotMeWithin)
	}
	r.withdraw(Subject{Load: l.ID})
	r.fact(Fact{Kind: FactNotMine, Machine: l.Machine, Person: l.Owner, Home: l.Home, Turn: l.Turn, Load: l.ID})
	turn := l.Turn
	l.Owner, l.Home, l.Turn, l.Shared, l.ShareHash = "", "", 0, nil, ""
	r.dropBooked(l.ID)
	r.waitAgain(turn)
	r.markPast(i, l, now)
	return nil
}

// waitAgain lets a started turn wait again: at the head when it had been called,
// else (a walk-up's claim had used it up) in its place.
func (r *Room) waitAgain(id TurnID) {
	k := r.state.Turns.Index(id)
	switch {
	case k < 0:
	case r.state.Turns[k].CalledAt.IsZero():
		r.state.Turns.Wait(k)
	default:
		r.state.Turns.Release(k)
	}
}

// dropBooked removes the dryer turn that was booked behind a load.
func (r *Room) dropBooked(id LoadID) {
	for k := range r.state.Turns {
		if t := r.state.Turns[k]; t.Behind == uint64(id) {
			r.dropHold(t.ID)
			r.removeTurn(k)
			r.withdraw(Subject{Turn: t.ID})
			r.fact(Fact{Kind: FactLeft, Person: t.Person, Home: t.Home, Turn: t.ID, Note: "wash taken back"})
			return
		}
	}
}

// collect empties machine i, by its load's owner or by anybody at the machine.
func (r *Room) collect(i int, e Collect) error {
	m := &r.state.Machines[i]
	l := r.load(m.Load)
	switch {
	case l == nil:
		return Refuse(Conflict, "collect.empty", "This machine is already known to be empty. Thank you.")
	case m.Running:
		return Refuse(Conflict, "collect.running", "This machine is still at work.")
	case e.Load != 0 && !l.mine(e.Person, e.Home):
		return Refuse(NotAllowed, "collect.foreign", "That load is not yours.")
	}
	r.reply.Load = l.ID
	how := byAnybody
	switch {
	case l.mine(e.Person, e.Home) || l.SharedWith(e.Person, e.Home):
		how = byOwner
	case e.OnTable:
		how = byTable
	}
	r.tellTaken(i, l, e, how)
	if how == byTable {
		r.putOnTable(l, r.state.Now)
	}
	r.emptied(i, l, Fact{Person: e.Person, Home: e.Home, Note: how}, r.state.Now)
	return nil
}

// tellTaken tells whoever has laundry in the load that somebody else emptied the
// machine; nobody, where its owner did and shares it with nobody. emptied
// withdraws what is unsent about the load; withdrawals of a set come before its
// notices, so these stand.
func (r *Room) tellTaken(i int, l *Load, e Collect, how string) {
	switch {
	case how == byOwner && len(l.Shared) == 0:
	case how != byOwner && e.OnTable:
		r.tellOthers(i, l, "", LoadMoved)
	default:
		r.tellOthers(i, l, e.Person, LoadTaken)
	}
}

// emptied closes load l of machine i: collected, as f says by whom and how.
func (r *Room) emptied(i int, l *Load, f Fact, now time.Time) {
	m := &r.state.Machines[i]
	closed := *l
	f.Kind, f.Machine, f.Load, f.Turn, f.Cycle = FactCollected, closed.Machine, closed.ID, closed.Turn, closed.Cycle
	f.Start, f.End = closed.StartedAt, closed.ReadyAt
	if !closed.ToldAt.IsZero() {
		f.Wait = now.Sub(closed.ToldAt)
		r.state.Learned.collected(f.Wait)
	}
	m.Emptied, m.EmptiedAt, m.EmptiedTurn = &closed, now, nil
	m.Load = 0
	if !m.Running {
		m.Since = now
	}
	if m.Hold != nil {
		m.Hold.LoadInside = false
	}
	r.settleTurn(i, &closed, f.Note)
	r.state.Loads = slices.DeleteFunc(r.state.Loads, func(x Load) bool { return x.ID == closed.ID })
	r.unblock(closed.ID)
	r.withdraw(Subject{Load: closed.ID})
	r.fact(f)
}

// settleTurn ends the turn that the load collected from machine i had used; a
// short test run gives it back.
func (r *Room) settleTurn(i int, l *Load, how string) {
	m, turn := &r.state.Machines[i], l.Turn
	k := r.state.Turns.Index(turn)
	if turn == 0 || k < 0 || r.state.Turns[k].State != queue.Started {
		return
	}
	if l.testRun() && how != byNextStart && !r.state.Turns[k].Tried {
		r.testRan(k, l)
		m.Emptied.Turn = 0 // who contradicts has the load again, and the turn as well
		return
	}
	t := r.state.Turns[k]
	m.EmptiedTurn = &t
	r.removeTurn(k)
}

// unblock lets a dryer turn go that waited for a load which is now gone.
func (r *Room) unblock(id LoadID) {
	for k := range r.state.Turns {
		if r.state.Turns[k].Behind == uint64(id) {
			r.state.Turns[k].Behind = 0
			r.beginHold(k)
		}
	}
}

// stillInside brings back a load that was reported collected.
func (r *Room) stillInside(now time.Time, i int, e StillInside) error {
	m := &r.state.Machines[i]
	switch {
	case m.Load != 0 || m.Running:
		return Refuse(Conflict, "still.next", "Another load has been started in this machine since.")
	case m.Emptied == nil || now.Sub(m.EmptiedAt) > contradictWithin:
		return Refuse(NotFound, "still.none", "No load was reported collected here lately.")
	case !m.Emptied.mine(e.Person, e.Home) && !m.Emptied.SharedWith(e.Person, e.Home):
		return Refuse(NotAllowed, "still.foreign", "That load was not yours.")
	}
	l := *m.Emptied
	// Nobody is nudged for the time in which it was thought to be collected.
	l.Pause += now.Sub(m.EmptiedAt)
	l.AssumedEmpty = false
	m.Load, m.Emptied, m.Since = l.ID, nil, l.ReadyAt
	r.offTable(l.ID)
	r.state.Loads = append(r.state.Loads, l)
	if m.EmptiedTurn != nil {
		r.state.Turns = r.state.Turns.Insert(*m.EmptiedTurn)
		m.EmptiedTurn = nil
	}
	if m.Hold != nil {
		m.Hold.LoadInside = true
	}
	r.reply.Load = l.ID
	r.fact(Fact{Kind: FactStillIn, Machine: m.ID, Person: e.Person, Home: e.Home, Load: l.ID})
	return nil
}
