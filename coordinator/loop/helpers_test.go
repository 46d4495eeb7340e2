package loop

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// fakeStore keeps units in memory, as a store on disk would.
type fakeStore struct {
	mu      sync.Mutex
	units   map[coordinator.Unit]*coordinator.Stored
	commits [][]coordinator.ChangeSet
	fail    error
	// enter is called at the begin of every commit, if set before the loops run.
	enter func(sets []coordinator.ChangeSet)
	// refuse may make a commit fail.
	refuse func(sets []coordinator.ChangeSet) error
	// unreadable is a unit that cannot be loaded; no unit is called so otherwise.
	unreadable coordinator.Unit
}

func newFakeStore() *fakeStore {
	return &fakeStore{units: map[coordinator.Unit]*coordinator.Stored{}, unreadable: "nothing"}
}

func (f *fakeStore) Commit(_ context.Context, sets ...coordinator.ChangeSet) error {
	if f.enter != nil {
		f.enter(sets)
	}
	if f.refuse != nil {
		if err := f.refuse(sets); err != nil {
			return err
		}
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.fail != nil {
		return f.fail
	}
	for _, set := range sets {
		if err := f.apply(set); err != nil {
			return err
		}
	}
	f.commits = append(f.commits, append([]coordinator.ChangeSet(nil), sets...))
	return nil
}

func (f *fakeStore) apply(set coordinator.ChangeSet) error {
	u := f.units[set.Unit]
	if u == nil {
		u = &coordinator.Stored{}
		f.units[set.Unit] = u
	}
	u.At = set.At
	u.Tail = append(u.Tail, set.Readings...)
	if !set.Moves() {
		return nil
	}
	if set.Expect != u.Seq {
		return coordinator.ErrSequence
	}
	u.Seq++
	for _, row := range set.Rows {
		if u.Rows = without(u.Rows, row); row.Value != nil {
			u.Rows = append(u.Rows, row)
		}
	}
	for _, c := range set.Checkpoints {
		u.Checkpoints = slices.DeleteFunc(slices.Clone(u.Checkpoints), func(old coordinator.MachineCheckpoint) bool { return old.Machine == c.Machine })
		u.Checkpoints = append(u.Checkpoints, c)
	}
	return nil
}

func without(rows []coordinator.Row, row coordinator.Row) []coordinator.Row {
	var kept []coordinator.Row
	for _, r := range rows {
		if r.Table != row.Table || r.Key != row.Key {
			kept = append(kept, r)
		}
	}
	return kept
}

func (f *fakeStore) Load(_ context.Context, unit coordinator.Unit) (coordinator.Stored, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if unit == f.unreadable {
		return coordinator.Stored{}, errDisk
	}
	if u := f.units[unit]; u != nil {
		loaded := *u
		loaded.Tail = slices.DeleteFunc(slices.Clone(u.Tail), func(r coordinator.MachineReading) bool {
			return slices.ContainsFunc(u.Checkpoints, func(c coordinator.MachineCheckpoint) bool {
				return c.Machine == r.Machine && !r.Reading.At.After(c.At)
			})
		})
		return loaded, nil
	}
	return coordinator.Stored{}, nil
}

// readings counts the readings stored for a unit.
func (f *fakeStore) readings(unit coordinator.Unit) int {
	f.mu.Lock()
	defer f.mu.Unlock()
	if u := f.units[unit]; u != nil {
		return len(u.Tail)
	}
	return 0
}

// breakDown makes every commit from now on fail with err.
func (f *fakeStore) breakDown(err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.fail = err
}

// calls lists the commits so far.
func (f *fakeStore) calls() [][]coordinator.ChangeSet {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([][]coordinator.ChangeSet(nil), f.commits...)
}

// notices lists the kinds of all notices committed, in order.
func (f *fakeStore) notices() []coordinator.NoticeKind {
	f.mu.Lock()
	defer f.mu.Unlock()
	var kinds []coordinator.NoticeKind
	for _, sets := range f.commits {
		for _, set := range sets {
			for _, n := range set.Notices {
				kinds = append(kinds, n.Kind)
			}
		}
	}
	return kinds
}

func testPlans() []coordinator.Plan {
	rules := coordinator.DefaultRules()
	rules.NightFrom, rules.NightTo = queue.NoClock, queue.NoClock
	machine := coordinator.Machine{
		Machine: queue.Machine{ID: "w1", Number: 1, Kind: queue.Washer}, Meter: "m1", Power: cycle.DefaultSettings(),
	}
	return []coordinator.Plan{{ID: "cellar", Name: "Cellar", Zone: time.UTC, Seed: rules, Machines: []coordinator.Machine{machine}}}
}

func fixed(s cycle.Settings) cycle.Engine { return cycle.NewFixed(s) }

// house is a running building under test.
type house struct {
	*testing.T
	*House
	store *fakeStore
	stop  func() error
}

// open runs a building on a store; it stops with the test.
func open(t *testing.T, store *fakeStore, clock Clock) *house {
	t.Helper()
	return openPlans(t, store, clock, testPlans())
}

// openPlans is open for other rooms than the one.
func openPlans(t *testing.T, store *fakeStore, clock Clock, plans []coordinator.Plan) *house {
	t.Helper()
	h, err := Open(t.Context(), plans, fixed, store, clock, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- h.Run(ctx) }()
	stop := sync.OnceValue(func() error {
		cancel()
		return <-ended
	})
	t.Cleanup(func() { _ = stop() })
	return &house{T: t, House: h, store: store, stop: stop}
}

// watts delivers a reading of the one meter.
func (h *house) watts(w float64) {
	h.Helper()
	if err := h.Deliver(h.Context(), "m1", cycle.Power(h.Now(), w)); err != nil {
		h.Fatal(err)
	}
}

// join takes a turn and waits for the commit.
func (h *house) join(who string) coordinator.TurnID {
	h.Helper()
	reply, err := h.Do(h.Context(), "cellar", coordinator.Join{
		Person: coordinator.PersonID(who), Home: coordinator.HomeID("home-" + who), Need: queue.Wash,
	})
	if err != nil {
		h.Fatal(err)
	}
	return reply.Turn
}

// status is the machine's status as published.
func (h *house) status() coordinator.Status { return h.Snapshot("cellar").Machines[0].Status }

// pass lets time go by in a bubble, with a reading each 30 s.
func (h *house) pass(d time.Duration, watts float64) {
	h.Helper()
	for end := time.Now().Add(d); time.Now().Before(end); {
		time.Sleep(30 * time.Second)
		h.watts(watts)
	}
	synctest.Wait()
}

var errDisk = errors.New("no space left on the disk")
