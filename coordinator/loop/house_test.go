package loop

import (
	"context"
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
)

// TestAnswerComesAfterCommit: whoever is answered finds the change stored and published.
func TestAnswerComesAfterCommit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := open(t, newFakeStore(), Wall{})
		h.watts(1)
		h.join("anna")
		if got := h.store.notices(); !slices.Equal(got, []coordinator.NoticeKind{coordinator.TurnCalled}) {
			t.Fatalf("stored notices: %v", got)
		}
		if h.status() != coordinator.Held {
			t.Fatalf("published status is %s", h.status())
		}
	})
}

// TestDeadlinesNeedNoEvent: a hold lapses at its instant though nothing happens.
func TestDeadlinesNeedNoEvent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := open(t, newFakeStore(), Wall{})
		h.watts(1)
		h.join("anna")
		time.Sleep(9*time.Minute + 59*time.Second)
		h.watts(1)
		synctest.Wait()
		if h.status() != coordinator.Held {
			t.Fatalf("a second before the lapse the machine is %s", h.status())
		}
		time.Sleep(time.Second)
		synctest.Wait()
		want := []coordinator.NoticeKind{coordinator.TurnCalled, coordinator.TurnMissed}
		if got := h.store.notices(); !slices.Equal(got, want) {
			t.Fatalf("notices %v, want %v", got, want)
		}
	})
}

// TestReadingsAreBuffered: readings that change nothing are stored together
// after a few seconds, and those before a change go with it.
func TestReadingsAreBuffered(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := open(t, newFakeStore(), Wall{})
		h.watts(1)
		synctest.Wait()
		stored := h.store.readings("cellar")
		for range 4 {
			time.Sleep(time.Second)
			h.watts(1)
		}
		synctest.Wait()
		if got := h.store.readings("cellar"); got != stored {
			t.Fatalf("%d readings were stored at once", got-stored)
		}
		h.join("anna")
		if got := h.store.readings("cellar"); got != stored+4 {
			t.Fatalf("with the change %d readings were stored, want %d", got, stored+4)
		}
		time.Sleep(time.Second)
		h.watts(1)
		time.Sleep(flushEvery)
		synctest.Wait()
		if got := h.store.readings("cellar"); got != stored+5 {
			t.Fatalf("after the flush %d readings are stored, want %d", got, stored+5)
		}
	})
}

// TestStopStoresTheBuffer: an orderly stop loses no reading.
func TestStopStoresTheBuffer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := open(t, newFakeStore(), Wall{})
		h.watts(1)
		time.Sleep(time.Second)
		h.watts(1)
		if err := h.stop(); err != nil {
			t.Fatal(err)
		}
		if got := h.store.readings("cellar"); got != 2 {
			t.Fatalf("%d readings are stored, want 2", got)
		}
		if _, err := h.Do(t.Context(), "cellar", coordinator.Tick{}); !errors.Is(err, ErrStopped) {
			t.Fatalf("a stopped room answers %v", err)
		}
		if err := h.Deliver(t.Context(), "m1", coordinator.MachineReading{}.Reading); err == nil {
			// The inbox may still have room, but never a second time for ever.
			t.Log("a stopped room's inbox took a reading")
		}
	})
}

// TestStoreFailure: a change that is not stored is not answered as done, and the
// loops stop rather than go on with what nobody will remember.
func TestStoreFailure(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := open(t, newFakeStore(), Wall{})
		h.watts(1)
		synctest.Wait()
		h.store.mu.Lock()
		h.store.fail = errDisk
		h.store.mu.Unlock()
		_, err := h.Do(t.Context(), "cellar", coordinator.Join{Person: "anna", Home: "home-anna", Need: 1})
		if !errors.Is(err, errDisk) {
			t.Fatalf("the caller was answered %v", err)
		}
		if err := h.stop(); !errors.Is(err, errDisk) {
			t.Fatalf("the loops ended with %v", err)
		}
		if len(h.Snapshot("cellar").Turns) != 0 {
			t.Fatal("a turn that is not stored was published")
		}
	})
}

