package api

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

var noon = time.Date(2026, 3, 17, 12, 0, 0, 0, time.UTC)

// fakeHouse is one room with three machines, its people, and its history.
type fakeHouse struct {
	mu      sync.Mutex
	people  *coordinator.People
	facts   []coordinator.StoredFact
	acts    []coordinator.Fact
	changed chan struct{}
	now     time.Time
	snap    *coordinator.Snapshot
}

func newFakeHouse() *fakeHouse {
	machine := func(n int, kind queue.Kind, status coordinator.Status) coordinator.MachineView {
		m := coordinator.MachineView{Status: status, Since: noon.Add(-time.Hour), Cycle: 4, EnergyWh: 512.5}
		m.ID, m.Number, m.Kind = coordinator.MachineID(fmt.Sprint(n)), n, kind
		return m
	}
	running := machine(1, queue.Washer, coordinator.Running)
	running.Until, running.Low, running.High = noon.Add(time.Hour), noon.Add(50*time.Minute), noon.Add(70*time.Minute)
	running.Watts, running.Heard = 1980.5, noon.Add(-time.Second)
	running.Load = &coordinator.Load{ID: 7, Machine: "1", Owner: "p-anna", Home: "h-secret"}
	held := machine(2, queue.Dryer, coordinator.Held)
	held.Hold = &coordinator.Hold{Turn: 3, Until: noon.Add(10 * time.Minute)}
	held.Faults = []coordinator.Fault{{At: noon, Home: "h-secret", Text: "typed by a resident"}}
	return &fakeHouse{
		people:  &coordinator.People{Persons: map[coordinator.PersonID]coordinator.Person{"p-anna": {ID: "p-anna", Home: "h-secret", Name: "Anna Privat"}}},
		changed: make(chan struct{}, 1), now: noon,
		snap: &coordinator.Snapshot{
			Room: "cellar", Name: "Cellar", At: noon, Machines: []coordinator.MachineView{running, held, machine(3, queue.WasherDryer, coordinator.Unknown)},
			Turns: []queue.Turn{{ID: 3, Person: "p-anna", Home: "h-secret", State: queue.Called}, {ID: 4, Person: "p-anna", Home: "h-secret", State: queue.Waiting}},
		},
	}
}

func (h *fakeHouse) Rooms() []coordinator.RoomID { return []coordinator.RoomID{"cellar"} }

func (h *fakeHouse) Snapshot(room coordinator.RoomID) *coordinator.Snapshot {
	if room != "cellar" {
		return nil
	}
	return h.snap
}

func (h *fakeHouse) Watch(coordinator.RoomID) (<-chan struct{}, func()) { return h.changed, func() {} }

func (h *fakeHouse) People() *coordinator.People {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.people
}

func (h *fakeHouse) DoPeople(_ context.Context, ev coordinator.PeopleEvent) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	next, changes, err := h.people.Step(h.now, ev)
	h.people = next
	h.acts = append(h.acts, changes.Facts...)
	return err
}

func (h *fakeHouse) Now() time.Time { return h.now }

// happens adds a fact to the history, and tells who watches.
func (h *fakeHouse) happens(f coordinator.Fact) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.facts = append(h.facts, coordinator.StoredFact{ID: coordinator.FactID{At: f.At, N: uint64(len(h.facts) + 1)}, Fact: f})
	select {
	case h.changed <- struct{}{}:
	default:
	}
}

func (h *fakeHouse) factsAfter(_ context.Context, _ coordinator.RoomID, after coordinator.FactID, limit int) (out []coordinator.StoredFact, _ error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, f := range h.facts {
		if len(out) < limit && (f.ID.At.After(after.At) || f.ID.At.Equal(after.At) && f.ID.N > after.N) {
			out = append(out, f)
		}
	}
	return out, nil
}

// kit is a server with a token for each scope, and one for all.
type kit struct {
	*testing.T
	house  *fakeHouse
	server *Server
	use    func(UseQuery) (*Use, error)
}

func newKit(t *testing.T) *kit {
	k := &kit{T: t, house: newFakeHouse()}
	k.use = func(q UseQuery) (*Use, error) {
		if q.From == "" {
			return nil, coordinator.Refuse(coordinator.Invalid, "use.from", "The dates are missing.")
		}
		if q.Room == "attic" {
			return nil, coordinator.Refuse(coordinator.NotFound, "room.unknown", "There is no such room.")
		}
		row := UseRow{From: q.From, To: q.To, Days: 1, Cycles: 3, RunningS: 3600, OutOfServiceS: 1800, Utilisation: 0.25, EnergyKWh: 2.5, StandbyKWh: 0.25, Cost: "0.75"}
		machine := row
		machine.Room, machine.Machine = "cellar", "1"
		return &Use{From: q.From, To: q.To, By: q.By, Currency: "EUR", Whole: row, Periods: []UseRow{row}, Rooms: []UseRow{}, Machines: []UseRow{machine}}, nil
	}
	k.server = New(Options{
		House: k.house, Building: "North Court", FactsAfter: k.house.factsAfter, Log: slog.New(slog.DiscardHandler),
		Use: func(_ context.Context, q UseQuery) (*Use, error) { return k.use(q) },
		CheckURL: func(address string) error {
			if !strings.HasPrefix(address, "https://") {
				return coordinator.Refuse(coordinator.Invalid, "webhook.url", "Give an address that begins with https://.")
			}
			return nil
		},
		Metrics: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte("up 1\n")) }),
	})
	t.Cleanup(k.server.Close)
	k.token("all", coordinator.TokenScopes()...)
	for _, scope := range coordinator.TokenScopes() {
		k.token(string(scope), scope)
	}
	return k
}

// secretOf is the secret of a test's token.
func secretOf(name string) string { return TokenSecret + name }

func (k *kit) token(name string, scopes ...coordinator.TokenScope) {
	k.Helper()
	ev := coordinator.MakeToken{Token: coordinator.Token{Name: name, Hash: Hash(secretOf(name)), Scopes: scopes}}
	if err := k.house.DoPeople(k.Context(), ev); err != nil {
		k.Fatal(err)
	}
}

// request makes one with a token; none where name is empty.
func (k *kit) request(method, path, name, body string) *http.Request {
	r := httptest.NewRequestWithContext(k.Context(), method, path, strings.NewReader(body))
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	if name != "" {
		r.Header.Set("Authorization", "Bearer "+secretOf(name))
	}
	return r
}

func (k *kit) do(r *http.Request) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	k.server.ServeHTTP(w, r)
	return w
}
