package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/cmd/drumturn/demo"
	"drumturn/coordinator"
	"drumturn/coordinator/loop"
	"drumturn/coordinator/meter"
	"drumturn/coordinator/store"
	"drumturn/queue"
)

// watchedStore is a store that remembers which notices were committed.
type watchedStore struct {
	*store.File
	mu   sync.Mutex
	keys map[string]int
}

// Commit counts the notices of what is stored.
func (w *watchedStore) Commit(ctx context.Context, sets ...coordinator.ChangeSet) error {
	if err := w.File.Commit(ctx, sets...); err != nil {
		return err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	for i := range sets {
		for k := range sets[i].Notices {
			w.keys[sets[i].Notices[k].Key()]++
		}
	}
	return nil
}

// soak is the invented building on the real loops and the real store.
type soak struct {
	*testing.T
	store *watchedStore
	house *loop.House
	stop  func()
}

// newSoak lets three days pass and goes on in the bubble's time.
func newSoak(t *testing.T, seed uint64) *soak {
	t.Helper()
	file, err := store.Open(filepath.Join(t.TempDir(), "drumturn.db"), store.Options{NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	s := &soak{T: t, store: &watchedStore{File: file, keys: map[string]int{}}}
	now := time.Now()
	town := demo.New(seed, now.AddDate(0, 0, -3), time.UTC)
	if err := town.Past(t.Context(), s.store, engine, now.AddDate(0, 0, -3), now, hashOf("visitor"), now.AddDate(1, 0, 0)); err != nil {
		t.Fatal(err)
	}
	if s.house, err = loop.Open(t.Context(), demo.Plans(time.UTC), engine, s.store, loop.Wall{}, slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	live := town.Live(loop.Wall{})
	ctx, cancel := context.WithCancel(t.Context())
	all := group{stop: cancel}
	all.start("rooms", func() error { return s.house.Run(ctx) })
	all.start("residents", func() error { return live.Run(ctx, s.house) })
	sink := meter.SinkFunc(func(ctx context.Context, name string, m meter.Sample) error {
		return s.house.Deliver(ctx, name, m.Reading(s.house.Now()))
	})
	for _, d := range live.Drivers() {
		all.start("meter", func() error { return d.Run(ctx, sink) })
	}
	s.stop = func() {
		cancel()
		if err := errors.Join(all.wait(), file.Close()); err != nil {
			t.Error(err)
		}
	}
	return s
}

// facts are a room's since an instant.
func (s *soak) facts(id coordinator.RoomID, from time.Time) (all []coordinator.Fact) {
	s.Helper()
	err := s.store.Facts(s.Context(), coordinator.Unit(id), from, time.Now().Add(time.Second), func(f coordinator.Fact) bool {
		all = append(all, f)
		return true
	})
	if err != nil {
		s.Fatal(err)
	}
	return all
}

// TestSoak: after a day of an invented building's life nothing is left in the
// air: every call was answered, every load comes and goes once, nobody was told
// the same thing twice.
func TestSoak(t *testing.T) {
	if testing.Short() {
		t.Skip("a day of a building's life")
	}
	for _, seed := range []uint64{2} {
		t.Run(fmt.Sprint("seed ", seed), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := newSoak(t, seed)
				begin := time.Now()
				for range 24 {
					time.Sleep(time.Hour) // of the bubble's time: it takes none of the wall's
					synctest.Wait()
					s.nothingImpossible()
				}
				for _, id := range s.house.Rooms() {
					facts := s.facts(id, begin)
					s.callsAreAnswered(id, facts)
					s.loadsComeAndGo(id, facts)
				}
				s.told()
				s.stop()
			})
		})
	}
}

// nothingImpossible checks what must hold whenever anybody looks.
func (s *soak) nothingImpossible() {
	s.Helper()
	for _, id := range s.house.Rooms() {
		snap := s.house.Snapshot(id)
		held := map[coordinator.MachineID]int{}
		homes := map[coordinator.HomeID]int{}
		for i := range snap.Turns {
			turn := &snap.Turns[i]
			if turn.State == queue.Called {
				held[turn.Machine]++
				if turn.HoldUntil.Before(snap.At) {
					s.Errorf("%s: at %s a hold that lapsed at %s stands: %+v", id, snap.At, turn.HoldUntil, turn)
				}
			}
			if (turn.State == queue.Waiting || turn.State == queue.Called) && turn.Behind == 0 {
				homes[turn.Home]++
			}
		}
		for machine, n := range held {
			m := snap.Machine(machine)
			if n > 1 || m == nil || m.Status == coordinator.Running || m.Status == coordinator.Out {
				s.Errorf("%s: machine %s is held for %d, and is %+v", id, machine, n, m)
			}
		}
		for home, n := range homes {
			// A wash that books its dryer counts for one more turn of the home.
			if limit := snap.Rules.Limits.TurnsPerHome; n > 2*limit {
				s.Errorf("%s: home %s has %d turns of %d", id, home, n, limit)
			}
		}
		owned := map[coordinator.LoadID]bool{}
		for i := range snap.Machines {
			m := &snap.Machines[i]
			if m.Load != nil && owned[m.Load.ID] {
				s.Errorf("%s: load %d is in two machines", id, m.Load.ID)
			} else if m.Load != nil {
				owned[m.Load.ID] = true
			}
			if m.Status == coordinator.Running && (m.Load == nil || m.Load.Ready()) {
				s.Errorf("%s: machine %s runs with the load %+v", id, m.ID, m.Load)
			}
		}
	}
}

// callsAreAnswered: between two calls of a turn, and after the last, something
// became of the call, or it still stands.
func (s *soak) callsAreAnswered(id coordinator.RoomID, facts []coordinator.Fact) {
	s.Helper()
	open, calls, started := map[coordinator.TurnID]coordinator.Fact{}, 0, 0
	out := map[coordinator.MachineID]bool{}
	for _, f := range facts {
		switch f.Kind {
		case coordinator.FactCalled:
			calls++
			if before, twice := open[f.Turn]; twice && !out[before.Machine] {
				s.Errorf("%s: turn %d was called at %s for %s and at %s for %s, and nothing in between", id, f.Turn, before.At, before.Machine, f.At, f.Machine)
			}
			open[f.Turn] = f
		case coordinator.FactStarted:
			started++
			delete(open, f.Turn)
			// A start within a hold that had lapsed is known only after the next was
			// called: that call is taken back, and the turn is at the head again.
			for turn, call := range open {
				if call.Machine == f.Machine && f.Start.Before(call.At) {
					delete(open, turn)
				}
			}
		case coordinator.FactMissed, coordinator.FactPassed, coordinator.FactLeft, coordinator.FactTakenBack:
			delete(open, f.Turn)
		case coordinator.FactSilent, coordinator.FactOut, coordinator.FactFault, coordinator.FactWalkUp, coordinator.FactStillIn:
			out[f.Machine] = true // takes a hold away
		}
	}
	snap := s.house.Snapshot(id)
	for turn, f := range open {
		if t := snap.Turn(turn); (t == nil || t.State != queue.Called) && !out[f.Machine] {
			s.Errorf("%s: nothing became of the call %+v; the turn is %+v", id, f, t)
		}
	}
	if id == demo.Cellar && (calls < 5 || started < 5) {
		s.Errorf("only %d calls and %d starts in a day", calls, started)
	}
}

// loadsComeAndGo: a machine's cycles are counted on, end once, and no load is
// collected twice without a report that it was still in.
func (s *soak) loadsComeAndGo(id coordinator.RoomID, facts []coordinator.Fact) {
	s.Helper()
	last, collected := map[coordinator.MachineID]uint64{}, map[coordinator.LoadID]bool{}
	for _, f := range facts {
		switch f.Kind {
		case coordinator.FactCycle:
			if f.Cycle <= last[f.Machine] {
				s.Errorf("%s: cycle %d of %s ended after cycle %d", id, f.Cycle, f.Machine, last[f.Machine])
			}
			last[f.Machine] = f.Cycle
			if !f.Start.Before(f.End) || f.EnergyWh < 0 || f.EnergyWh > 10_000 {
				s.Errorf("%s: an odd cycle %+v", id, f)
			}
		case coordinator.FactCollected:
			if collected[f.Load] {
				s.Errorf("%s: load %d was collected twice", id, f.Load)
			}
			collected[f.Load] = true
		case coordinator.FactStillIn:
			delete(collected, f.Load)
		}
	}
}

// told: nothing was put into the outbox twice.
func (s *soak) told() {
	s.Helper()
	s.store.mu.Lock()
	defer s.store.mu.Unlock()
	if len(s.store.keys) < 20 {
		s.Errorf("only %d notices in a day", len(s.store.keys))
	}
	for key, n := range s.store.keys {
		if n > 1 {
			s.Errorf("the notice %s was made %d times", key, n)
		}
	}
}
