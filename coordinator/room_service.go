package coordinator

import (
	"time"

	"drumturn/coordinator/cycle"
)

// byHand switches running by hand for machine i.
func (r *Room) byHand(i int, e ByHand) error {
	m := &r.state.Machines[i]
	if m.ByHand == e.On {
		return nil
	}
	wasMute := r.mute(i)
	m.ByHand, m.ForSilence = e.On, e.On && wasMute
	switch running := r.engines[i].Status().Running; {
	case !m.Running && wasMute:
		m.Since = r.state.Now
	case !m.Running: // its status stays
	case !e.On && !running:
		// The meter did not see this cycle, so it will not see its end.
		r.reported(i, r.state.Now, r.state.Now)
	}
	if status := r.engines[i].Status(); !e.On && !m.Running && status.Running {
		r.cycleStarted(i, cycle.Event{Kind: cycle.Started, At: r.state.Now, Start: status.Start}, r.state.Now)
	}
	note := "meter"
	if e.On {
		note = "by hand"
	}
	r.fact(Fact{Kind: FactBack, Machine: m.ID, Person: e.Person, Note: note})
	return nil
}

// heardByHand reports whether machine i is run by hand because nothing was heard of
// it, and its meter is heard now.
func (r *Room) heardByHand(i int) bool {
	m := &r.state.Machines[i]
	return m.ByHand && m.ForSilence && r.plan.Machines[i].Meter != "" && !m.Silent && !r.engines[i].Status().Last.At.IsZero()
}

// startByHand takes a tap at the machine for the start of a cycle.
func (r *Room) startByHand(now time.Time, i int, e StartByHand) error {
	m := &r.state.Machines[i]
	switch {
	case !m.ByHand:
		return Refuse(Conflict, "hand.metered", "This machine's meter sees the start by itself.")
	case m.Running:
		return Refuse(Conflict, "hand.running", "This machine is already at work.")
	case m.Hold != nil && !r.holdIsFor(i, e.Person, e.Home):
		return Refuse(Conflict, "hand.held", "This machine is kept for somebody else until {until}.", "until", m.Hold.Until.In(r.zone()).Format("15:04"))
	}
	m.Running, m.Start, m.Since = true, now, now
	m.Cycle++
	r.emptyForNext(i, now)
	l := r.newLoad(i, now, now)
	if l.Owner == "" && e.Person != "" {
		r.claimed(i, l, e.Person, e.Home, now)
	}
	if l.Turn == 0 {
		r.markPast(i, l, now)
	}
	r.reply.Load = l.ID
	return nil
}

// holdIsFor reports whether machine i is held for the person or their home.
func (r *Room) holdIsFor(i int, person PersonID, home HomeID) bool {
	t := r.holder(i)
	return t != nil && (t.Person == person || (home != "" && t.Home == home))
}

// endByHandNow takes a tap at the machine for the end of a cycle.
func (r *Room) endByHandNow(now time.Time, i int) error {
	m := &r.state.Machines[i]
	if !m.ByHand || !m.Running {
		return Refuse(Conflict, "hand.idle", "This machine is not run by hand at the moment.")
	}
	r.reported(i, now, now)
	return nil
}

// handEnd is when a cycle run by hand on machine i is taken to be over.
func (r *Room) handEnd(i int) time.Time {
	return r.state.Machines[i].Start.Add(r.state.Learned.machine(r.plan.Machines[i].Kind))
}

// endByHand ends the cycles run by hand whose typical length is over.
func (r *Room) endByHand(now time.Time) {
	for i := range r.state.Machines {
		if m := &r.state.Machines[i]; m.ByHand && m.Running && !r.handEnd(i).After(now) {
			r.reported(i, r.handEnd(i), now)
		}
	}
}

// reported closes a cycle run by hand.
func (r *Room) reported(i int, end, now time.Time) {
	m := &r.state.Machines[i]
	ev := cycle.Event{Kind: cycle.Finished, At: now, Start: m.Start, End: end}
	m.Running, m.Since, m.Deferred = false, end, nil
	r.fact(Fact{Kind: FactCycle, Machine: m.ID, Load: m.Load, Cycle: m.Cycle, Start: ev.Start, End: ev.End, Note: string(EndReported)})
	if l := r.load(m.Load); l != nil {
		r.ready(i, l, end, EndReported, now)
	}
}
