package loop

import (
	"context"
	"errors"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

// twoRooms are the cellar and an attic with a machine of its own.
func twoRooms() []coordinator.Plan {
	attic := testPlans()[0]
	attic.ID, attic.Name = "attic", "Attic"
	attic.Machines = append([]coordinator.Machine(nil), attic.Machines...)
	attic.Machines[0].Meter = "m2"
	return append(testPlans(), attic)
}

// failFor makes the commits of one unit fail from now on.
func failFor(store *fakeStore, units ...coordinator.Unit) func() {
	on := make(chan struct{})
	store.refuse = func(sets []coordinator.ChangeSet) error {
		select {
		case <-on:
		default:
			return nil
		}
		for _, set := range sets {
			for _, u := range units {
				if set.Unit == u {
					return errDisk
				}
			}
		}
		return nil
	}
	return func() { close(on) }
}

// TestOneRoomFailsAllStop: the building does not run on with half its rooms.
func TestOneRoomFailsAllStop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := newFakeStore()
		breakAttic := failFor(store, "attic")
		h, err := Open(t.Context(), twoRooms(), fixed, store, Wall{}, slog.New(slog.DiscardHandler))
		if err != nil {
			t.Fatal(err)
		}
		ended := make(chan error, 1)
		go func() { ended <- h.Run(t.Context()) }()
		for _, m := range []string{"m1", "m2"} {
			if err := h.Deliver(t.Context(), m, cycle.Power(h.Now(), 1)); err != nil {
				t.Fatal(err)
			}
		}
		synctest.Wait()
		// The reading of the cellar is in its buffer and must not be lost.
		time.Sleep(time.Second)
		if err := h.Deliver(t.Context(), "m1", cycle.Power(h.Now(), 1)); err != nil {
			t.Fatal(err)
		}
		synctest.Wait()
		breakAttic()
		if _, err := h.Do(t.Context(), "attic", washJoin(1)); !errors.Is(err, errDisk) {
			t.Fatalf("the attic answered %v", err)
		}
		synctest.Wait()
		select {
		case err := <-ended:
			if !errors.Is(err, errDisk) || !strings.Contains(err.Error(), `room "attic"`) {
				t.Errorf("the building ended with %v", err)
			}
		default:
			t.Fatal("the building runs on")
		}
		if n := store.readings("cellar"); n != 2 {
			t.Errorf("%d readings of the cellar are stored, want 2", n)
		}
		// What nothing is wrong with says why it does not run all the same.
		_, cellar := h.Do(t.Context(), "cellar", washJoin(1))
		people := h.DoPeople(t.Context(), coordinator.SetInvitation{Room: "cellar", Code: "AB12"})
		for who, err := range map[string]error{"the cellar": cellar, "the people": people} {
			if !errors.Is(err, ErrStopped) || !errors.Is(err, errDisk) || !strings.Contains(err.Error(), `room "attic"`) {
				t.Errorf("%s answered %v", who, err)
			}
		}
	})
}

// TestErrorsOfAllLoops: when several fail, all of it is told.
func TestErrorsOfAllLoops(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := newFakeStore()
		breakBoth := failFor(store, "attic", "cellar")
		h := openPlans(t, store, Wall{}, twoRooms())
		for _, m := range []string{"m1", "m2"} {
			if err := h.Deliver(t.Context(), m, cycle.Power(h.Now(), 1)); err != nil {
				t.Fatal(err)
			}
		}
		synctest.Wait()
		time.Sleep(time.Second)
		for _, m := range []string{"m1", "m2"} { // is buffered, and stored at the end
			if err := h.Deliver(t.Context(), m, cycle.Power(h.Now(), 1)); err != nil {
				t.Fatal(err)
			}
		}
		synctest.Wait()
		breakBoth()
		err := h.stop()
		for _, room := range []string{`room "attic"`, `room "cellar"`} {
			if err == nil || !strings.Contains(err.Error(), room) {
				t.Errorf("%s is not in %v", room, err)
			}
		}
	})
}

