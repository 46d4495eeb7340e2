package demo

import (
	"context"
	"errors"
	"fmt"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/meter/sim"
)

// Committer is what the past needs of a store.
type Committer interface {
	Commit(ctx context.Context, sets ...coordinator.ChangeSet) error
}

const (
	// batchSets is how many change sets go into one transaction.
	batchSets = 512
	// bufferReadings is how many readings of a room are stored at once.
	bufferReadings = 4096
)

// past is the fast world: the real core, without loops.
type past struct {
	town  *Town
	ctx   context.Context
	store Committer
	rooms []*pastRoom
	eyes  []*eye
	batch []coordinator.ChangeSet
	now   time.Time
	err   error
}

// pastRoom is one room of the fast world.
type pastRoom struct {
	id     coordinator.RoomID
	core   *coordinator.Room
	snap   *coordinator.Snapshot // nil when it must be made anew
	due    time.Time             // its next deadline
	ticked time.Time
	moved  bool // something changed that residents have not seen
	buffer []coordinator.MachineReading
}

// eye is a meter and when it looks next.
type eye struct {
	at      Spot
	room    *pastRoom
	machine *sim.Machine
	meter   *sim.Meter
	next    time.Time
}

// Past lets the town live from born until open and stores what the rooms say,
// ending with the scene of Stage. Notices of the past are not stored: nobody is
// to be told now of what was ready weeks ago. visitorSession is the hash of the
// visitor's cookie, which lasts until expires.
func (t *Town) Past(ctx context.Context, store Committer, engine coordinator.NewEngine, born, open time.Time, visitorSession string, expires time.Time) error {
	_, err := t.live(ctx, store, engine, born, open, visitorSession, expires)
	return err
}

// live does what Past says, and returns the world as it ends.
func (t *Town) live(ctx context.Context, store Committer, engine coordinator.NewEngine, born, open time.Time, visitorSession string, expires time.Time) (*past, error) {
	p := &past{town: t, ctx: ctx, store: store, now: born}
	for _, plan := range t.plans {
		p.rooms = append(p.rooms, &pastRoom{id: plan.ID, core: coordinator.NewRoom(plan, engine)})
	}
	for _, at := range t.spots {
		e := &eye{at: at, room: p.room(at.Room), machine: t.machines[at], meter: t.meters[at]}
		e.next = e.meter.Next(e.machine)
		p.eyes = append(p.eyes, e)
	}
	if err := p.people(born, visitorSession, expires); err != nil {
		return nil, err
	}
	t.stageMonth(born)
	t.Stage(open)

	for p.err == nil && ctx.Err() == nil && p.advance(open) {
	}
	if p.err == nil && ctx.Err() == nil {
		p.finish(open)
	}
	return p, errors.Join(p.err, ctx.Err())
}

// people stores who lives in the building.
func (p *past) people(born time.Time, visitorSession string, expires time.Time) error {
	people, err := coordinator.RestorePeople(coordinator.Stored{})
	if err != nil {
		return err
	}
	events := append(p.town.peopleEvents(visitorSession, expires), coordinator.SetTariff{Tariff: Tariff()})
	for _, ev := range events {
		next, set, err := people.Step(born, ev)
		if err != nil {
			return fmt.Errorf("invent the residents: %w", err)
		}
		people = next
		p.keep(set)
	}
	return p.flush()
}

// advance does whatever comes next; false when that is not before until.
func (p *past) advance(until time.Time) bool {
	at := p.town.Next()
	var room *pastRoom
	var look *eye
	for _, r := range p.rooms {
		if due := r.deadline(); !due.IsZero() && due.Before(at) {
			at, room = due, r
		}
	}
	for _, e := range p.eyes {
		if e.next.Before(at) {
			at, room, look = e.next, nil, e
		}
	}
	if !at.Before(until) {
		return false
	}
	if at.After(p.now) {
		p.now = at
	}
	switch {
	case look != nil:
		p.look(look)
	case room != nil:
		room.ticked = p.now
		p.step(room, coordinator.Tick{})
	default:
		p.town.Act(p.now, p)
	}
	p.observe()
	return true
}

// deadline is when the room next wants a tick: what a tick has not settled is
// not asked for again at the same instant.
func (r *pastRoom) deadline() time.Time {
	if !r.due.IsZero() && !r.due.After(r.ticked) {
		return r.ticked.Add(time.Second)
	}
	return r.due
}

// look takes one reading.
func (p *past) look(e *eye) {
	reading, ok := e.meter.Look(e.machine, e.next)
	e.next = e.meter.Next(e.machine)
	if !ok {
		return
	}
	r := e.room
	r.buffer = append(r.buffer, coordinator.MachineReading{Machine: e.at.Machine, Reading: reading})
	p.take(r, r.core.Measure(p.now, e.at.Machine, reading))
	if len(r.buffer) >= bufferReadings {
		p.keep(coordinator.ChangeSet{Unit: r.id, At: p.now, Readings: r.buffer})
		r.buffer = nil
	}
}

func (p *past) step(r *pastRoom, ev coordinator.Event) error {
	set, _, err := r.core.Step(p.now, ev)
	p.take(r, set)
	return err
}

// take keeps a room's change set for the store.
func (p *past) take(r *pastRoom, set coordinator.ChangeSet) {
	r.due = r.core.Deadline()
	r.snap = nil
	if !set.Moves() {
		return
	}
	r.moved = true
	set.Notices, set.Withdraw = nil, nil
	p.keep(set)
}

// keep adds a set to the batch.
func (p *past) keep(set coordinator.ChangeSet) {
	p.batch = append(p.batch, set)
	if len(p.batch) >= batchSets && p.err == nil {
		p.err = p.flush()
	}
}

func (p *past) flush() error {
	err := p.store.Commit(p.ctx, p.batch...)
	clear(p.batch)
	p.batch = p.batch[:0]
	return err
}

// observe lets residents see the rooms that changed.
func (p *past) observe() {
	for _, r := range p.rooms {
		for r.moved {
			r.moved = false
			p.town.Observe(p.now, p.Snapshot(r.id), p)
		}
	}
}

// finish stores the engines' memory and whatever is left.

func (p *past) finish(open time.Time) {
	for _, r := range p.rooms {
		p.keep(coordinator.ChangeSet{Unit: r.id, At: open, Readings: r.buffer})
		p.take(r, r.core.Checkpoint(open))
	}
	if p.err == nil {
		p.err = p.flush()
	}
}

func (p *past) room(id coordinator.RoomID) *pastRoom {
	for _, r := range p.rooms {
		if r.id == id {
			return r
		}
	}
	return nil
}

func (p *past) eye(at Spot) *eye {
	for _, e := range p.eyes {
		if e.at == at {
			return e
		}
	}
	return nil
}

// touched looks up a machine, and its meter's next look afterwards.
func (p *past) touched(at Spot, do func(e *eye) error) error {
	e := p.eye(at)
	err := do(e)
	if next := e.meter.Next(e.machine); next.After(p.now) {
		e.next = next
	} else {
		e.next = p.now
	}
	return err
}
