package push

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// box is an outbox in memory, with the store's promises.
type box struct {
	mu       sync.Mutex
	rows     map[string]coordinator.Delivery
	readErr  error
	writeErr error
	reads    int
	// onWrite may refuse a record, after the fashion of a crash before it.
	onWrite func() error
}

func newBox(notices ...coordinator.Notice) *box {
	b := &box{rows: map[string]coordinator.Delivery{}}
	for _, n := range notices {
		b.put(n)
	}
	return b
}

func (b *box) put(n coordinator.Notice) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if _, there := b.rows[n.Key()]; !there {
		for key, old := range b.rows {
			if old.State == coordinator.Pending && old.Notice.Thread() == n.Thread() && old.Notice.SameAddressee(&n) {
				old.Newer = &coordinator.Newer{Kind: n.Kind, Made: n.Made}
				b.rows[key] = old
			}
		}
		b.rows[n.Key()] = coordinator.Delivery{Key: n.Key(), Notice: n, State: coordinator.Pending, NextAt: n.Made}
	}
}

func (b *box) withdraw(key string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	row := b.rows[key]
	row.State = coordinator.Withdrawn
	b.rows[key] = row
}

func (b *box) row(n coordinator.Notice) coordinator.Delivery {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.rows[n.Key()]
}

func (b *box) looks() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.reads
}

func (b *box) fail(read, write error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.readErr, b.writeErr = read, write
}

func (b *box) DueDeliveries(ctx context.Context, now time.Time, limit int, inHand func([]byte) bool) ([]coordinator.Delivery, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.reads++
	if b.readErr != nil {
		return nil, b.readErr
	}
	var out []coordinator.Delivery
	for _, r := range b.rows {
		if r.State == coordinator.Pending && !r.NextAt.After(now) {
			r.Devices = slices.Clone(r.Devices)
			out = append(out, r)
		}
	}
	slices.SortFunc(out, func(a, c coordinator.Delivery) int {
		if n := a.NextAt.Compare(c.NextAt); n != 0 {
			return n
		}
		return strings.Compare(a.Key, c.Key)
	})
	out = slices.DeleteFunc(out, func(r coordinator.Delivery) bool { return inHand([]byte(r.Key)) })
	return out[:min(len(out), limit)], ctx.Err()
}

func (b *box) NextDelivery(ctx context.Context) (next time.Time, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, r := range b.rows {
		if r.State == coordinator.Pending && (next.IsZero() || r.NextAt.Before(next)) {
			next = r.NextAt
		}
	}
	return next, errors.Join(b.readErr, ctx.Err())
}

func (b *box) RecordDeliveries(ctx context.Context, rows ...coordinator.Delivery) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.onWrite != nil {
		if err := b.onWrite(); err != nil {
			return err
		}
	}
	if err := errors.Join(b.writeErr, ctx.Err()); err != nil {
		return err
	}
	for _, r := range rows {
		old := b.rows[r.Key]
		r.Devices, r.Newer = slices.Clone(r.Devices), old.Newer
		if old.State == coordinator.Withdrawn {
			old.Devices = r.Devices
			r = old
		}
		b.rows[r.Key] = r
	}
	return nil
}

// post is a Sender that is told what to answer, and remembers.
type post struct {
	mu     sync.Mutex
	sent   []sending
	tries  map[string]int // by device
	answer func(ctx context.Context, m Message, try int) Result
}

type sending struct {
	Message
	Payload Payload
	At      time.Time
}

func (p *post) Send(ctx context.Context, m Message) Result {
	p.mu.Lock()
	s := sending{Message: m, At: time.Now()}
	if !byMail(m.To) {
		if err := json.Unmarshal(m.Payload, &s.Payload); err != nil {
			panic(err)
		}
	}
	p.sent = append(p.sent, s)
	if p.tries == nil {
		p.tries = map[string]int{}
	}
	p.tries[m.To.ID]++
	try, answer := p.tries[m.To.ID], p.answer
	p.mu.Unlock()
	if answer == nil {
		return Result{Status: 201}
	}
	return answer(ctx, m, try)
}

func (p *post) to(device string) (out []sending) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, s := range p.sent {
		if device == "" || s.To.ID == device {
			out = append(out, s)
		}
	}
	return out
}

