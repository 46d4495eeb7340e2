package coordinator

import (
	"slices"
	"time"

	"drumturn/queue"
)

// house is what eligibility needs to know of the room now.
func (r *Room) house() *queue.House {
	loads := map[HomeID]int{}
	for i := range r.state.Loads {
		if l := &r.state.Loads[i]; l.Home != "" && r.countsFor(l, r.state.Now) {
			loads[l.Home]++
		}
	}
	for i := range r.state.Turns {
		// A call is as good as a load: otherwise a home could hold more machines than it may use.
		if t := &r.state.Turns[i]; t.State == queue.Called {
			loads[t.Home]++
		}
	}
	return &queue.House{
		Limits: r.state.Rules.Limits, Hours: r.state.Rules.Hours, Zone: r.zone(),
		Loads: loads, Whose: r.whose, Length: r.state.Learned.typical, Soon: r.readySoon,
	}
}

// whose is the home that a load counts for; empty when it counts for none.
func (r *Room) whose(load uint64) HomeID {
	if l := r.load(LoadID(load)); l != nil && r.countsFor(l, r.state.Now) {
		return l.Home
	}
	return ""
}

// countsFor reports whether a load counts towards what its home may have in the
// room. One that others may be called to although it is inside keeps nobody from
// a machine any more, and most such loads are out of it: nobody tapped. It must
// not keep its own home from the next machine.
func (r *Room) countsFor(l *Load, now time.Time) bool {
	return !l.Ready() || !l.AssumedEmpty && now.Before(r.callWithLoadAt(l))
}

func (r *Room) zone() *time.Location {
	if r.plan.Zone == nil {
		return time.UTC
	}
	return r.plan.Zone
}

// holder is the turn that machine i is held for; nil for none.
func (r *Room) holder(i int) *queue.Turn {
	h := r.state.Machines[i].Hold
	if h == nil {
		return nil
	}
	if k := r.state.Turns.Index(h.Turn); k >= 0 {
		return &r.state.Turns[k]
	}
	return nil
}

// holdFor is how long a machine is kept for a turn.
func (r *Room) holdFor(id TurnID) time.Duration {
	k := r.state.Turns.Index(id)
	if k < 0 {
		return r.state.Rules.Hold
	}
	t := &r.state.Turns[k]
	if t.OnWay.IsZero() {
		return r.state.Rules.HoldFor(t.Home)
	}
	return r.state.Rules.HoldFor(t.Home) + r.state.Rules.OnMyWayAdds
}

// dropHold frees the machine that is held for a turn, if one is.
func (r *Room) dropHold(id TurnID) {
	for i := range r.state.Machines {
		if m := &r.state.Machines[i]; m.Hold != nil && m.Hold.Turn == id {
			m.Hold, m.Since = nil, r.state.Now
			r.touch()
		}
	}
}

// Why a call was taken back, as facts say it.
const (
	byLongerWash = "wash takes longer"
	byLateStart  = "start known late"
	byResumed    = "cycle goes on"
	byOut        = "out of service"
	bySilence    = "meter silent"
)

// returnHold takes back the call to machine i because the machine cannot be
// used: the turn is at the head again, and told so.
func (r *Room) returnHold(i int, why string, now time.Time) {
	t := r.holder(i)
	if t == nil {
		return
	}
	id, person, home, calls := t.ID, t.Person, t.Home, t.Calls
	r.fact(Fact{Kind: FactTakenBack, Machine: r.plan.Machines[i].ID, Person: person, Home: home, Turn: id, Note: why})
	if r.state.Machines[i].Hold.Ahead {
		t.Early = false // another dryer will do as well
	}
	r.dropHold(id)
	r.state.Turns.Release(r.state.Turns.Index(id))
	r.withdraw(Subject{Turn: id})
	r.tell(i, Notice{
		Subject: Subject{Turn: id}, Kind: TurnReturned, Step: calls, To: person,
		UsefulUntil: now.Add(time.Hour),
	})
}

