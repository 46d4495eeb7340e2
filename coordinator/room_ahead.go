package coordinator

import (
	"time"

	"drumturn/queue"
)

// A dryer that was booked behind a wash is called when the wash is expected to
// end, a few minutes ahead at most, so that its owner is told once and carries
// the load over. The hold counts from the end of the wash.

// earlyNote marks a call ahead, in its fact and as the reason of its notice.
const earlyNote = "wash-ends"

// expectedReady is when the load of a running machine is expected to be ready;
// false when that is not known, or no better than a guess from the kind of machine.
func (r *Room) expectedReady(id LoadID, now time.Time) (time.Time, bool) {
	l := r.load(id)
	if l == nil || l.Ready() {
		return time.Time{}, false
	}
	i := r.index(l.Machine)
	if i < 0 || !r.state.Machines[i].Running || r.mute(i) {
		return time.Time{}, false
	}
	if r.state.Machines[i].ByHand {
		return r.handEnd(i), true
	}
	left, ok := r.engines[i].Remaining(now)
	if !ok || left.About {
		return time.Time{}, false
	}
	return now.Add(left.Median), true
}

// readySoon reports whether the dryer booked behind a load may be called ahead now.
func (r *Room) readySoon(load uint64) bool {
	ahead := r.state.Rules.DryCallAhead
	if ahead <= 0 {
		return false
	}
	at, ok := r.expectedReady(LoadID(load), r.state.Now)
	return ok && at.Sub(r.state.Now) <= ahead
}

// aheadAt is when turn k, which waits behind a wash, may be called ahead as
// things stand; zero for never. Where it may be already and a machine is open
// for it, that is now: a reading may have brought the expected end nearer.
func (r *Room) aheadAt(k int) time.Time {
	t, now := &r.state.Turns[k], r.state.Now
	ahead := r.state.Rules.DryCallAhead
	if t.Behind == 0 || t.Early || ahead <= 0 || !r.anyOpen(now) {
		return time.Time{}
	}
	ready, ok := r.expectedReady(LoadID(t.Behind), now)
	switch at := ready.Add(-ahead); {
	case !ok:
	case at.After(now):
		return at.Truncate(time.Second).Add(time.Second) // estimates creep: not for every moment of it
	case r.bestMachine(k, r.house(), now) >= 0:
		return now
	}
	return time.Time{}
}

// takeBackEarly takes back the call to machine i, made ahead, because the wash
// takes far longer or was cut short: the turn waits in its place, and is called
// again when the wash has ended, not before.
func (r *Room) takeBackEarly(i int, now time.Time) {
	t := r.holder(i)
	if t == nil {
		return
	}
	id, person, home, calls := t.ID, t.Person, t.Home, t.Calls
	r.dropHold(id)
	r.state.Turns.Wait(r.state.Turns.Index(id))
	r.withdraw(Subject{Turn: id})
	r.tell(i, Notice{
		Subject: Subject{Turn: id}, Kind: TurnReturned, Step: calls, To: person,
		Reason: earlyNote, UsefulUntil: now.Add(time.Hour),
	})
	r.fact(Fact{Kind: FactTakenBack, Machine: r.plan.Machines[i].ID, Person: person, Home: home, Turn: id, Note: byLongerWash})
}

// takeBackBehind takes back the call that was made ahead for a load, if one was.
func (r *Room) takeBackBehind(id LoadID, now time.Time) {
	for i := range r.state.Machines {
		if t := r.holder(i); t != nil && t.Behind == uint64(id) {
			r.takeBackEarly(i, now)
		}
	}
}

// beginHold lets the hold of turn k, called ahead, count from now on.
func (r *Room) beginHold(k int) {
	t := &r.state.Turns[k]
	i := r.index(t.Machine)
	if t.State != queue.Called || i < 0 || r.state.Machines[i].Hold == nil {
		return
	}
	h := r.state.Machines[i].Hold
	h.Ahead, h.Since, t.CalledAt = false, r.state.Now, r.state.Now
	r.extendHold(h, r.state.Now.Add(r.holdFor(t.ID)))
}

// dryAfter books a dryer behind the person's wash that is already running.
func (r *Room) dryAfter(now time.Time, i int, e DryAfter) error {
	l := r.load(r.state.Machines[i].Load)
	switch {
	case l == nil || !l.mine(e.Person, e.Home):
		return Refuse(NotFound, "dry-after.none", "No load of yours is in this machine.")
	case r.plan.Machines[i].Kind == queue.Dryer:
		return Refuse(Invalid, "dry-after.dryer", "This is a dryer already.")
	case l.Ready():
		return Refuse(Conflict, "dry-after.ready", "Your wash is over. Join the queue for a dryer.")
	case r.booked(l.ID):
		return Refuse(Conflict, "dry-after.twice", "A dryer is booked behind this wash already.")
	}
	join := Join{Person: l.Owner, Home: l.Home, Need: queue.Dry}
	wash := r.state.Turns.Index(l.Turn)
	if l.Turn != 0 && wash >= 0 {
		join.Wishes = r.state.Turns[wash].Wishes
	}
	if err := r.mayJoin(join); err != nil {
		return err
	}
	dryer := queue.Turn{Person: l.Owner, Home: l.Home, Need: queue.Dry, Wishes: join.Wishes, Behind: uint64(l.ID), Carries: uint64(l.ID)}
	if l.Turn != 0 && wash >= 0 {
		dryer.LeaveAt = r.state.Turns[wash].LeaveAt
		r.state.Turns[wash].DryAfter = true
	}
	r.reply.Load = l.ID
	r.addTurn(dryer, now)
	return nil
}

// booked reports whether a dryer is booked behind a load.
func (r *Room) booked(id LoadID) bool {
	for k := range r.state.Turns {
		if r.state.Turns[k].Behind == uint64(id) {
			return true
		}
	}
	return false
}
