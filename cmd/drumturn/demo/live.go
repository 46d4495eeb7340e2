package demo

import (
	"context"
	"sync"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/meter"
	"drumturn/coordinator/meter/sim"
)

// Doors are the rooms as the running program offers them.
type Doors interface {
	Snapshot(coordinator.RoomID) *coordinator.Snapshot
	// Watch returns a channel that gets a value when a room has a newer snapshot.
	Watch(coordinator.RoomID) (<-chan struct{}, func())
	Do(context.Context, coordinator.RoomID, coordinator.Event) (coordinator.Reply, error)
}

// Live is the town while the demonstration runs: its machines are behind meter
// drivers, and its residents use the rooms' doors.
type Live struct {
	// mu guards the town, which Run has for itself but for short looks.
	mu      sync.Mutex
	town    *Town
	clock   meter.Clock
	spots   []Spot
	drivers map[Spot]*sim.Driver
}

// Live hands the town's machines over to drivers that go on from where they
// are. The town must not be used otherwise from now on.
func (t *Town) Live(clock meter.Clock) *Live {
	l := &Live{town: t, clock: clock, spots: t.spots, drivers: map[Spot]*sim.Driver{}}
	for i := range appliances {
		a := &appliances[i]
		at := Spot{a.room, a.id}
		l.drivers[at] = sim.NewDriver(a.meterName(), t.machines[at], t.meters[at], clock)
	}
	return l
}

// Drivers are the meter drivers, to be run and supervised like any others.
func (l *Live) Drivers() []meter.Driver {
	all := make([]meter.Driver, 0, len(l.spots))
	for _, at := range l.spots {
		all = append(all, l.drivers[at])
	}
	return all
}

// Machine is the driver of one machine, for a page or test that presses its
// buttons; nil when there is no such machine.
func (l *Live) Machine(room coordinator.RoomID, id coordinator.MachineID) *sim.Driver {
	return l.drivers[Spot{room, id}]
}

// Run lets the residents live until ctx ends.
func (l *Live) Run(ctx context.Context, doors Doors) error {
	changed, stop := l.watch(doors)
	defer stop()
	w := &liveWorld{Live: l, ctx: ctx, doors: doors}
	l.mu.Lock()
	l.town.enliven(l.clock.Now())
	l.mu.Unlock()
	for ctx.Err() == nil {
		l.wait(ctx, changed, l.turn(w))
	}
	return nil
}

// turn lets everybody look and do what is due, and returns when somebody next
// has something to do.
func (l *Live) turn(w *liveWorld) time.Time {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.clock.Now()
	l.town.Act(now, w)
	for _, plan := range l.town.plans {
		if s := w.doors.Snapshot(plan.ID); s != nil {
			l.town.Observe(now, s, w)
		}
	}
	return l.town.Next()
}

// Inside is whose laundry is in a drum, whatever the room believes; empty for nobody's.
func (l *Live) Inside(room coordinator.RoomID, id coordinator.MachineID) coordinator.PersonID {
	l.mu.Lock()
	defer l.mu.Unlock()
	if who := l.town.inside[Spot{room, id}]; who != nil {
		return who.id
	}
	return ""
}

// wait waits until somebody has something to do, or a room has changed.
func (l *Live) wait(ctx context.Context, changed <-chan struct{}, next time.Time) {
	reached, release := l.clock.At(next)
	defer release()
	select {
	case <-ctx.Done():
	case <-reached:
	case <-changed:
	}
}

// watch joins the rooms' channels into one.
func (l *Live) watch(doors Doors) (changed <-chan struct{}, stop func()) {
	any := make(chan struct{}, 1)
	quit := make(chan struct{})
	var ends []func()
	var wg sync.WaitGroup
	for _, plan := range l.town.plans {
		ch, end := doors.Watch(plan.ID)
		ends = append(ends, end)
		wg.Go(func() { forward(ch, any, quit) })
	}
	return any, func() {
		close(quit)
		for _, end := range ends {
			end()
		}
		wg.Wait()
	}
}

func forward(from <-chan struct{}, to chan<- struct{}, quit <-chan struct{}) {
	for {
		select {
		case <-quit:
			return
		case <-from:
			select {
			case to <- struct{}{}:
			default:
			}
		}
	}
}

// enliven lets people wash at any hour from now on, so that there is something
// to see whenever the demonstration is started.
func (t *Town) enliven(now time.Time) {
	t.least = 0.6
	kept := t.agenda.list[:0]
	for _, e := range t.agenda.list {
		if e.task != toWash || e.tries > 0 {
			kept = append(kept, e)
		}
	}
	t.agenda.rest(kept)
	for _, r := range t.residents {
		t.planWash(r, now)
	}
}

// liveWorld is the world as it is now.
type liveWorld struct {
	*Live
	ctx   context.Context
	doors Doors
}

var _ World = (*liveWorld)(nil)

// Snapshot is what a room shows.
func (w *liveWorld) Snapshot(id coordinator.RoomID) *coordinator.Snapshot {
	return w.doors.Snapshot(id)
}

// Do takes an event to a room and waits for the commit.
func (w *liveWorld) Do(id coordinator.RoomID, ev coordinator.Event) error {
	_, err := w.doors.Do(w.ctx, id, ev)
	return err
}

// Start presses a button.
func (w *liveWorld) Start(at Spot, p sim.Programme, l sim.Laundry) error {
	_, err := w.drivers[at].Start(p, l)
	return err
}

// Stop presses the other button.
func (w *liveWorld) Stop(at Spot) error { return w.drivers[at].Stop() }

// Empty opens a door.
func (w *liveWorld) Empty(at Spot, switchOff bool) error { return w.drivers[at].Empty(switchOff) }

// Last is a machine's newest run.
func (w *liveWorld) Last(at Spot) (sim.Run, bool) {
	run, _, _, ok := w.drivers[at].Truth()
	return run, ok && w.clock.Now().Before(run.End)
}

// Course looks ahead.
func (w *liveWorld) Course(at Spot, p sim.Programme, l sim.Laundry) (sim.Course, error) {
	return w.drivers[at].Preview(p, l)
}

// Silence makes a meter silent.
func (w *liveWorld) Silence(at Spot, until time.Time) {
	w.drivers[at].Silence(until.Sub(w.clock.Now()))
}

// Cut takes the supply away.
func (w *liveWorld) Cut(at Spot, until time.Time) {
	_ = w.drivers[at].Cut(until.Sub(w.clock.Now()), true)
}