// TestStopBeginsNothing: a stop of an idle building is no error and commits nothing.
func TestStopBeginsNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := openPlans(t, newFakeStore(), Wall{}, twoRooms())
		synctest.Wait()
		before := len(h.store.calls())
		if err := h.stop(); err != nil {
			t.Fatal(err)
		}
		if got := len(h.store.calls()); got != before {
			t.Errorf("%d commits at the stop", got-before)
		}
	})
}

// TestOpenFails: a building that cannot be read is not opened, and the error
// names what cannot.
func TestOpenFails(t *testing.T) {
	for _, unit := range []coordinator.Unit{coordinator.Building, "cellar", "attic"} {
		store := newFakeStore()
		store.unreadable = unit
		_, err := Open(t.Context(), twoRooms(), fixed, store, Wall{}, slog.New(slog.DiscardHandler))
		want := string(unit)
		if unit == coordinator.Building {
			want = "people"
		}
		if !errors.Is(err, errDisk) || !strings.Contains(err.Error(), want) {
			t.Errorf("unit %q: %v", unit, err)
		}
	}
	store := newFakeStore()
	store.fail = errDisk
	if _, err := Open(t.Context(), testPlans(), fixed, store, Wall{}, slog.New(slog.DiscardHandler)); !errors.Is(err, errDisk) || !strings.Contains(err.Error(), `reopen room "cellar"`) {
		t.Errorf("a store that takes nothing: %v", err)
	}
}

// TestReadingsGoToTheirRooms: meters lead to the machine behind them, and a
// machine without a meter has none.
func TestReadingsGoToTheirRooms(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		plans := twoRooms()
		unmetered := plans[0].Machines[0]
		unmetered.ID, unmetered.Number, unmetered.Meter = "w2", 2, ""
		plans[0].Machines = append(plans[0].Machines, unmetered)
		h := openPlans(t, newFakeStore(), Wall{}, plans)
		for range 3 {
			if err := h.Deliver(t.Context(), "m2", cycle.Power(h.Now(), 1)); err != nil {
				t.Fatal(err)
			}
		}
		h.watts(1)
		if err := h.Deliver(t.Context(), "", cycle.Power(h.Now(), 1)); !errors.Is(err, ErrNoMachine) {
			t.Errorf("a meter without a name was answered %v", err)
		}
		if err := h.stop(); err != nil {
			t.Fatal(err)
		}
		if c, a := h.store.readings("cellar"), h.store.readings("attic"); c != 1 || a != 3 {
			t.Errorf("%d and %d readings, want 1 and 3", c, a)
		}
		if got := h.Rooms(); len(got) != 2 || got[0] != "cellar" || got[1] != "attic" {
			t.Errorf("rooms %v", got)
		}
	})
}