// lapseHolds ends the holds whose time is over: the turn missed its call.
func (r *Room) lapseHolds(now time.Time) {
	for i := range r.state.Machines {
		switch h := r.state.Machines[i].Hold; {
		case h == nil || h.Until.After(now):
		case h.Ahead:
			r.takeBackEarly(i, now)
		default:
			r.miss(i, h.Turn, now)
		}
	}
}

// lapsedHold is a hold that was missed: the turn as it was called, and when the hold ended.
type lapsedHold struct {
	Turn  queue.Turn
	Until time.Time
}

// forgive takes back the miss of a turn whose machine turns out to have been
// started while it was held: a start is known only a moment after it happened.
// Whoever was called to the machine since is at the head again.
func (r *Room) forgive(i int, start, now time.Time) {
	m := &r.state.Machines[i]
	lapsed := m.Lapsed
	if lapsed == nil || start.Before(lapsed.Turn.CalledAt) || start.After(lapsed.Until) {
		return
	}
	m.Lapsed = nil
	r.returnHold(i, byLateStart, now)
	t := lapsed.Turn
	r.withdraw(Subject{Turn: t.ID})
	if k := r.state.Turns.Index(t.ID); k >= 0 {
		if r.state.Turns[k].State != queue.Waiting {
			return // called elsewhere meanwhile
		}
		t.Calls = r.state.Turns[k].Calls // it may have been called again since
		r.removeTurn(k)
	}
	r.state.Learned.cameAfterAll(!t.OnWay.IsZero())
	r.fact(Fact{Kind: FactForgiven, Machine: m.ID, Person: t.Person, Home: t.Home, Turn: t.ID, Start: start})
	t.HoldUntil = now
	t.Ways = nil
	r.state.Turns.Settle(t.ID)
	r.state.Turns = slices.Insert(r.state.Turns, 0, t)
	m.Hold = &Hold{Turn: t.ID, Since: t.CalledAt, Until: now}
}

// miss records that the call to machine i was missed.
func (r *Room) miss(i int, id TurnID, now time.Time) {
	r.dropHold(id)
	k := r.state.Turns.Index(id)
	if k < 0 {
		return
	}
	t := r.state.Turns[k]
	r.state.Learned.missed(!t.OnWay.IsZero())
	r.state.Machines[i].Lapsed = &lapsedHold{Turn: t, Until: now}
	r.state.Turns.Miss(k, now.Add(r.state.Rules.RecallAfter))
	r.tellMissed(i, &t, now)
}

// tellMissed tells the owner of turn t, as it was when called to machine i, that
// the call is missed, and takes the turn out of the line if that was the second.
func (r *Room) tellMissed(i int, t *queue.Turn, now time.Time) {
	kind, id := TurnMissed, t.ID
	if k := r.state.Turns.Index(id); r.state.Turns[k].State == queue.Missed {
		kind = TurnEnded
		r.removeTurn(k)
	}
	r.withdraw(Subject{Turn: id})
	r.tell(i, Notice{Subject: Subject{Turn: id}, Kind: kind, Step: t.Calls, To: t.Person, UsefulUntil: now.Add(2 * time.Hour)})
	r.fact(Fact{Kind: FactMissed, Machine: r.state.Machines[i].ID, Person: t.Person, Home: t.Home, Turn: id, Wait: now.Sub(t.Joined)})
}

// open reports whether a turn may be called to machine i: nothing runs in it,
// nobody holds it, and a load that is still inside has waited long enough.
func (r *Room) open(i int, now time.Time) bool {
	m := &r.state.Machines[i]
	if m.Out || r.mute(i) || m.Running || m.Hold != nil {
		return false
	}
	l := r.load(m.Load)
	return l == nil || l.AssumedEmpty || !now.Before(r.callWithLoadAt(l))
}

// callWithLoadAt is when the head may be called although the load is inside.
func (r *Room) callWithLoadAt(l *Load) time.Time {
	return later(l.ToldAt.Add(l.Pause+r.state.Rules.CallWithLoadAfter()), l.MoreUntil)
}

// callTurns calls every turn that a machine is open for, first come first served.
func (r *Room) callTurns(now time.Time) {
	if !r.anyOpen(now) {
		return
	}
	for r.callFirst(now) {
	}
}

