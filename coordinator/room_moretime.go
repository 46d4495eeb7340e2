package coordinator

import "time"

// moreTime gives the owner of the load in machine i more time to collect it: the
// ladder stands still meanwhile, and what is unsent of it is withdrawn.
func (r *Room) moreTime(now time.Time, i int, e MoreTime) error {
	m := &r.state.Machines[i]
	l := r.load(m.Load)
	switch {
	case l == nil || !l.mine(e.Person, e.Home):
		return Refuse(NotFound, "more.none", "No load of yours is in this machine.")
	case !l.Ready():
		return Refuse(Conflict, "more.running", "Your load is not ready yet. You need no more time for it.")
	case !l.MoreUntil.IsZero():
		return Refuse(OverLimit, "more.once", "You have asked for more time already; it is given once for a load.")
	case m.Hold != nil:
		return Refuse(Conflict, "more.called", "Somebody has been called to this machine. Please collect your load now.")
	}
	more := r.moreFor(i, l, now)
	switch {
	case r.state.Rules.MoreTime == 0:
		return Refuse(NotAllowed, "more.never", "This house gives no more time. Please collect your load.")
	case more == 0:
		return Refuse(NotAllowed, "more.waited-for", "Somebody waits for this machine, and then this house gives no more time. Please collect your load.")
	}
	l.MoreUntil = now.Add(more)
	l.Pause += more
	l.AssumedEmpty = false
	m.Since = l.ReadyAt
	r.reply.Load = l.ID
	r.withdraw(Subject{Load: l.ID})
	r.fact(Fact{Kind: FactMoreTime, Machine: m.ID, Person: e.Person, Home: e.Home, Load: l.ID, Cycle: l.Cycle, End: l.MoreUntil})
	return nil
}

// offersMore is how much more time the owner of the load in machine i would get
// now; 0 for none.
func (r *Room) offersMore(i int, now time.Time) time.Duration {
	l := r.load(r.state.Machines[i].Load)
	if l == nil || !l.Ready() || !l.MoreUntil.IsZero() || r.state.Machines[i].Hold != nil {
		return 0
	}
	return r.moreFor(i, l, now)
}

// moreFor is how much more time the house rules give for the load in machine i now.
func (r *Room) moreFor(i int, l *Load, now time.Time) time.Duration {
	if r.nextFor(i, l, now) != "" {
		return r.state.Rules.MoreTimeWaiting // never more than MoreTime
	}
	return r.state.Rules.MoreTime
}

// moreTimeOver tells the owner that the time they asked for is over, where no
// step of the ladder to come does.
func (r *Room) moreTimeOver(i int, l *Load, now time.Time) {
	if l.MoreUntil.IsZero() || l.MoreTold || l.MoreUntil.After(now) {
		return
	}
	l.MoreTold = true
	r.touch()
	for step, s := range r.state.Rules.Ladder {
		if s.Tell == TellOwner && l.Taken&(1<<step) == 0 {
			return
		}
	}
	if l.Owner == "" || r.afterNight(now).After(now) {
		return
	}
	r.tell(i, Notice{
		Subject: Subject{Load: l.ID}, Kind: LoadNudge, Step: l.Round * maxSteps, To: l.Owner,
		ReadyAt: l.ReadyAt, Reason: string(l.Reason), UsefulUntil: now.Add(usefulNudge),
	})
}
