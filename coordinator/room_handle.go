package coordinator

import (
	"slices"
	"time"
)

// handle dispatches one event. Each handler either refuses before it changes
// anything, or changes everything it is about.
func (r *Room) handle(now time.Time, ev Event) error {
	switch e := ev.(type) {
	case Tick, Reopened, Measured:
		return nil
	case Founded:
		if len(r.versions) == 0 { // a room is founded once
			r.newRules(Fact{Note: "seed"}, now)
		}
		return nil
	case Join:
		return r.join(now, e)
	case Leave:
		return r.leave(e)
	case AtClosing:
		return r.atClosing(now, e)
	case LetNext:
		return r.letNext(now, e)
	case OnMyWay:
		return r.onMyWay(now, e)
	case NotNow:
		return r.notNow(now, e)
	case MovedOut:
		return r.movedOut(e, now)
	case Merged:
		return r.merged(e, now)
	case HoldLonger:
		return r.holdLonger(e, now)
	case OpenHomes:
		return r.openHomes(e, now)
	case ShareLoad:
		return r.shareLoad(e)
	case Fetched:
		return r.fetched(now, e)
	case SetRules:
		return r.setRules(e, now)
	}
	return r.handleAtMachine(now, ev)
}

// handleAtMachine dispatches the events that are about one machine.
func (r *Room) handleAtMachine(now time.Time, ev Event) error {
	switch e := ev.(type) {
	case Claim:
		return r.at(e.Machine, func(i int) error { return r.claim(now, i, e) })
	case NotMe:
		return r.atLoad(e.Machine, e.Load, func(i int) error { return r.notMe(now, i, e) })
	case Collect:
		return r.atLoad(e.Machine, e.Load, func(i int) error { return r.collect(i, e) })
	case Door:
		return r.at(e.Machine, func(i int) error { r.door(now, i, e.Open); return nil })
	case MoreTime:
		return r.atLoad(e.Machine, e.Load, func(i int) error { return r.moreTime(now, i, e) })
	case DryAfter:
		return r.at(e.Machine, func(i int) error { return r.dryAfter(now, i, e) })
	case OfferShare:
		return r.at(e.Machine, func(i int) error { return r.offerShare(i, e) })
	case StillInside:
		return r.atEmptied(e.Machine, e.Load, func(i int) error { return r.stillInside(now, i, e) })
	case ReportFault:
		return r.at(e.Machine, func(i int) error { return r.reportFault(now, i, e) })
	case TakeOut:
		return r.at(e.Machine, func(i int) error { return r.takeOut(i, e) })
	case PutBack:
		return r.at(e.Machine, func(i int) error { return r.putBack(i, e) })
	case NoteWalkUp:
		return r.at(e.Machine, func(i int) error { return r.noteWalkUp(i, e) })
	case ForgetLearned:
		return r.at(e.Machine, func(i int) error { return r.forgetLearned(i, e) })
	case LookedAfter:
		return r.at(e.Machine, func(i int) error { return r.lookedAfter(now, i, e) })
	case ByHand:
		return r.at(e.Machine, func(i int) error { return r.byHand(i, e) })
	case StartByHand:
		return r.at(e.Machine, func(i int) error { return r.startByHand(now, i, e) })
	case EndByHand:
		return r.at(e.Machine, func(i int) error { return r.endByHandNow(now, i) })
	}
	return Refuse(Invalid, "event.unknown", "This room does not know what to do with that.")
}

// at finds the machine that an event is about.
func (r *Room) at(id MachineID, do func(i int) error) error {
	i := r.index(id)
	if i < 0 {
		return Refuse(NotFound, "machine.unknown", "There is no machine “{machine}” in this room.", "machine", id)
	}
	return do(i)
}

// atLoad finds the machine that an event is about, by the load in it if that is named.
func (r *Room) atLoad(id MachineID, load LoadID, do func(i int) error) error {
	if load == 0 {
		return r.at(id, do)
	}
	i := slices.IndexFunc(r.state.Machines, func(m machineState) bool { return m.Load == load })
	if i < 0 {
		return Refuse(Conflict, "load.gone", "That load is no longer in the machine.")
	}
	return do(i)
}

// atEmptied finds the machine that an event is about, by the load last reported
// collected from it if that is named.
func (r *Room) atEmptied(id MachineID, load LoadID, do func(i int) error) error {
	if load == 0 {
		return r.at(id, do)
	}
	i := slices.IndexFunc(r.state.Machines, func(m machineState) bool { return m.Emptied != nil && m.Emptied.ID == load })
	if i < 0 {
		return Refuse(NotFound, "still.none", "No load was reported collected here lately.")
	}
	return do(i)
}
