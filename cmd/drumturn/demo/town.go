package demo

import (
	"math/rand/v2"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/meter/sim"
)

// World is what residents can see and do: the rooms through their doors, and
// the machines by hand.
type World interface {
	// Snapshot is what a room shows.
	Snapshot(coordinator.RoomID) *coordinator.Snapshot
	// Do takes an event to a room. Refusals are the resident's bad luck.
	Do(coordinator.RoomID, coordinator.Event) error
	// Start presses a machine's button.
	Start(Spot, sim.Programme, sim.Laundry) error
	// Stop ends its programme early.
	Stop(Spot) error
	// Empty opens its door and takes the laundry out.
	Empty(at Spot, switchOff bool) error
	// Last is a machine's newest run, and whether it still runs.
	Last(Spot) (run sim.Run, running bool)
	// Course is what a programme would be if it were started next.
	Course(Spot, sim.Programme, sim.Laundry) (sim.Course, error)
	// Silence makes its meter say nothing until an instant, Cut takes its supply away.
	Silence(at Spot, until time.Time)
	Cut(at Spot, until time.Time)
}

// Spot is one machine of the building.
type Spot struct {
	Room    coordinator.RoomID
	Machine coordinator.MachineID
}

// Town is the invented residents, what they are about to do, and what is in the
// machines. It has no clock, and is not safe for use by two goroutines.
type Town struct {
	zone      *time.Location
	plans     []coordinator.Plan
	rng       *rand.Rand
	residents []*resident
	byID      map[coordinator.PersonID]*resident
	agenda    agenda
	machines  map[Spot]*sim.Machine
	meters    map[Spot]*sim.Meter
	// inside is whose laundry is in a drum, whatever the room believes.
	inside map[Spot]*resident
	// called and ready are the calls and ready loads that were reacted to.
	called map[callKey]bool
	ready  map[loadKey]bool
	// quietFrom and quietUntil bound a time in which only the scene is played.
	quietFrom, quietUntil time.Time
	// least is how keen people are at night; above 0 while the demonstration runs.
	least float64
	// scene are those who act by a script until everything stands ready.
	scene map[*resident]*part
	// spots are the machines in the building's order.
	spots []Spot
}

type callKey struct {
	room  coordinator.RoomID
	turn  coordinator.TurnID
	calls int
}

type loadKey struct {
	room coordinator.RoomID
	load coordinator.LoadID
	// told counts the ready notice and the nudges.
	told int
}

// New invents a building whose life begins at born.
func New(seed uint64, born time.Time, zone *time.Location) *Town {
	rng := rand.New(rand.NewPCG(seed, 0xd41))
	t := &Town{
		zone: zone, plans: Plans(zone), rng: rng, residents: newResidents(rng),
		byID:     map[coordinator.PersonID]*resident{},
		machines: map[Spot]*sim.Machine{}, meters: map[Spot]*sim.Meter{}, inside: map[Spot]*resident{},
		called: map[callKey]bool{}, ready: map[loadKey]bool{}, scene: map[*resident]*part{},
	}
	for _, r := range t.residents {
		t.byID[r.id] = r
		t.planWash(r, born)
	}
	for i := range appliances {
		a := &appliances[i]
		s := Spot{a.room, a.id}
		t.spots = append(t.spots, s)
		own := seed*1000 + uint64(i)
		t.machines[s] = sim.NewMachine(a.simulated().Vary(own), own, born)
		// The meters do not look all at once.
		t.meters[s] = sim.NewMeter(meterModel(), own, born.Add(time.Duration(i)*700*time.Millisecond))
	}
	return t
}

// planWash puts the resident's next wash on the agenda.
func (t *Town) planWash(r *resident, after time.Time) {
	if r.weekly <= 0 {
		return
	}
	at := nextWash(t.rng, after, r.weekly, t.least, t.zone)
	if !at.Before(t.quietFrom) && at.Before(t.quietUntil) {
		at = t.quietUntil.Add(delay(t.rng, 20*time.Minute))
	}
	t.agenda.add(errand{at: at, task: toWash, who: r, room: r.room})
}

// Next is the instant at which somebody next does something of their own accord.
func (t *Town) Next() time.Time { return t.agenda.next() }

// Act lets everybody do what is due.
func (t *Town) Act(now time.Time, w World) {
	for e, due := t.agenda.pop(now); due; e, due = t.agenda.pop(now) {
		t.run(now, e, w)
	}
}

func (t *Town) run(now time.Time, e errand, w World) {
	switch e.task {
	case toWash:
		t.wantToWash(now, e, w)
	case toDry:
		t.wantToDry(now, e, w)
	case toStart:
		t.comeToStart(now, e, w)
	case toPickUp:
		t.comeToPickUp(now, e, w)
	case toClaim:
		t.claim(e, w)
	case toGiveUp:
		t.giveUp(e, w)
	case toService:
		e.do(t, now, w)
	}
}

// Observe lets residents see what a room shows now: calls, ready loads, nudges.
func (t *Town) Observe(now time.Time, s *coordinator.Snapshot, w World) {
	for i := range s.Turns {
		if turn := &s.Turns[i]; !turn.HoldUntil.IsZero() {
			t.seeCall(now, s, turn.ID, w)
		}
	}
	for i := range s.Machines {
		if l := s.Machines[i].Load; l != nil && l.Ready() && l.Owner != "" {
			t.seeReady(now, s.Room, &s.Machines[i])
		}
	}
	t.followVisitor(now, s, w)
}

// quiet reports whether only the scene is played.
func (t *Town) quiet(now time.Time) bool { return !now.Before(t.quietFrom) && now.Before(t.quietUntil) }

// chance is true with probability p.
func (t *Town) chance(p float64) bool { return t.rng.Float64() < p }