// TestSeed: what a new building needs is stored before the loops run, and a
// refusal is told with its cause.
func TestSeed(t *testing.T) {
	store := newFakeStore()
	h, err := Open(t.Context(), testPlans(), fixed, store, Wall{}, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	if err := h.Seed(t.Context(), coordinator.SetInvitation{Room: "cellar", Code: "AB12"}, coordinator.SetFirstToken{Hash: "abc"}); err != nil {
		t.Fatal(err)
	}
	if len(h.People().Invitations) != 1 {
		t.Error("the invitation is not there")
	}
	again, err := Open(t.Context(), testPlans(), fixed, store, Wall{}, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	if len(again.People().Invitations) != 1 {
		t.Error("the invitation was not stored")
	}
	var refusal *coordinator.Error
	err = h.Seed(t.Context(), joinEvent("anna", "XX"), coordinator.SetInvitation{Room: "attic", Code: "CD34"})
	if !errors.As(err, &refusal) || !strings.Contains(err.Error(), "seed") {
		t.Errorf("a refusal was told as %v", err)
	}
	if len(h.People().Invitations) != 1 {
		t.Error("it went on after a refusal")
	}
	store.breakDown(errDisk)
	if err := h.Seed(t.Context(), coordinator.SetInvitation{Room: "attic", Code: "CD34"}); !errors.Is(err, errDisk) {
		t.Errorf("a store that fails was told as %v", err)
	}
	if len(h.People().Invitations) != 1 {
		t.Error("an invitation that is not stored was published")
	}
}

// TestCommittedWakes: each commit that changes a room wakes whoever sends
// notices, after it is stored; readings alone do not.
func TestCommittedWakes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := openPlans(t, newFakeStore(), Wall{}, twoRooms())
		h.watts(1)
		synctest.Wait()
		woken, stop := h.Committed()
		time.Sleep(time.Second)
		h.watts(1)
		time.Sleep(flushEvery)
		synctest.Wait()
		if len(woken) != 0 || h.store.readings("cellar") != 2 {
			t.Errorf("readings alone woke %d times, %d are stored", len(woken), h.store.readings("cellar"))
		}
		if _, err := h.Do(t.Context(), "cellar", washJoin(1)); err != nil {
			t.Fatal(err)
		}
		synctest.Wait()
		if len(woken) != 1 {
			t.Error("a commit of the cellar did not wake")
		}
		<-woken
		if err := h.Deliver(t.Context(), "m2", cycle.Power(h.Now(), 1)); err != nil {
			t.Fatal(err)
		}
		if _, err := h.Do(t.Context(), "attic", washJoin(2)); err != nil {
			t.Fatal(err)
		}
		synctest.Wait()
		if len(woken) != 1 {
			t.Error("a commit of the attic did not wake")
		}
		<-woken
		stop()
		if _, err := h.Do(t.Context(), "attic", washJoin(3)); err != nil {
			t.Fatal(err)
		}
		synctest.Wait()
		if len(woken) != 0 {
			t.Error("woken after it wanted no more")
		}
	})
}

// TestForgetStopsAtARoomThatFails: that a room is still to be told of somebody who
// was forgotten is itself not forgotten.
func TestForgetStopsAtARoomThatFails(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := newFakeStore()
		breakCellar := failFor(store, "cellar")
		h := open(t, store, Wall{})
		h.watts(1)
		if err := errors.Join(
			h.DoPeople(t.Context(), coordinator.SetInvitation{Room: "cellar", Code: "AB12"}),
			h.DoPeople(t.Context(), joinEvent("anna", "AB12")),
		); err != nil {
			t.Fatal(err)
		}
		h.join("anna")
		breakCellar()
		// Two tell the room, this call and runDepartures; the second finds its loop
		// stopped, and is told why it is.
		if err := h.DoPeople(t.Context(), coordinator.Forget{Person: "anna"}); !errors.Is(err, errDisk) {
			t.Errorf("answered %v", err)
		}
		if len(h.People().Departures) != 1 {
			t.Error("the person is gone, the turn is not, and nobody will see to it")
		}
	})
}

// TestPeopleBatch: events that came while the disk was slow are stored together,
// and a refused one among them takes nothing from the others.
func TestPeopleBatch(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := newFakeStore()
		g := newGate(t, store)
		h := open(t, store, Wall{})
		synctest.Wait()
		ids := []coordinator.PersonID{"anna", "bert", "cleo", "dora", "emil", "fred"}
		errs := make([]error, len(ids))
		before := 0
		g.busy(func() {
			if err := h.DoPeople(context.Background(), coordinator.SetInvitation{Room: "cellar", Code: "AB12"}); err != nil {
				t.Error(err)
			}
		}, func() {
			before = len(store.calls()) + 1
			for i, id := range ids {
				code := "AB12"
				if i%3 == 1 {
					code = "wrong"
				}
				go func() { errs[i] = h.DoPeople(context.Background(), joinEvent(id, code)) }()
			}
		})
		if n := len(store.calls()) - before; n != 1 {
			t.Errorf("%d commits, want 1", n)
		}
		for i, err := range errs {
			if (err != nil) != (i%3 == 1) {
				t.Errorf("%s was told %v", ids[i], err)
			}
			_, there := h.People().SessionPerson("session-"+string(ids[i]), time.Now())
			if there != (err == nil) {
				t.Errorf("%s was told %v and is there: %v", ids[i], err, there)
			}
		}
	})
}
