package loop

import (
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
)

func joinEvent(id coordinator.PersonID, code string) coordinator.JoinBuilding {
	return coordinator.JoinBuilding{
		Room: "cellar", Code: code, HomeName: "12", Open: true, NewID: id,
		SessionHash: "session-" + string(id), Expires: time.Now().Add(time.Hour),
	}
}

func TestPeopleAreStoredAndLoaded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := newFakeStore()
		h := open(t, store, Wall{})
		if err := h.DoPeople(t.Context(), coordinator.SetInvitation{Room: "cellar", Code: "AB12"}); err != nil {
			t.Fatal(err)
		}
		var refusal *coordinator.Error
		if err := h.DoPeople(t.Context(), joinEvent("anna", "XX")); !errors.As(err, &refusal) || refusal.Key != "join.code" {
			t.Fatalf("a wrong code was answered %v", err)
		}
		if err := h.DoPeople(t.Context(), joinEvent("anna", "ab 12")); err != nil {
			t.Fatal(err)
		}
		if err := h.stop(); err != nil {
			t.Fatal(err)
		}
		h = open(t, store, Wall{})
		person, ok := h.People().SessionPerson("session-anna", time.Now())
		if !ok || person.ID != "anna" {
			t.Fatalf("after the restart the session leads to %+v", person)
		}
	})
}

// TestForgetMovesOut: who is forgotten leaves the queues first.
func TestForgetMovesOut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := open(t, newFakeStore(), Wall{})
		h.watts(1)
		if err := errors.Join(
			h.DoPeople(t.Context(), coordinator.SetInvitation{Room: "cellar", Code: "AB12"}),
			h.DoPeople(t.Context(), joinEvent("anna", "AB12")),
		); err != nil {
			t.Fatal(err)
		}
		h.join("anna")
		if err := h.DoPeople(t.Context(), coordinator.Forget{Person: "anna"}); err != nil {
			t.Fatal(err)
		}
		if n := len(h.Snapshot("cellar").Turns); n != 0 {
			t.Fatalf("%d turns are left", n)
		}
		if len(h.People().Persons) != 0 || len(h.People().Sessions) != 0 {
			t.Fatalf("left of the person: %+v", h.People())
		}
	})
}

func TestPeopleStoreFailure(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := open(t, newFakeStore(), Wall{})
		synctest.Wait()
		h.store.mu.Lock()
		h.store.fail = errDisk
		h.store.mu.Unlock()
		if err := h.DoPeople(t.Context(), coordinator.SetInvitation{Room: "cellar", Code: "AB12"}); !errors.Is(err, errDisk) {
			t.Fatalf("answered %v", err)
		}
		if len(h.People().Invitations) != 0 {
			t.Fatal("an invitation that is not stored was published")
		}
	})
}

func TestManualClock(t *testing.T) {
	start := time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC)
	m := NewManual(start)
	later, release := m.At(start.Add(time.Minute))
	defer release()
	past, _ := m.At(start)
	<-past
	dropped, drop := m.At(start.Add(time.Minute))
	drop()
	m.Set(start.Add(-time.Hour))
	if !m.Now().Equal(start) {
		t.Fatal("the clock went back")
	}
	m.Set(start.Add(59 * time.Second))
	select {
	case <-later:
		t.Fatal("woken a second early")
	default:
	}
	m.Set(start.Add(time.Minute))
	<-later
	select {
	case <-dropped:
		t.Fatal("a released wait was woken")
	default:
	}
}

func TestFastClock(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		start := time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC)
		f := Fast{Start: start, Since: time.Now(), Speed: 60}
		began := time.Now()
		reached, _ := f.At(start.Add(time.Hour))
		<-reached
		if got := time.Since(began); got != time.Minute {
			t.Fatalf("an hour took %s, want a minute", got)
		}
		if got := f.Now().Sub(start); got != time.Hour {
			t.Fatalf("the clock moved on by %s", got)
		}
	})
}

func TestWatchersMelt(t *testing.T) {
	var w watchers
	a, stopA := w.add()
	b, _ := w.add()
	w.wake()
	w.wake()
	if len(a) != 1 || len(b) != 1 {
		t.Fatalf("values waiting: %d and %d, want one each", len(a), len(b))
	}
	stopA()
	<-a
	w.wake()
	if len(a) != 0 {
		t.Fatal("a watcher that stopped was woken")
	}
	if !slices.Equal([]int{len(b)}, []int{1}) {
		t.Fatal("the other was not")
	}
}
