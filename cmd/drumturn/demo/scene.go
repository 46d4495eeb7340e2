package demo

import (
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/meter/sim"
	"drumturn/queue"
)

// part is what somebody does in the scene that the demonstration opens with.
type part struct {
	programme sim.Programme
	laundry   sim.Laundry
	// endAt is when the programme is to be over; zero: startAtLatest counts.
	endAt time.Time
	// comeAt is when they come down, where endAt is zero.
	comeAt time.Time
	// collectAt is when they come for the load; zero: as they are wont to.
	collectAt time.Time
}

// startAt is when the called player presses the button.
func (p *part) startAt(now time.Time, at Spot, holdUntil time.Time, w World) time.Time {
	when := p.comeAt
	if !p.endAt.IsZero() {
		if c, err := w.Course(at, p.programme, p.laundry); err == nil {
			when = p.endAt.Add(-c.End)
		}
	}
	if latest := holdUntil.Add(-time.Minute); when.After(latest) {
		when = latest
	}
	if soonest := now.Add(20 * time.Second); when.Before(soonest) {
		when = soonest
	}
	return when
}

// Stage puts the scene of instant open on the agenda: every status on some
// machine, residents in the queue, the visitor among them and with a load in a
// washer. The rooms are cleared for it beforehand.
func (t *Town) Stage(open time.Time) {
	t.quietFrom, t.quietUntil = open.Add(-135*time.Minute), open
	t.service(open.Add(-112*time.Minute), leaveAll)
	t.service(open.Add(-105*time.Minute), stopAll)
	t.service(open.Add(-97*time.Minute), collectAll)
	for _, before := range []time.Duration{80, 60, 40, 20, 10} {
		t.service(open.Add(-before*time.Minute), tidy)
	}
	t.service(open.Add(-96*time.Minute), func(t *Town, _ time.Time, w World) { t.playCellar(open, w) })
	t.stageGarden(open)
}

// playCellar hands out the parts in the cellar.
func (t *Town) playCellar(open time.Time, w World) {
	cast := t.cast(w)
	wash := func(r *resident, p part) { t.enter(r, queue.Wash, "washer-1", p, w) }
	// The visitor's wash is over soon after the start.
	wash(t.byID[Visitor], part{programme: sim.Cotton40, laundry: sim.Laundry{Kg: 4, InletC: 14}, endAt: open.Add(8 * time.Minute)})
	// One runs, with an hour to go.
	wash(cast[0], part{programme: sim.Cotton60, laundry: sim.Laundry{Kg: 5, InletC: 14}, endAt: open.Add(58 * time.Minute)})
	// One is overdue: its owner comes only after the house has called somebody else.
	wash(cast[1], part{programme: sim.Quick, laundry: sim.Laundry{Kg: 4, InletC: 14}, endAt: open.Add(-22 * time.Minute), collectAt: open.Add(40 * time.Minute)})
	// A dryer is done since minutes.
	t.enter(cast[2], queue.Dry, "dryer-5", part{
		programme: sim.Dry, laundry: sim.Laundry{Kg: 3, Moisture: 0.55}, endAt: open.Add(-6 * time.Minute), collectAt: open.Add(5 * time.Minute),
	}, w)
	// Another is held for somebody who is on the way.
	t.scene[cast[3]] = &part{programme: sim.Dry, comeAt: open.Add(6 * time.Minute)}
	t.joinAt(open.Add(-4*time.Minute), cast[3], queue.Dry, false)
	// The queue for the washers.
	t.joinAt(open.Add(-20*time.Minute), cast[4], queue.Wash, true)
	t.joinAt(open.Add(-14*time.Minute), t.byID[Visitor], queue.Wash, false)
	t.joinAt(open.Add(-9*time.Minute), cast[5], queue.Wash, false)
}

// enter lets a player join so early that the hold covers their start.
func (t *Town) enter(r *resident, need queue.Need, like coordinator.MachineID, p part, w World) {
	t.scene[r] = &p
	c, err := w.Course(Spot{Cellar, like}, p.programme, p.laundry)
	if err != nil {
		panic("demo: a part that its machine cannot play: " + err.Error())
	}
	t.joinAt(p.endAt.Add(-c.End-5*time.Minute), r, need, false)
}

