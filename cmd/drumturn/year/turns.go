package year

import (
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// turns is the policy of the queue: the real room.
type turns struct {
	*house
	core   *coordinator.Room
	people map[coordinator.PersonID]*life
	ticked time.Time
	ask    scoring
	asking bool // a round of questions is on the agenda
}

// askEvery is how often those who wait look at their forecast.
const askEvery = 5 * time.Minute

// Turns lets the setting live with drumturn's queue, its machines watched by
// engines of the given make, under the default house rules.
func Turns(s *Setting, wishes []Wish, engine coordinator.NewEngine) *Report {
	h := newHouse(s, wishes, "drumturn")
	p := &turns{house: h, people: map[coordinator.PersonID]*life{}, ask: newScoring(s)}
	h.how = p
	for _, l := range h.lives {
		p.people[l.person()] = l
	}
	p.core = coordinator.NewRoom(p.plan(), engine)
	p.step(coordinator.Founded{})
	for i, d := range p.drums {
		// The meters do not look all at once.
		p.look(d, s.Born.Add(time.Duration(i)*11*time.Second))
	}
	h.run(p.due, func() {
		p.ticked = p.now
		p.step(coordinator.Tick{})
	})
	h.report.Forecasts = p.ask.close()
	return h.finish()
}

// plan wires the room.
func (p *turns) plan() coordinator.Plan {
	rules := coordinator.DefaultRules()
	for day := range rules.Hours {
		rules.Hours[day].Opens = queue.Clock(opensAt.Minutes())
		rules.Hours[day].LastStart = queue.Clock(lastStart.Minutes())
	}
	if p.set.Rules != nil {
		p.set.Rules(&rules)
	}
	plan := coordinator.Plan{ID: "room", Name: "Laundry", Zone: time.UTC, Seed: rules}
	for i, d := range p.drums {
		power := cycle.DefaultSettings()
		power.Washer, power.Dryer = d.kind == queue.Washer, d.kind == queue.Dryer
		plan.Machines = append(plan.Machines, coordinator.Machine{
			Machine: queue.Machine{ID: d.id, Number: i + 1, Kind: d.kind}, Meter: string(d.id), Power: power,
		})
	}
	return plan
}

// due is the room's next deadline. What a tick has not settled is not asked for
// again at the same instant.
func (p *turns) due() time.Time {
	due := p.core.Deadline()
	if !due.IsZero() && !due.After(p.ticked) {
		return p.ticked.Add(time.Second)
	}
	return due
}

// look takes a reading now and then.
func (p *turns) look(d *drum, first time.Time) {
	var at time.Time
	var again func()
	again = func() {
		r := cycle.Power(p.now, d.tape.mean(p.now.Add(-every), p.now))
		p.take(p.core.Measure(p.now, d.id, r))
		at = at.Add(every)
		p.todo.add(at, again)
	}
	at = first
	p.todo.add(at, again)
}

// step tells the room of an event. A refusal is the resident's bad luck.
func (p *turns) step(ev coordinator.Event) (coordinator.Reply, error) {
	set, reply, err := p.core.Step(p.now, ev)
	p.take(set)
	return reply, err
}

// take lets people react to what a step of the room told them.
func (p *turns) take(set coordinator.ChangeSet) {
	for i := range set.Facts {
		switch f := &set.Facts[i]; f.Kind {
		case coordinator.FactCalled:
			p.ask.called(f.Turn, f.At)
		case coordinator.FactCycle:
			p.report.Cycles++
		}
	}
	for i := range set.Notices {
		n := &set.Notices[i]
		if l := p.people[n.To]; l != nil {
			p.hear(l, n)
		}
	}
}

// questions lets everybody who waits look at their forecast, for as long as anybody does.
func (p *turns) questions() {
	if p.asking {
		return
	}
	p.asking = true
	p.todo.add(p.now.Add(askEvery), func() {
		p.asking = false
		s := p.foreseen()
		for i := range s.Forecasts {
			if p.questions(); p.mayStart() { // nobody looks at night
				p.ask.asked(s, &s.Forecasts[i], false)
			}
		}
	})
}

// foreseen is the room now, with its forecasts.
func (p *turns) foreseen() *coordinator.Snapshot {
	snap := p.core.Snapshot(p.now)
	return snap.With(p.core.Foresee(snap).Prospects())
}
