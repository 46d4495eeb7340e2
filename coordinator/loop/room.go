package loop

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// Store is what the loops need of a store.
type Store interface {
	Commit(ctx context.Context, sets ...coordinator.ChangeSet) error
	Load(ctx context.Context, unit coordinator.Unit) (coordinator.Stored, error)
}

const (
	// inboxSize bounds what waits for a room; deliverers block beyond it.
	inboxSize = 1024
	// batchSize bounds the events that one commit waits for.
	batchSize = 256
	// flushEvery is how long readings that change nothing are buffered.
	flushEvery = 5 * time.Second
	// bufferSize is how many readings are buffered at most.
	bufferSize = 4096
	// refreshEvery is how often a room whose machines run, or in which people wait,
	// is published anew although nothing was committed.
	refreshEvery = 15 * time.Second
	// checkpointReadings and checkpointEvery bound the readings that a restart
	// folds again, per room.
	checkpointReadings = 50_000
	checkpointEvery    = 6 * time.Hour
)

// item is one entry of the inbox: a reading, or an event with somebody waiting.
type item struct {
	at      time.Time
	machine coordinator.MachineID
	reading cycle.Reading
	event   coordinator.Event // nil: a reading
	answer  chan answer
}

type answer struct {
	reply coordinator.Reply
	err   error
}

// Room runs one room. Make it with NewRoom, then Run it.
type Room struct {
	id     coordinator.RoomID
	store  Store
	clock  Clock
	log    *slog.Logger
	inbox  chan item
	end    ending
	board  board
	commit func() // called after each commit
	// forecaster fills in the board's forecasts, a moment after each publication.
	forecaster *forecaster

	// The rest is owned by Run's goroutine.
	core       *coordinator.Room
	buffer     []coordinator.MachineReading
	sets       []coordinator.ChangeSet
	waiting    []pendingAnswer
	flushDue   time.Time
	refreshDue time.Time
	unsaved    int       // readings since the last checkpoint of all engines
	savedAt    time.Time // when that was
}

// pendingAnswer is a caller's answer that waits for the commit.
type pendingAnswer struct {
	to chan answer
	answer
}

// NewRoom loads a room from the store and makes its loop. committed is called
// after each commit that changed the room, from the loop's goroutine; it must not block.
func NewRoom(ctx context.Context, plan coordinator.Plan, engine coordinator.NewEngine, store Store, clock Clock, log *slog.Logger, committed func()) (*Room, error) {
	stored, err := store.Load(ctx, plan.ID)
	if err != nil {
		return nil, fmt.Errorf("load room %q: %w", plan.ID, err)
	}
	core, err := coordinator.Restore(plan, stored, engine)
	if err != nil {
		return nil, err
	}
	r := &Room{
		id: plan.ID, store: store, clock: clock, log: log, core: core, commit: committed,
		inbox: make(chan item, inboxSize), end: newEnding(),
	}
	r.forecaster = newForecaster(r.board.foretell)
	if stored.Seq > 0 {
		r.step(clock.Now(), coordinator.Reopened{Since: stored.At}, nil)
	} else {
		r.step(clock.Now(), coordinator.Founded{}, nil)
	}
	if err := r.save(ctx, clock.Now()); err != nil {
		return nil, fmt.Errorf("reopen room %q: %w", plan.ID, err)
	}
	return r, nil
}

// Snapshot returns the room as last published. It is free: no lock, no copy.
func (r *Room) Snapshot() *coordinator.Snapshot { return r.board.shown.Load() }

// Watch returns a channel that gets a value when a newer snapshot is there
// (several changes may be one value), and a function that ends it.
func (r *Room) Watch() (<-chan struct{}, func()) { return r.board.watch.add() }

// Deliver puts a reading into the inbox, and returns when it is in.
func (r *Room) Deliver(ctx context.Context, machine coordinator.MachineID, reading cycle.Reading) error {
	return r.enqueue(ctx, item{at: r.clock.Now(), machine: machine, reading: reading})
}

// Do takes an event and answers after its commit.
func (r *Room) Do(ctx context.Context, ev coordinator.Event) (coordinator.Reply, error) {
	to := make(chan answer, 1)
	if err := r.enqueue(ctx, item{at: r.clock.Now(), event: ev, answer: to}); err != nil {
		return coordinator.Reply{}, err
	}
	a, err := await(ctx, to, &r.end)
	if err != nil {
		return coordinator.Reply{}, err
	}
	return a.reply, a.err
}

