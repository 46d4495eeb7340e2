package hooks

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/loop"
)

// world is a house with a history, a clock of a bubble, and a receiver.
type world struct {
	*testing.T
	mu      sync.Mutex
	people  *coordinator.People
	facts   map[coordinator.RoomID][]coordinator.StoredFact
	changed chan struct{}
	reads   int
	refuse  error // of DoPeople
	broken  error // of FactsAfter
	// answer says what the receiver answers; nil: 200.
	answer func(got *received) (int, error)
	got    []received
}

// received is one request that the receiver had.
type received struct {
	at                    time.Time
	host                  string
	id, signature, moment string
	body                  []byte
	event                 coordinator.PublicEvent
	try                   int // of this id at this host, from 1
}

func newWorld(t *testing.T) *world {
	return &world{T: t, people: &coordinator.People{}, facts: map[coordinator.RoomID][]coordinator.StoredFact{}, changed: make(chan struct{}, 1)}
}

func (w *world) Rooms() []coordinator.RoomID { return []coordinator.RoomID{"attic", "cellar"} }

func (w *world) Committed() (<-chan struct{}, func()) { return w.changed, func() {} }

func (w *world) People() *coordinator.People {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.people
}

func (w *world) DoPeople(_ context.Context, ev coordinator.PeopleEvent) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.refuse != nil {
		return w.refuse
	}
	next, _, err := w.people.Step(time.Now(), ev)
	w.people = next
	return err
}

func (w *world) factsAfter(_ context.Context, room coordinator.RoomID, after coordinator.FactID, limit int) (out []coordinator.StoredFact, _ error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.reads++
	if w.broken != nil {
		return nil, w.broken
	}
	for _, f := range w.facts[room] {
		if len(out) < limit && latest(after, f.ID) != after {
			out = append(out, f)
		}
	}
	return out, nil
}

// happens adds facts of now to a room's history.
func (w *world) happens(room coordinator.RoomID, kinds ...coordinator.FactKind) {
	w.mu.Lock()
	for _, k := range kinds {
		id := coordinator.FactID{At: time.Now(), N: uint64(len(w.facts[room]) + 1)}
		w.facts[room] = append(w.facts[room], coordinator.StoredFact{ID: id, Fact: coordinator.Fact{
			At: time.Now(), Kind: k, Machine: "1", Person: "p-anna", Home: "h-secret", Turn: 3, Load: 7, Note: "typed by somebody",
		}})
	}
	w.mu.Unlock()
	select {
	case w.changed <- struct{}{}:
	default:
	}
}

// Do is the receiver.
func (w *world) Do(r *http.Request) (*http.Response, error) {
	body, _ := io.ReadAll(r.Body)
	got := received{at: time.Now(), host: r.URL.Host, id: r.Header.Get(HeaderEvent), signature: r.Header.Get(HeaderSignature), moment: r.Header.Get(HeaderTime), body: body, try: 1}
	if err := json.Unmarshal(body, &got.event); err != nil {
		w.Errorf("posted %q: %v", body, err)
	}
	w.mu.Lock()
	for _, g := range w.got {
		if g.id == got.id && g.host == got.host {
			got.try++
		}
	}
	w.got = append(w.got, got)
	answer := w.answer
	w.mu.Unlock()
	status, err := 200, error(nil)
	if answer != nil {
		status, err = answer(&got)
	}
	if err == nil && status == 0 {
		<-r.Context().Done()
		err = r.Context().Err()
	}
	if err != nil {
		return nil, err
	}
	return &http.Response{StatusCode: status, Body: io.NopCloser(strings.NewReader("ok"))}, nil
}

// hook adds a webhook.
func (w *world) hook(id, url string, kinds ...coordinator.FactKind) {
	w.Helper()
	err := w.DoPeople(w.Context(), coordinator.AddWebhook{Webhook: coordinator.Webhook{ID: id, URL: url, Secret: "drumturn_hook_test", Kinds: kinds}})
	if err != nil {
		w.Fatal(err)
	}
}

// all are the requests to a host, in order.
func (w *world) all(host string) (out []received) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, g := range w.got {
		if g.host == host {
			out = append(out, g)
		}
	}
	return out
}

func (w *world) state(id string) coordinator.HookState { return w.People().HookStates[id] }

// start runs a worker until the function that it returns is called.
func (w *world) start() (stop func()) {
	worker := New(Config{House: w, FactsAfter: w.factsAfter, Client: w, Clock: loop.Wall{}, Log: slog.New(slog.DiscardHandler)})
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { worker.Run(ctx); close(done) }()
	return func() { cancel(); <-done }
}

// bubble runs a test in which time is the bubble's.
func bubble(t *testing.T, run func(w *world)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) { run(newWorld(t)) })
}

var errNoRoute = errors.New("no route to host")
