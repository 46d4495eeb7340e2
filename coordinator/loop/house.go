package loop

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

// ErrNoMachine is answered for the readings of a meter that nobody has.
var ErrNoMachine = errors.New("no machine is behind meter")

// House is all the loops of a building: its rooms and its people.
type House struct {
	clock  Clock
	log    *slog.Logger
	order  []coordinator.RoomID
	rooms  map[coordinator.RoomID]*Room
	people *People
	// meters leads from a meter's name to the machine behind it.
	meters map[string]place
	wake   watchers
	// left is woken when somebody may have left whom rooms are to be told of;
	// telling keeps two from telling at a time.
	left    chan struct{}
	telling chan struct{}
	store   Store
}

type place struct {
	room    *Room
	machine coordinator.MachineID
}

// Open loads the building from the store. The loops run in Run.
func Open(ctx context.Context, plans []coordinator.Plan, engine coordinator.NewEngine, store Store, clock Clock, log *slog.Logger) (*House, error) {
	h := &House{clock: clock, log: log, store: store, left: make(chan struct{}, 1), telling: make(chan struct{}, 1), rooms: map[coordinator.RoomID]*Room{}, meters: map[string]place{}}
	people, err := NewPeople(ctx, store, clock)
	if err != nil {
		return nil, err
	}
	h.people = people
	for _, plan := range plans {
		room, err := NewRoom(ctx, plan, engine, store, clock, log.With("room", string(plan.ID)), h.wake.wake)
		if err != nil {
			return nil, err
		}
		h.order = append(h.order, plan.ID)
		h.rooms[plan.ID] = room
		for _, m := range plan.Machines {
			if m.Meter != "" {
				h.meters[m.Meter] = place{room, m.ID}
			}
		}
	}
	return h, nil
}

// Run runs all loops until ctx ends or one fails; then all stop.
func (h *House) Run(ctx context.Context) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	runs := []func(context.Context) error{h.people.Run, h.runDepartures}
	for _, id := range h.order {
		runs = append(runs, h.rooms[id].Run)
	}
	errs := make([]error, len(runs))
	var wg sync.WaitGroup
	for i, run := range runs {
		wg.Go(func() {
			errs[i] = run(ctx)
			cancel(errs[i]) // nil: an orderly end
		})
	}
	wg.Wait()
	return errors.Join(errs...)
}

// Now is the building's clock.
func (h *House) Now() time.Time { return h.clock.Now() }

// Rooms lists the rooms in the building's order.
func (h *House) Rooms() []coordinator.RoomID { return h.order }

// Snapshot is a room as last published; nil when there is no such room.
func (h *House) Snapshot(id coordinator.RoomID) *coordinator.Snapshot {
	if r := h.rooms[id]; r != nil {
		return r.Snapshot()
	}
	return nil
}

// Watch tells of a room's new snapshots. A room that is not there never changes.
func (h *House) Watch(id coordinator.RoomID) (<-chan struct{}, func()) {
	if r := h.rooms[id]; r != nil {
		return r.Watch()
	}
	return nil, func() {}
}

// Committed tells of commits that changed any room: notices may wait.
func (h *House) Committed() (<-chan struct{}, func()) { return h.wake.add() }

// Do takes an event to a room and answers after its commit.
func (h *House) Do(ctx context.Context, id coordinator.RoomID, ev coordinator.Event) (coordinator.Reply, error) {
	r := h.rooms[id]
	if r == nil {
		return coordinator.Reply{}, coordinator.Refuse(coordinator.NotFound, "room.unknown", "There is no room “{room}” in this building.", "room", id)
	}
	if join, ok := ev.(coordinator.Join); ok {
		people := h.People()
		if err := people.MayTakeTurn(join.Person, join.Home); err != nil {
			return coordinator.Reply{}, err
		}
		join.Guest = !people.Persons[join.Person].Guest.IsZero()
		ev = join
	}
	return r.Do(ctx, ev)
}

// People is the building's people as last committed.
func (h *House) People() *coordinator.People { return h.people.Snapshot() }

// Deliver takes a reading of a meter to its machine, and returns when it is in
// the room's inbox.
func (h *House) Deliver(ctx context.Context, meter string, reading cycle.Reading) error {
	p, ok := h.meters[meter]
	if !ok {
		return fmt.Errorf("%w %q: name it in the building file", ErrNoMachine, meter)
	}
	return p.room.Deliver(ctx, p.machine, reading)
}

// Door takes what the contact at a meter says of its machine's door, and returns
// when it is in the room's inbox.
func (h *House) Door(ctx context.Context, meter string, open bool) error {
	p, ok := h.meters[meter]
	if !ok {
		return fmt.Errorf("%w %q: name it in the building file", ErrNoMachine, meter)
	}
	return p.room.enqueue(ctx, item{at: p.room.clock.Now(), event: coordinator.Door{Machine: p.machine, Open: open}})
}

// Seed takes events to the building's people before Run, for what a new
// building needs. It must not be called once Run has been.
func (h *House) Seed(ctx context.Context, events ...coordinator.PeopleEvent) error {
	for _, ev := range events {
		it := peopleItem{event: ev, answer: make(chan error, 1)}
		if err := h.people.take(ctx, it); err != nil {
			return fmt.Errorf("seed the building's people: %w", err)
		}
		if err := <-it.answer; err != nil {
			return fmt.Errorf("seed the building's people: %w", err)
		}
	}
	return nil
}
