package ui

import (
	"context"
	"sync"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// fakeHouse is a building of canned snapshots that notes what it is told.
type fakeHouse struct {
	mu       sync.Mutex
	now      time.Time
	real     bool // now follows the wall's clock
	order    []coordinator.RoomID
	rooms    map[coordinator.RoomID]*coordinator.Snapshot
	people   *coordinator.People
	told     []coordinator.Event
	peopleEv []coordinator.PeopleEvent
	watchers map[chan struct{}]coordinator.RoomID
	refuse   error
	// meanwhile is what happens in a room just before it is told something.
	meanwhile func(snap *coordinator.Snapshot)
	// react changes a room as an event asks; nil leaves it alone.
	react func(snap *coordinator.Snapshot, ev coordinator.Event)
}

func newFakeHouse(snaps ...*coordinator.Snapshot) *fakeHouse {
	h := &fakeHouse{
		now: noon, rooms: map[coordinator.RoomID]*coordinator.Snapshot{}, watchers: map[chan struct{}]coordinator.RoomID{},
		people: &coordinator.People{
			Persons: map[coordinator.PersonID]coordinator.Person{}, Homes: map[coordinator.HomeID]coordinator.Home{},
			Sessions: map[string]coordinator.Session{}, Invitations: map[coordinator.RoomID]coordinator.Invitation{},
			Subscriptions: map[string]coordinator.Subscription{},
			MachineCodes:  map[coordinator.Place]coordinator.MachineCode{}, Passes: map[string]coordinator.Pass{},
			WaysIn: map[coordinator.PersonID]coordinator.WayIn{},
		},
	}
	for _, s := range snaps {
		h.order = append(h.order, s.Room)
		h.rooms[s.Room] = s
		h.people.Invitations[s.Room] = coordinator.Invitation{Room: s.Room, Code: "tidewater"}
		for i := range s.Machines {
			place := coordinator.Place{Room: s.Room, Machine: s.Machines[i].ID}
			h.people.MachineCodes[place] = coordinator.MachineCode{Place: place, Code: codeOf(s.Machines[i].ID)}
		}
	}
	return h
}

func (h *fakeHouse) Rooms() []coordinator.RoomID { return h.order }

func (h *fakeHouse) Now() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.real {
		return time.Now()
	}
	return h.now
}

func (h *fakeHouse) Snapshot(room coordinator.RoomID) *coordinator.Snapshot {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.rooms[room]
}

func (h *fakeHouse) Watch(room coordinator.RoomID) (<-chan struct{}, func()) {
	h.mu.Lock()
	defer h.mu.Unlock()
	ch := make(chan struct{}, 1)
	h.watchers[ch] = room
	return ch, func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		delete(h.watchers, ch)
	}
}

func (h *fakeHouse) watching() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return len(h.watchers)
}

// change publishes the next snapshot of a room.
func (h *fakeHouse) change(room coordinator.RoomID, f func(*coordinator.Snapshot)) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.changeLocked(room, f)
}

func (h *fakeHouse) changeLocked(room coordinator.RoomID, f func(*coordinator.Snapshot)) {
	next := *h.rooms[room]
	next.Machines = append([]coordinator.MachineView(nil), next.Machines...)
	next.Turns = append([]queue.Turn(nil), next.Turns...)
	next.Forecasts = append([]coordinator.Forecast(nil), next.Forecasts...)
	next.Seq++
	f(&next)
	h.rooms[room] = &next
	for ch, of := range h.watchers {
		if of == room {
			select {
			case ch <- struct{}{}:
			default:
			}
		}
	}
}

func (h *fakeHouse) Do(_ context.Context, room coordinator.RoomID, ev coordinator.Event) (coordinator.Reply, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.told = append(h.told, ev)
	if h.meanwhile != nil {
		h.changeLocked(room, h.meanwhile)
	}
	if h.refuse != nil {
		return coordinator.Reply{}, h.refuse
	}
	if h.react != nil {
		h.changeLocked(room, func(s *coordinator.Snapshot) { h.react(s, ev) })
	}
	return coordinator.Reply{}, nil
}

func (h *fakeHouse) People() *coordinator.People {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.people
}

func (h *fakeHouse) DoPeople(_ context.Context, ev coordinator.PeopleEvent) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.peopleEv = append(h.peopleEv, ev)
	if h.refuse != nil {
		return h.refuse
	}
	next, _, err := h.people.Step(h.now, ev)
	h.people = next
	return err
}

// codeOf is the code printed on a machine of the canned rooms.
func codeOf(m coordinator.MachineID) string { return "printed-" + string(m) }

// events lists what rooms were told.
func (h *fakeHouse) events() []coordinator.Event {
	h.mu.Lock()
	defer h.mu.Unlock()
	return append([]coordinator.Event(nil), h.told...)
}

// resident adds a person with a session and answers with the cookie's value.
func (h *fakeHouse) resident(id coordinator.PersonID, home coordinator.HomeID) string {
	return h.enrol(coordinator.Person{ID: id, Home: home, Name: "Secretname"})
}

func (h *fakeHouse) enrol(p coordinator.Person) string {
	h.mu.Lock()
	defer h.mu.Unlock()
	secret := "secret-of-" + string(p.ID)
	hash := hashSecret(secret)
	h.people.Persons[p.ID] = p
	if p.Manager {
		h.people.WaysIn[p.ID] = coordinator.WayIn{Person: p.ID, Passphrase: nobodysPHC}
	}
	if p.Home != "" {
		h.people.Homes[p.Home] = coordinator.Home{ID: p.Home, Name: "12"}
	}
	h.people.Sessions[hash] = coordinator.Session{Hash: hash, Person: p.ID, Made: h.now, Expires: h.now.AddDate(1, 0, 0)}
	return secret
}
