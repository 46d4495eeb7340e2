package coordinator

import "time"

// door takes what the contact at machine i's door says. A door that opens on a
// load that is done means that somebody collects it: a door is opened for that,
// and the owner can contradict. A load that stopped early may be set right and
// started again, so its ladder goes on.
func (r *Room) door(now time.Time, i int, open bool) {
	m := &r.state.Machines[i]
	if m.DoorOpen == open {
		return
	}
	m.DoorOpen = open
	r.touch()
	l := r.load(m.Load)
	if !open || m.Running || l == nil || !l.Ready() || (l.Reason == EndStopped && !l.AssumedEmpty) {
		return
	}
	r.emptied(i, l, Fact{Note: byDoor}, now)
}