// answers gives each try its own answer, and 201 after the last.
func answers(results ...Result) func(context.Context, Message, int) Result {
	return func(_ context.Context, _ Message, try int) Result {
		if try <= len(results) {
			return results[try-1]
		}
		return Result{Status: 201}
	}
}

func stall(ctx context.Context) Result {
	<-ctx.Done()
	return Result{Err: ctx.Err()}
}

// bubbleClock is the clock of the synctest bubble.
type bubbleClock struct{}

func (bubbleClock) Now() time.Time { return time.Now() }

func (bubbleClock) At(t time.Time) (<-chan struct{}, func()) {
	done := make(chan struct{})
	timer := time.AfterFunc(max(time.Until(t), 0), func() { close(done) })
	return done, func() { timer.Stop() }
}

type rooms struct{}

func (rooms) Room(id coordinator.RoomID) (string, *time.Location) {
	if id == "cellar" {
		return "Cellar", time.UTC
	}
	return "", nil
}

// house is a worker with everything around it.
type house struct {
	*Worker
	box    *box
	post   *post
	mu     sync.Mutex
	people *coordinator.People
	forgot []string
}

func (h *house) snapshot() *coordinator.People {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.people
}

// forget is the building's answer to Unsubscribe: a new snapshot without the device.
func (h *house) forget(_ context.Context, device string) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.forgot = append(h.forgot, device)
	next := *h.people
	next.Subscriptions = map[string]coordinator.Subscription{}
	for id, s := range h.people.Subscriptions {
		if id != device {
			next.Subscriptions[id] = s
		}
	}
	h.people = &next
	return nil
}

func (h *house) forgotten() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return strings.Join(h.forgot, " ")
}

func newHouse(b *box, people *coordinator.People) *house {
	h := &house{box: b, post: &post{}, people: people}
	h.Worker = NewWorker(Config{
		Outbox: b, People: h.snapshot, Unsubscribe: h.forget, Directory: rooms{},
		Clock: bubbleClock{}, Sender: h.post,
		URL: func(n coordinator.Notice) string { return "/r/" + string(n.Subject.Room) },
		Post: func(n coordinator.Notice) string {
			return fmt.Sprintf("/r/%s/turns/%d", n.Subject.Room, n.Subject.Turn)
		},
		Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
	})
	return h
}

// start runs the worker until the returned function is called (or the test ends).
func (h *house) start(t *testing.T) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := h.Run(ctx); err != nil && ctx.Err() == nil {
			t.Errorf("Run: %v", err)
		}
	}()
	return func() {
		cancel()
		<-done
	}
}

// device is a subscription of person at a push service.
func device(id, person, host string) coordinator.Subscription {
	return coordinator.Subscription{ID: id, Person: coordinator.PersonID(person), Endpoint: "https://" + host + "/" + id}
}

// peopleWith makes a building of persons a and b of home 1, c of home 2, manager m.
func peopleWith(devices ...coordinator.Subscription) *coordinator.People {
	p := &coordinator.People{
		Persons: map[coordinator.PersonID]coordinator.Person{
			"a": {ID: "a", Home: "1"}, "b": {ID: "b", Home: "1", TellForHome: true},
			"b2": {ID: "b2", Home: "1"}, "c": {ID: "c", Home: "2", TellForHome: true},
			"m": {ID: "m", Manager: true}, "n": {ID: "n", Manager: true},
		},
		Subscriptions: map[string]coordinator.Subscription{},
	}
	for _, d := range devices {
		p.Subscriptions[d.ID] = d
	}
	return p
}

// called is a notice to a: washer 2 is kept for them.
func called(turn int, now time.Time) coordinator.Notice {
	return coordinator.Notice{
		Subject: coordinator.Subject{Room: "cellar", Turn: coordinator.TurnID(turn)}, Kind: coordinator.TurnCalled, Step: 1,
		To: "a", Made: now, UsefulUntil: now.Add(10 * time.Minute), Until: now.Add(10 * time.Minute),
		Machine: 2, MachineKind: queue.Washer,
	}
}

// bubble runs a test in a synctest bubble with a house of those devices.
func bubble(t *testing.T, devices []coordinator.Subscription, f func(t *testing.T, h *house)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) { f(t, newHouse(newBox(), peopleWith(devices...))) })
}

func one() []coordinator.Subscription {
	return []coordinator.Subscription{device("d1", "a", "push.example")}
}
