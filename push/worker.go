package push

import (
	"context"
	"log/slog"
	"time"

	"drumturn/coordinator"
)

// Outbox is what the worker needs of the store; the methods are those of store.Store.
type Outbox interface {
	// DueDeliveries lists pending rows with NextAt <= now, oldest first, at most
	// limit, without those whose key inHand (nil: none) says are in hand.
	DueDeliveries(ctx context.Context, now time.Time, limit int, inHand func(key []byte) bool) ([]coordinator.Delivery, error)
	// NextDelivery is the earliest NextAt of a pending row; zero when there is none.
	NextDelivery(ctx context.Context) (time.Time, error)
	// RecordDeliveries writes what became of rows; a row withdrawn meanwhile stays withdrawn.
	RecordDeliveries(ctx context.Context, rows ...coordinator.Delivery) error
}

// Directory knows the rooms.
type Directory interface {
	// Room gives a room's name and zone; an unknown room has neither.
	Room(coordinator.RoomID) (name string, zone *time.Location)
}

// Clock is where now comes from.
type Clock interface {
	Now() time.Time
	// At returns a channel that is closed once the clock has reached t, and a
	// function that releases it earlier.
	At(t time.Time) (reached <-chan struct{}, release func())
}

// Config is what a Worker is made of. What follows URL has defaults, all else is needed.
type Config struct {
	Outbox Outbox
	// People is the newest snapshot; nil means that it is not loaded yet.
	People func() *coordinator.People
	// Unsubscribe forgets a device that its push service says is gone.
	Unsubscribe func(ctx context.Context, device string) error
	Directory   Directory
	Clock       Clock
	Sender      Sender
	// Ways are how people can be told; Sender must serve them.
	Ways Ways
	// URL is the page that a notice opens: a path such as "/r/cellar".
	URL func(coordinator.Notice) string
	// Post is the path that a notice's buttons are posted to; nil, or an empty path: no buttons.
	Post func(coordinator.Notice) string
	// Log gets what a person should look into; nil means slog.Default.
	Log *slog.Logger
	// Parallel bounds the sends under way at once (32), PerHost those to one
	// push service (4), so that a dead one never delays another.
	Parallel, PerHost int
	// Unrecorded bounds the sends that are under way or not recorded yet (twice
	// Parallel): what is sent again when the program is killed.
	Unrecorded int
	// StopGrace is how long Run, once told to stop, waits for sends under way (5 s).
	StopGrace time.Duration
}

// Worker sends what is in the outbox. Each row is sent once to each device,
// unless the program dies between a send and its record: then it is repeated,
// with the same topic and tag. Records are made beside sending, so up to
// Unrecorded sends may be such.
type Worker struct {
	Config
	wake   chan struct{}
	record record
	tries  tries
}

// NewWorker returns a worker that Run sets to work.
func NewWorker(c Config) *Worker {
	if c.Log == nil {
		c.Log = slog.Default()
	}
	if c.Parallel <= 0 {
		c.Parallel = 32
	}
	if c.PerHost <= 0 {
		c.PerHost = 4
	}
	if c.Unrecorded <= 0 {
		c.Unrecorded = 2 * c.Parallel
	}
	if c.StopGrace <= 0 {
		c.StopGrace = 5 * time.Second
	}
	return &Worker{Config: c, wake: make(chan struct{}, 1)}
}

// Wake tells the worker that the outbox may have changed. It never blocks; call
// it after every commit.
func (w *Worker) Wake() {
	select {
	case w.wake <- struct{}{}:
	default:
	}
}

// Health is how sending goes. It may be called from any goroutine.
func (w *Worker) Health() Health { return w.record.snapshot() }

// Run sends until ctx ends; then it starts nothing new, waits StopGrace for
// what is under way, records it, and returns. The one error is that this last
// record failed. It must run once at a time.
func (w *Worker) Run(ctx context.Context) error {
	sending, cancel := context.WithCancel(context.WithoutCancel(ctx))
	defer cancel()
	d := newDispatch(w, sending)
	defer close(d.senders.tasks)
	for ctx.Err() == nil {
		d.take(ctx)
		d.start()
		d.write(ctx) // a failure shows in Health, and is tried again
		d.wait(ctx)
	}
	return d.stop(cancel)
}
