package demo

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/loop"
	"drumturn/coordinator/meter"
	"drumturn/queue"
)

// stay is the demonstration on its real loops, in a bubble's time.
type stay struct {
	*testing.T
	*loop.House
	live  *Live
	shelf *shelf
	end   func()
}

// open lets three days pass in fast time and goes on in the bubble's.
func open(t *testing.T, seed uint64) *stay {
	t.Helper()
	now := time.Now()
	town, _, s := lived(t, seed, 1, now, fixed)
	house, err := loop.Open(t.Context(), Plans(zone), fixed, s, loop.Wall{}, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	st := &stay{T: t, House: house, live: town.Live(loop.Wall{}), shelf: s}
	runs := []func() error{
		func() error { return house.Run(ctx) },
		func() error { return st.live.Run(ctx, house) },
	}
	sink := meter.SinkFunc(func(ctx context.Context, name string, m meter.Sample) error {
		return house.Deliver(ctx, name, m.Reading(house.Now()))
	})
	for _, d := range st.live.Drivers() {
		runs = append(runs, func() error { return d.Run(ctx, sink) })
	}
	done := make(chan error, len(runs))
	for _, run := range runs {
		go func() { done <- run() }()
	}
	st.end = func() {
		cancel()
		for range runs {
			if err := <-done; err != nil && !errors.Is(err, context.Canceled) {
				t.Error(err)
			}
		}
	}
	return st
}

// visitor is the visitor's load in the cellar and their turn; nil for none.
func (s *stay) visitor() (*coordinator.MachineView, *queue.Turn) {
	snap := s.Snapshot(Cellar)
	var with *coordinator.MachineView
	for i := range snap.Machines {
		if l := snap.Machines[i].Load; l != nil && l.Owner == Visitor && with == nil {
			with = &snap.Machines[i]
		}
	}
	for i := range snap.Turns {
		if t := &snap.Turns[i]; t.Person == Visitor && (t.State == queue.Waiting || t.State == queue.Called) {
			return with, t
		}
	}
	return with, nil
}

// TestLiveGoesOn: the visitor's wash is done soon after the start, a tap of
// theirs empties the drum, and their turn comes.
func TestLiveGoesOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := open(t, 1)
		defer s.end()
		time.Sleep(20 * time.Minute)
		synctest.Wait()
		m, turn := s.visitor()
		if m == nil || m.Status != coordinator.Finished && m.Status != coordinator.Overdue {
			t.Fatalf("after 20 min the visitor's load is %+v", m)
		}
		if turn == nil {
			t.Fatal("the visitor's turn is gone")
		}
		if s.live.Inside(Cellar, m.ID) != Visitor {
			t.Fatal("the drum does not hold the visitor's laundry")
		}
		if _, err := s.Do(t.Context(), Cellar, coordinator.Collect{Machine: m.ID, Person: Visitor, Home: homeID(visitorHome)}); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Second)
		synctest.Wait()
		if s.live.Inside(Cellar, m.ID) == Visitor {
			t.Error("the tap did not empty the drum")
		}
		time.Sleep(90 * time.Minute)
		synctest.Wait()
		if _, turn := s.visitor(); turn != nil {
			t.Errorf("the visitor still waits: %+v", turn)
		}
	})
}

// TestLiveForHalfADay: residents go on as before, whatever the hour.
func TestLiveForHalfADay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := open(t, 2)
		defer s.end()
		before := map[coordinator.FactKind]int{}
		kinds := []coordinator.FactKind{
			coordinator.FactJoined, coordinator.FactCalled, coordinator.FactStarted, coordinator.FactCycle, coordinator.FactCollected,
		}
		for _, kind := range kinds {
			before[kind] = s.shelf.count(Cellar, kind)
		}
		time.Sleep(12 * time.Hour)
		synctest.Wait()
		for _, kind := range kinds {
			if n := s.shelf.count(Cellar, kind) - before[kind]; n < 5 {
				t.Errorf("%d facts %q in half a day", n, kind)
			}
		}
		if m := s.Snapshot(Garden).Machine("washer-dryer-3"); m.Status == coordinator.Unknown {
			t.Error("the silent meter never came back")
		}
		if s.shelf.told == 0 {
			t.Error("nobody was told anything in half a day")
		}
	})
}

// TestLiveMachines: every driver has its meter's name, and buttons can be pressed by hand.
func TestLiveMachines(t *testing.T) {
	town := New(1, time.Date(2026, 1, 1, 0, 0, 0, 0, zone), zone)
	live := town.Live(loop.NewManual(time.Date(2026, 1, 1, 0, 0, 0, 0, zone)))
	wired := map[string]bool{}
	for _, plan := range Plans(zone) {
		for _, m := range plan.Machines {
			wired[m.Meter] = true
			if live.Machine(plan.ID, m.ID) == nil {
				t.Errorf("no driver for %s %s", plan.ID, m.ID)
			}
		}
	}
	for _, d := range live.Drivers() {
		if !wired[d.Meters()[0]] {
			t.Errorf("meter %q is behind no machine", d.Meters()[0])
		}
		delete(wired, d.Meters()[0])
	}
	if len(wired) != 0 || live.Machine(Cellar, "mangle") != nil {
		t.Errorf("left over: %v", wired)
	}
}
