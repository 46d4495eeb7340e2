package demo

import (
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/meter/sim"
	"drumturn/queue"
)

// wantToWash joins the queue, or walks up to a machine that looks free.
func (t *Town) wantToWash(now time.Time, e errand, w World) {
	if e.tries == 0 {
		t.planWash(e.who, now)
	}
	if t.quiet(now) {
		return
	}
	if e.who.walksUp {
		t.walkUp(now, e, queue.Wash, w)
		return
	}
	need := queue.Wash
	if e.room == Garden && t.chance(0.3) {
		need = queue.WashAndDry
	}
	t.join(now, e, need, need == queue.Wash && t.chance(0.45), w)
}

// wantToDry joins the queue for a dryer with wet laundry in the basket.
func (t *Town) wantToDry(now time.Time, e errand, w World) {
	if t.quiet(now) {
		return
	}
	if e.who.walksUp {
		t.walkUp(now, e, queue.Dry, w)
		return
	}
	t.join(now, e, queue.Dry, false, w)
}

func (t *Town) join(now time.Time, e errand, need queue.Need, dryAfter bool, w World) {
	wishes := queue.Wishes{}
	if t.chance(0.03) {
		wishes.Lower = true
	}
	err := w.Do(e.room, coordinator.Join{Person: e.who.id, Home: e.who.home, Need: need, Wishes: wishes, DryAfter: dryAfter})
	if err != nil {
		return
	}
	s := w.Snapshot(e.room)
	for i := range s.Turns {
		if turn := &s.Turns[i]; turn.Person == e.who.id && turn.State == queue.Waiting {
			t.agenda.add(errand{at: now.Add(delay(t.rng, 2*time.Hour)), task: toGiveUp, who: e.who, room: e.room, turn: turn.ID})
		}
	}
}

// walkUp looks for a machine that nobody waits for, starts it and perhaps claims
// the load; otherwise tries again later.
func (t *Town) walkUp(now time.Time, e errand, need queue.Need, w World) {
	s := w.Snapshot(e.room)
	for i := range s.Machines {
		m := &s.Machines[i]
		at := Spot{e.room, m.ID}
		if !t.looksFree(at, m, need, w) {
			continue
		}
		t.start(at, e.who, sim.For(m.Kind, need, t.rng.Float64()), sim.Laundry{}, w)
		if t.chance(0.6) {
			t.agenda.add(errand{at: now.Add(4 * time.Minute), task: toClaim, who: e.who, room: e.room, machine: m.ID})
		}
		return
	}
	if e.tries++; e.tries < 3 {
		e.at = now.Add(delay(t.rng, 50*time.Minute))
		t.agenda.add(e)
	}
}

// looksFree: the drum is empty, and most people respect a hold and a queue.
func (t *Town) looksFree(at Spot, m *coordinator.MachineView, need queue.Need, w World) bool {
	probe := queue.Turn{Need: need}
	if probe.Fits(&m.Machine.Machine) != queue.Yes || t.inside[at] != nil || running(w, at) {
		return false
	}
	switch m.Status {
	case coordinator.Free:
		return true
	case coordinator.Held:
		return t.chance(0.03)
	case coordinator.Finished, coordinator.Overdue, coordinator.Unknown:
		return t.chance(0.3) // the drum is plainly empty: somebody forgot to tap
	}
	return false
}

// claim says that the load just started is the walk-up's.
func (t *Town) claim(e errand, w World) {
	if m := w.Snapshot(e.room).Machine(e.machine); m != nil && m.Load != nil && m.Load.Owner == "" && t.inside[Spot{e.room, e.machine}] == e.who {
		_ = w.Do(e.room, coordinator.Claim{Machine: e.machine, Person: e.who.id, Home: e.who.home})
	}
}