func (r *Room) enqueue(ctx context.Context, it item) error {
	select {
	case r.inbox <- it:
		return nil
	case <-r.end.done:
		return r.end.err()
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Run owns the room until ctx ends or the store fails; buffered readings are
// stored before it returns. It is called once.
func (r *Room) Run(ctx context.Context) (err error) {
	defer func() { r.end.now(ctx, err) }()
	stop := r.foretell(ctx)
	defer stop()
	for {
		due := r.due()
		reached, release := r.wake(due)
		select {
		case <-ctx.Done():
			release()
			if err := r.stop(); err != nil {
				return r.fail(err)
			}
			return nil
		case it := <-r.inbox:
			r.take(it)
		case <-reached:
		}
		release()
		r.drain()
		r.tick(r.clock.Now())
		if err := r.save(ctx, r.clock.Now()); err != nil {
			return r.fail(err)
		}
	}
}

// foretell lets the forecaster work until the function that it returns is called.
func (r *Room) foretell(ctx context.Context) (stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	var wg sync.WaitGroup
	wg.Go(func() { r.forecaster.run(ctx) })
	return func() {
		cancel()
		wg.Wait()
	}
}

// due is when the loop must wake without an event.
func (r *Room) due() time.Time {
	due := r.core.Deadline()
	for _, t := range [...]time.Time{r.flushDue, r.refreshDue} {
		if !t.IsZero() && (due.IsZero() || t.Before(due)) {
			due = t
		}
	}
	return due
}

// wake waits for an instant of the clock; for ever when it is zero.
func (r *Room) wake(due time.Time) (<-chan struct{}, func()) {
	if due.IsZero() {
		return nil, func() {}
	}
	return r.clock.At(due)
}

// drain takes what else waits, up to a batch, so that one commit serves many.
func (r *Room) drain() {
	for range batchSize {
		select {
		case it := <-r.inbox:
			r.take(it)
		default:
			return
		}
	}
}

// take steps one entry of the inbox at the time it came in, after what fell due
// before.
func (r *Room) take(it item) {
	r.tick(it.at)
	if it.event != nil {
		r.step(it.at, it.event, it.answer)
		return
	}
	r.buffer = append(r.buffer, coordinator.MachineReading{Machine: it.machine, Reading: it.reading})
	r.unsaved++
	if r.flushDue.IsZero() {
		r.flushDue = it.at.Add(flushEvery)
	}
	r.collect(r.core.Measure(it.at, it.machine, it.reading))
}

// tick lets what fell due until now take effect, each at its own instant,
// however late the loop is.
func (r *Room) tick(now time.Time) {
	for range batchSize {
		due := r.core.Deadline()
		if due.IsZero() || due.After(now) {
			return
		}
		r.step(due, coordinator.Tick{}, nil)
	}
}

// step runs one event through the core and keeps what is to be stored.
func (r *Room) step(now time.Time, ev coordinator.Event, to chan answer) {
	set, reply, err := r.core.Step(now, ev)
	r.collect(set)
	if to != nil {
		r.waiting = append(r.waiting, pendingAnswer{to: to, answer: answer{reply: reply, err: err}})
	}
}

// collect keeps a change set for the next commit, with the readings up to its cause.
func (r *Room) collect(set coordinator.ChangeSet) {
	if !set.Moves() {
		return
	}
	set.Readings, r.buffer = r.buffer, nil
	r.flushDue = time.Time{}
	r.sets = append(r.sets, set)
}

// save commits what was collected, then lets its effects out: the snapshot, the
// answers, the wake-up of whoever sends notices.
func (r *Room) save(ctx context.Context, now time.Time) error {
	changed := len(r.sets) > 0
	r.flush(now)
	if len(r.sets) > 0 {
		// A stop must not tear an answer from its commit.
		if err := r.store.Commit(context.WithoutCancel(ctx), r.sets...); err != nil {
			return err
		}
		clear(r.sets)
		r.sets = r.sets[:0]
	}
	r.publish(now, changed)
	for i, w := range r.waiting {
		w.to <- w.answer
		r.waiting[i] = pendingAnswer{}
	}
	r.waiting = r.waiting[:0]
	if changed && r.commit != nil {
		r.commit()
	}
	return nil
}

// flush hands over buffered readings that have waited long enough.
func (r *Room) flush(now time.Time) {
	due := !r.flushDue.IsZero() && !now.Before(r.flushDue)
	if len(r.buffer) == 0 || (!due && len(r.buffer) < bufferSize) {
		return
	}
	if r.unsaved >= checkpointReadings || now.Sub(r.savedAt) >= checkpointEvery {
		r.sets = append(r.sets, r.core.Checkpoint(now))
		r.unsaved, r.savedAt = 0, now
	}
	r.sets = append(r.sets, coordinator.ChangeSet{Unit: r.id, At: now, Readings: r.buffer})
	r.buffer, r.flushDue = nil, time.Time{}
}

// publish makes a new snapshot when something was committed, and now and then
// while machines run or people wait, so that expected ends and forecasts stay fresh.
func (r *Room) publish(now time.Time, changed bool) {
	last := r.board.shown.Load()
	if last != nil && !changed && (r.refreshDue.IsZero() || now.Before(r.refreshDue)) {
		return
	}
	snapshot := r.core.Snapshot(now)
	r.board.publish(snapshot)
	r.forecaster.want(r.core.Foresee(snapshot))
	r.refreshDue = time.Time{}
	if stirs(snapshot) {
		r.refreshDue = now.Add(refreshEvery)
	}
}

// stirs reports whether what is expected of a room changes though nothing happens.
func stirs(s *coordinator.Snapshot) bool {
	runs := func(v coordinator.MachineView) bool { return v.Status == coordinator.Running }
	waits := func(t queue.Turn) bool { return t.State == queue.Waiting }
	return slices.ContainsFunc(s.Machines, runs) || slices.ContainsFunc(s.Turns, waits)
}

// stop stores what is buffered before the loop ends.
func (r *Room) stop() error {
	r.drain()
	if len(r.buffer) > 0 {
		r.flushDue = r.clock.Now()
	}
	return r.save(context.Background(), r.clock.Now())
}

// fail tells everybody who waits that the store did not take it.
func (r *Room) fail(err error) error {
	for _, w := range r.waiting {
		w.to <- answer{err: err}
	}
	r.waiting = nil
	return fmt.Errorf("room %q: %w", r.id, err)
}