// callFirst calls the first turn that a machine is open for, and reports whether
// there was one. A call may let a turn ahead go that missed its own before.
func (r *Room) callFirst(now time.Time) bool {
	house := r.house()
	for k := range r.state.Turns {
		if r.state.Turns[k].State != queue.Waiting {
			continue
		}
		if i := r.bestMachine(k, house, now); i >= 0 {
			r.noteOvertaken(k, i, house, now)
			r.call(k, i, now)
			return true
		}
	}
	return false
}

// noteOvertaken writes down whom turn k overtakes as it is called to machine i, and why.
func (r *Room) noteOvertaken(k, i int, house *queue.House, now time.Time) {
	t, m := &r.state.Turns[k], &r.plan.Machines[i].Machine
	for j := range r.state.Turns {
		e := &r.state.Turns[j]
		if e.ID >= t.ID || e.State != queue.Waiting {
			continue
		}
		if why, over := r.state.Turns.Overtaken(k, j, m, house, now); over {
			r.fact(Fact{Kind: FactOvertaken, Machine: m.ID, Person: e.Person, Home: e.Home, Turn: e.ID, By: t.ID, Why: why})
		}
	}
}

func (r *Room) anyOpen(now time.Time) bool {
	for i := range r.plan.Machines {
		if r.open(i, now) {
			return true
		}
	}
	return false
}

// bestMachine picks the open machine that turn k can use and that others can
// use least: empty before occupied, plain before accessible or combined, small
// before large, then by number; -1 for none.
func (r *Room) bestMachine(k int, house *queue.House, now time.Time) int {
	best := -1
	for i := range r.plan.Machines {
		m := &r.plan.Machines[i].Machine
		if !r.open(i, now) || r.state.Turns[k].Eligible(m, house, now) != queue.Yes {
			continue
		}
		if _, over := r.state.Turns.Yields(k, m, house, now); over {
			continue
		}
		if best < 0 || r.plainer(i, best) {
			best = i
		}
	}
	return best
}

// plainer reports whether machine a is to be preferred to b.
func (r *Room) plainer(a, b int) bool {
	la, lb := r.state.Machines[a].Load != 0, r.state.Machines[b].Load != 0
	ma, mb := &r.plan.Machines[a], &r.plan.Machines[b]
	switch {
	case la != lb:
		return lb
	case (ma.Kind == queue.WasherDryer) != (mb.Kind == queue.WasherDryer):
		return mb.Kind == queue.WasherDryer
	case ma.Accessible != mb.Accessible:
		return mb.Accessible
	case ma.CapacityKg != mb.CapacityKg:
		return ma.CapacityKg < mb.CapacityKg
	}
	return ma.Number < mb.Number
}

// call keeps machine i for turn k and tells its owner.
func (r *Room) call(k, i int, now time.Time) {
	m := &r.state.Machines[i]
	l := r.load(m.Load)
	t := &r.state.Turns[k]
	hold, early := r.state.Rules.HoldFor(t.Home), t.Behind != 0
	if early {
		hold += r.state.Rules.DryCallAhead
		t.Early = true
	}
	r.state.Turns.Call(k, m.ID, now, hold)
	m.Hold = &Hold{Turn: t.ID, Since: now, Until: t.HoldUntil, LoadInside: l != nil, Ahead: early}
	m.Since = now
	if l != nil {
		l.Called++
	}
	n := Notice{
		Subject: Subject{Turn: t.ID}, Kind: TurnCalled, Step: t.Calls, To: t.Person,
		Until: t.HoldUntil, LoadInside: l != nil, UsefulUntil: t.HoldUntil,
	}
	note := ""
	if early {
		note = earlyNote
		n.ReadyAt, _ = r.expectedReady(LoadID(t.Behind), now)
		n.Reason, n.Until = earlyNote, n.ReadyAt.Add(r.state.Rules.HoldFor(t.Home))
	}
	r.withdraw(Subject{Turn: t.ID})
	r.tell(i, n)
	r.fact(Fact{Kind: FactCalled, Machine: m.ID, Person: t.Person, Home: t.Home, Turn: t.ID, Wait: now.Sub(t.Joined), Note: note})
}