// TestReopen: a building opened again on the same store goes on where it was.
func TestReopen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := newFakeStore()
		h := open(t, store, Wall{})
		h.watts(1)
		h.join("anna")
		h.pass(2*time.Minute, 300)
		if h.status() != coordinator.Running {
			t.Fatalf("the machine is %s", h.status())
		}
		if err := h.stop(); err != nil {
			t.Fatal(err)
		}
		h = open(t, store, Wall{})
		if h.status() != coordinator.Running || h.Snapshot("cellar").Machines[0].Load.Owner != "anna" {
			t.Fatalf("after the restart the machine is %s", h.status())
		}
		h.pass(time.Hour, 300)
		h.pass(4*time.Minute, 1)
		want := []coordinator.NoticeKind{coordinator.TurnCalled, coordinator.LoadBegun, coordinator.LoadReady}
		if got := store.notices(); !slices.Equal(got, want) {
			t.Fatalf("notices %v, want %v", got, want)
		}
	})
}

// TestClockJump: deadlines that a jump of the clock passes over take effect at
// their own instants, before what comes after the jump.
func TestClockJump(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock := NewManual(time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC))
		h := open(t, newFakeStore(), clock)
		h.watts(1)
		h.join("anna")
		synctest.Wait()
		clock.Set(clock.Now().Add(15 * time.Minute))
		_, _ = h.Do(t.Context(), "cellar", coordinator.Tick{})
		h.store.mu.Lock()
		defer h.store.mu.Unlock()
		for _, sets := range h.store.commits {
			for _, set := range sets {
				for _, n := range set.Notices {
					if n.Kind == coordinator.TurnMissed && n.Made.Minute() != 10 {
						t.Fatalf("the miss was noticed at %s, want 12:10", n.Made.Format("15:04"))
					}
				}
			}
		}
	})
}

// TestSteadyRefresh: expected ends stay fresh while a machine runs, and an idle
// room is left in peace.
func TestSteadyRefresh(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := open(t, newFakeStore(), Wall{})
		h.pass(2*time.Minute, 300)
		changed, stop := h.Watch("cellar")
		defer stop()
		before := h.Snapshot("cellar").At
		h.pass(2*time.Minute, 300)
		if !h.Snapshot("cellar").At.After(before) || len(changed) != 1 {
			t.Fatal("the snapshot of a running machine was not renewed")
		}
		h.pass(4*time.Minute, 1)
		if _, err := h.Do(t.Context(), "cellar", coordinator.Collect{Machine: "w1"}); err != nil {
			t.Fatal(err)
		}
		h.pass(time.Minute, 1) // the forecast follows the commit
		<-changed
		at := h.Snapshot("cellar").At
		h.pass(5*time.Minute, 1)
		if len(changed) != 0 || h.Snapshot("cellar").At != at {
			t.Fatal("an idle room was published again")
		}
	})
}

func TestUnknownNames(t *testing.T) {
	h := open(t, newFakeStore(), Wall{})
	if err := h.Deliver(t.Context(), "m9", coordinator.MachineReading{}.Reading); err == nil {
		t.Error("a meter that nobody has was taken")
	}
	var refusal *coordinator.Error
	if _, err := h.Do(t.Context(), "attic", coordinator.Tick{}); !errors.As(err, &refusal) || refusal.Code != coordinator.NotFound {
		t.Errorf("a room that is not there answers %v", err)
	}
	if h.Snapshot("attic") != nil {
		t.Error("a room that is not there has a snapshot")
	}
	if ch, stop := h.Watch("attic"); ch != nil {
		stop()
		t.Error("a room that is not there can be watched")
	}
}

// TestCallerGivesUp: a caller whose context ends is not left hanging.
func TestCallerGivesUp(t *testing.T) {
	room := &Room{inbox: make(chan item), end: newEnding(), clock: Wall{}}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := room.Do(ctx, coordinator.Tick{}); !errors.Is(err, context.Canceled) {
		t.Fatalf("answered %v", err)
	}
}