func (t *Town) joinAt(at time.Time, r *resident, need queue.Need, dryAfter bool) {
	t.service(at, func(_ *Town, _ time.Time, w World) {
		_ = w.Do(Cellar, coordinator.Join{Person: r.id, Home: r.home, Need: need, DryAfter: dryAfter})
	})
}

// cast picks six residents of the cellar from six homes that have no load there.
func (t *Town) cast(w World) []*resident {
	var cast []*resident
	taken := map[coordinator.HomeID]bool{homeID(visitorHome): true}
	for _, m := range w.Snapshot(Cellar).Machines {
		if m.Load != nil {
			taken[m.Load.Home] = true
		}
	}
	for _, r := range t.residents {
		if r.room == Cellar && !r.walksUp && !taken[r.home] && len(cast) < 6 {
			taken[r.home] = true
			cast = append(cast, r)
		}
	}
	return cast
}

// stageGarden takes the dryer out and lets the washer-dryer's meter fall silent.
func (t *Town) stageGarden(open time.Time) {
	t.service(open.Add(-27*time.Hour), func(t *Town, _ time.Time, w World) {
		r := t.residents[len(t.residents)-2]
		_ = w.Do(Garden, coordinator.ReportFault{Machine: "dryer-2", Person: r.id, Home: r.home, Text: "It squeals and the laundry stays cold."})
	})
	t.service(open.Add(-26*time.Hour), func(_ *Town, _ time.Time, w World) {
		_ = w.Do(Garden, coordinator.TakeOut{Machine: "dryer-2", Person: manager, Text: "The belt slips. A new one is on its way."})
	})
	t.service(open.Add(-45*time.Minute), func(_ *Town, _ time.Time, w World) {
		w.Silence(Spot{Garden, "washer-dryer-3"}, open.Add(6*time.Hour))
	})
}

// manager stands for the building manager in facts of the invented past.
const manager = coordinator.PersonID("manager")

// stageMonth puts what happens to a building in four weeks on the agenda.
func (t *Town) stageMonth(born time.Time) {
	day := func(n, hour int) time.Time { return born.AddDate(0, 0, n).Add(time.Duration(hour) * time.Hour) }
	t.service(day(11, 10), func(_ *Town, _ time.Time, w World) {
		_ = w.Do(Cellar, coordinator.TakeOut{Machine: "washer-2", Person: manager, Text: "The door seal is being replaced."})
	})
	t.service(day(12, 18), func(_ *Town, _ time.Time, w World) {
		_ = w.Do(Cellar, coordinator.PutBack{Machine: "washer-2", Person: manager})
	})
	t.service(day(19, 17), func(t *Town, now time.Time, w World) {
		for _, at := range t.spots {
			if at.Room == Cellar {
				w.Cut(at, now.Add(11*time.Minute))
			}
		}
	})
}

// leaveAll empties the queues.
func leaveAll(t *Town, _ time.Time, w World) {
	for _, plan := range t.plans {
		s := w.Snapshot(plan.ID)
		for i := range s.Turns {
			if turn := &s.Turns[i]; turn.State == queue.Waiting || turn.State == queue.Called {
				_ = w.Do(plan.ID, coordinator.Leave{Turn: turn.ID, Person: turn.Person, Home: turn.Home})
			}
		}
	}
}

// stopAll ends what still runs.
func stopAll(t *Town, now time.Time, w World) {
	leaveAll(t, now, w)
	for _, at := range t.spots {
		if running(w, at) {
			_ = w.Stop(at)
		}
	}
}

// collectAll empties all drums, and says so.
func collectAll(t *Town, now time.Time, w World) {
	leaveAll(t, now, w)
	for _, at := range t.spots {
		_ = w.Empty(at, true)
		delete(t.inside, at)
	}
	tidy(t, now, w)
}

// tidy tells the rooms of loads that are theirs only on paper.
func tidy(t *Town, _ time.Time, w World) {
	for _, at := range t.spots {
		if t.inside[at] != nil {
			continue
		}
		if m := w.Snapshot(at.Room).Machine(at.Machine); m.Load != nil && m.Load.Ready() {
			_ = w.Do(at.Room, coordinator.Collect{Machine: at.Machine, Person: m.Load.Owner, Home: m.Load.Home})
		}
	}
}
