package demo

import (
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/meter/sim"
	"drumturn/queue"
)

// seeCall reacts to a call: most come down within minutes, some let the next
// one go first, some miss it.
func (t *Town) seeCall(now time.Time, s *coordinator.Snapshot, id coordinator.TurnID, w World) {
	turn := s.Turn(id)
	who := t.byID[turn.Person]
	key := callKey{s.Room, id, turn.Calls}
	if turn.State != queue.Called || who == nil || t.called[key] {
		return
	}
	t.called[key] = true
	come := errand{at: now.Add(min(delay(t.rng, 4*time.Minute), 15*time.Minute)), task: toStart, who: who, room: s.Room, turn: id}
	if p := t.scene[who]; p != nil {
		come.at = p.startAt(now, Spot{s.Room, turn.Machine}, turn.HoldUntil, w)
		t.agenda.add(come)
		return
	}
	if t.chance(who.misses) {
		return
	}
	if t.chance(0.04) && who.id != Visitor {
		t.service(now.Add(time.Minute), func(_ *Town, now time.Time, w World) { later(now, s.Room, id, who, w) })
		return
	}
	t.agenda.add(come)
}

// later is a called resident who cannot come: somebody else may go first, or
// the call is to come again in a while.
func later(now time.Time, room coordinator.RoomID, turn coordinator.TurnID, who *resident, w World) {
	if w.Do(room, coordinator.LetNext{Turn: turn, Person: who.id, Home: who.home}) != nil {
		_ = w.Do(room, coordinator.NotNow{Turn: turn, Person: who.id, Home: who.home, Until: now.Add(40 * time.Minute)})
	}
}

// comeToStart is a called resident at the machine.
func (t *Town) comeToStart(now time.Time, e errand, w World) {
	s := w.Snapshot(e.room)
	turn := s.Turn(e.turn)
	if turn == nil || turn.State != queue.Called {
		return
	}
	if turn.Behind != 0 { // called ahead, and the wash takes a little longer
		e.at = now.Add(time.Minute)
		t.agenda.add(e)
		return
	}
	m := s.Machine(turn.Machine)
	at := Spot{e.room, turn.Machine}
	if running(w, at) {
		// Somebody has taken it: the room will see, and call again.
		return
	}
	t.clearDrum(at, m, e.who, w)
	p := sim.For(m.Kind, turn.Need, t.rng.Float64())
	laundry := sim.Laundry{}
	scripted := t.scene[e.who]
	if scripted != nil {
		p, laundry = scripted.programme, scripted.laundry
		if scripted.collectAt.IsZero() {
			delete(t.scene, e.who)
		}
	} else if t.chance(0.08) {
		laundry = sim.Laundry{Kg: m.CapacityKg, Moisture: 1} // full and wringing wet
	}
	if turn.Need == queue.Dry {
		t.takeFromWasher(e, s, w)
	}
	if t.start(at, e.who, p, laundry, w) && scripted == nil {
		t.forgottenSock(now, at, p, laundry)
	}
}

// clearDrum takes a stranger's load out of the machine, if one is in it.
func (t *Town) clearDrum(at Spot, m *coordinator.MachineView, who *resident, w World) {
	full := t.inside[at] != nil
	if full {
		_ = w.Empty(at, false)
		t.inside[at] = nil
	}
	if m.Load != nil && t.chance(0.8) {
		_ = w.Do(at.Room, coordinator.Collect{Machine: at.Machine, Person: who.id, Home: who.home, OnTable: full})
	}
}

// takeFromWasher carries the resident's own finished wash over to the dryer.
func (t *Town) takeFromWasher(e errand, s *coordinator.Snapshot, w World) {
	for i := range s.Machines {
		m := &s.Machines[i]
		at := Spot{e.room, m.ID}
		if m.Kind == queue.Dryer || t.inside[at] != e.who || running(w, at) {
			continue
		}
		t.takeOut(at, e.who, w)
	}
}

// start presses the button.
func (t *Town) start(at Spot, who *resident, p sim.Programme, l sim.Laundry, w World) bool {
	if w.Start(at, p, l) != nil {
		return false
	}
	t.inside[at] = who
	if who.walksUp {
		// Nobody tells them: they come back when they think that it is done.
		run, _ := w.Last(at)
		t.agenda.add(errand{at: run.End.Add(t.lateness(who)), task: toPickUp, who: who, room: at.Room, machine: at.Machine})
	}
	return true
}

// forgottenSock lets a few stop a wash because of something forgotten, and
// start it once more.
func (t *Town) forgottenSock(now time.Time, at Spot, p sim.Programme, l sim.Laundry) {
	if !p.Washes() || !t.chance(0.02) {
		return
	}
	again := func(t *Town, now time.Time, w World) {
		if !t.quiet(now) {
			_ = w.Start(at, p, l)
		}
	}
	t.service(now.Add(delay(t.rng, 6*time.Minute)), func(t *Town, now time.Time, w World) {
		if running(w, at) && w.Stop(at) == nil {
			t.service(now.Add(2*time.Minute), again)
		}
	})
}

// running reports whether a machine runs a programme.
func running(w World, at Spot) bool {
	_, is := w.Last(at)
	return is
}

// service puts something on the agenda that is nobody's wash.
func (t *Town) service(at time.Time, do func(t *Town, now time.Time, w World)) {
	t.agenda.add(errand{at: at, task: toService, do: do})
}

// giveUp leaves the queue after too long a wait.
func (t *Town) giveUp(e errand, w World) {
	turn := w.Snapshot(e.room).Turn(e.turn)
	if turn != nil && turn.Person == e.who.id && turn.State == queue.Waiting {
		_ = w.Do(e.room, coordinator.Leave{Turn: e.turn, Person: e.who.id, Home: e.who.home})
	}
}
