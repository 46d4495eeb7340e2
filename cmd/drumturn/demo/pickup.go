package demo

import (
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// lateness is how long after being told a resident comes for a load.
func (t *Town) lateness(r *resident) time.Duration {
	return min(time.Duration(r.late*float64(delay(t.rng, 7*time.Minute))), 10*time.Hour)
}

// seeReady reacts to a ready notice, and again to each nudge.
func (t *Town) seeReady(now time.Time, room coordinator.RoomID, m *coordinator.MachineView) {
	l := m.Load
	who := t.byID[l.Owner]
	key := loadKey{room, l.ID, l.Steps}
	if who == nil || who.id == Visitor || t.ready[key] {
		return
	}
	t.ready[key] = true
	if p := t.scene[who]; p != nil {
		if l.Steps == 0 {
			t.agenda.add(errand{at: p.collectAt, task: toPickUp, who: who, room: room, machine: m.ID, load: l.ID})
		}
		return
	}
	after := t.lateness(who)
	if l.Steps > 0 {
		after = delay(t.rng, 20*time.Minute) // a nudge hurries them
	}
	t.agenda.add(errand{at: now.Add(after), task: toPickUp, who: who, room: room, machine: m.ID, load: l.ID})
}

// comeToPickUp takes the load out, if it is still there and the machine is done.
func (t *Town) comeToPickUp(now time.Time, e errand, w World) {
	at := Spot{e.room, e.machine}
	if t.inside[at] != e.who {
		t.fetch(e, w)
		return
	}
	if p := t.scene[e.who]; p != nil {
		if e.at.Before(p.collectAt) {
			return // an errand from before the scene
		}
		delete(t.scene, e.who)
	}
	if running(w, at) {
		e.at = now.Add(10 * time.Minute)
		t.agenda.add(e)
		return
	}
	washed := t.takeOut(at, e.who, w)
	if washed && !t.booked(e, w) && t.chance(0.4) {
		t.agenda.add(errand{at: now.Add(time.Minute), task: toDry, who: e.who, room: e.room})
	}
}

// fetch takes from the table what a neighbour put there; whether the room hears of
// it depends on the resident.
func (t *Town) fetch(e errand, w World) {
	for _, l := range w.Snapshot(e.room).Table {
		if l.Of(e.who.id, e.who.home) && t.chance(e.who.taps) {
			_ = w.Do(e.room, coordinator.Fetched{Load: l.Load, Person: e.who.id, Home: e.who.home})
		}
	}
}

// takeOut empties the drum; whether the room hears of it depends on the resident.
// It reports whether the load was a wash that may want drying.
func (t *Town) takeOut(at Spot, who *resident, w World) (washed bool) {
	if w.Empty(at, t.chance(0.6)) != nil {
		return false
	}
	t.inside[at] = nil
	run, _ := w.Last(at)
	m := w.Snapshot(at.Room).Machine(at.Machine)
	if m.Load != nil && m.Load.Ready() && m.Load.Owner == who.id && t.chance(who.taps) {
		_ = w.Do(at.Room, coordinator.Collect{Machine: at.Machine, Person: who.id, Home: who.home})
	}
	return run.Programme.Washes() && !run.Programme.Dries()
}

// booked reports whether a dryer turn of the resident is in the queue already.
func (t *Town) booked(e errand, w World) bool {
	s := w.Snapshot(e.room)
	for i := range s.Turns {
		if turn := &s.Turns[i]; turn.Person == e.who.id && turn.Need == queue.Dry {
			return true
		}
	}
	return false
}

// followVisitor empties the drums whose loads the visitor has said to have
// collected: in the demonstration a tap is all that they can do.
func (t *Town) followVisitor(now time.Time, s *coordinator.Snapshot, w World) {
	for i := range s.Machines {
		at := Spot{s.Room, s.Machines[i].ID}
		who := t.inside[at]
		if who == nil || who.id != Visitor || s.Machines[i].Load != nil || running(w, at) {
			continue
		}
		if run, _ := w.Last(at); now.Sub(run.End) > time.Minute && w.Empty(at, true) == nil {
			t.inside[at] = nil
		}
	}
}
