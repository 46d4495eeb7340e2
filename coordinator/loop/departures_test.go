package loop

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// eraserStore notes whose history is erased.
type eraserStore struct {
	*fakeStore
	erased []coordinator.Unit
}

func (e *eraserStore) Erase(_ context.Context, unit coordinator.Unit, _ []coordinator.PersonID) error {
	e.erased = append(e.erased, unit)
	return nil
}

// twoHomes opens a building in which anna and ben joined.
func twoHomes(t *testing.T) *house {
	h := open(t, newFakeStore(), Wall{})
	h.watts(1)
	if err := errors.Join(
		h.DoPeople(t.Context(), coordinator.SetInvitation{Room: "cellar", Code: "AB12"}),
		h.DoPeople(t.Context(), joinEvent("anna", "AB12")), h.DoPeople(t.Context(), joinEvent("ben", "AB12")),
	); err != nil {
		t.Fatal(err)
	}
	return h
}

// takeTurn joins the queue as somebody of the home that they joined.
func (h *house) takeTurn(who coordinator.PersonID) error {
	_, err := h.Do(h.Context(), "cellar", coordinator.Join{Person: who, Home: h.People().Persons[who].Home, Need: queue.Wash})
	return err
}

func (h *house) turnsOf(who coordinator.PersonID) (n int) {
	for _, turn := range h.Snapshot("cellar").Turns {
		if turn.Person == who {
			n++
		}
	}
	return n
}

// TestBlockedTakeNoTurns: neither those they have, nor new ones.
func TestBlockedTakeNoTurns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := twoHomes(t)
		if err := errors.Join(h.takeTurn("anna"), h.DoPeople(t.Context(), coordinator.Block{Person: "anna", On: true})); err != nil {
			t.Fatal(err)
		}
		var refusal *coordinator.Error
		if err := h.takeTurn("anna"); !errors.As(err, &refusal) || refusal.Key != "join.blocked" || h.turnsOf("anna") != 0 {
			t.Fatalf("a blocked person was answered %v, and has %d turns", err, h.turnsOf("anna"))
		}
		if err := errors.Join(h.DoPeople(t.Context(), coordinator.Block{Person: "anna"}), h.takeTurn("anna")); err != nil {
			t.Fatal(err)
		}
	})
}

// TestMergedTurnsGoAlong: the answer comes when the rooms know.
func TestMergedTurnsGoAlong(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := twoHomes(t)
		if err := errors.Join(h.takeTurn("ben"), h.DoPeople(t.Context(), coordinator.MergePersons{From: "ben", Into: "anna"})); err != nil {
			t.Fatal(err)
		}
		if h.turnsOf("anna") != 1 || h.turnsOf("ben") != 0 || len(h.People().Departures) != 0 {
			t.Fatalf("turns: %+v, to be told: %v", h.Snapshot("cellar").Turns, h.People().Departures)
		}
	})
}

// TestAKillBetweenPeopleAndRoomsLosesNothing: the rooms hear of it at the next start.
func TestAKillBetweenPeopleAndRoomsLosesNothing(t *testing.T) {
	for name, ev := range map[string]coordinator.PeopleEvent{
		"forget":   coordinator.Forget{Person: "anna", Erase: true},
		"move out": coordinator.MoveOut{Home: coordinator.HomeIDFor("12"), Code: "NEW"},
		"block":    coordinator.Block{Person: "anna", On: true},
		"merge":    coordinator.MergePersons{From: "anna", Into: "ben"},
	} {
		synctest.Test(t, func(t *testing.T) {
			h := twoHomes(t)
			if err := h.takeTurn("anna"); err != nil {
				t.Fatal(err)
			}
			// Killed: the people's change is stored, and the room is never told.
			if err := h.people.Do(t.Context(), ev); err != nil {
				t.Fatal(err)
			}
			if h.turnsOf("anna") != 1 {
				t.Fatalf("%s: told already", name)
			}
			if err := h.stop(); err != nil {
				t.Fatal(err)
			}
			h = open(t, h.store, Wall{})
			synctest.Wait()
			if h.turnsOf("anna") != 0 || len(h.People().Departures) != 0 {
				t.Fatalf("%s: anna has %d turns after the restart, to be told: %v", name, h.turnsOf("anna"), h.People().Departures)
			}
		})
	}
}

// TestEraseReachesTheStore: in the building's log and each room's.
func TestEraseReachesTheStore(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := &eraserStore{fakeStore: newFakeStore()}
		h, err := Open(t.Context(), testPlans(), fixed, store, Wall{}, slog.New(slog.DiscardHandler))
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		go func() { _ = h.Run(ctx) }()
		if err := errors.Join(
			h.DoPeople(ctx, coordinator.SetInvitation{Room: "cellar", Code: "AB12"}), h.DoPeople(ctx, joinEvent("anna", "AB12")),
			h.DoPeople(ctx, coordinator.Forget{Person: "anna", Erase: true}),
		); err != nil {
			t.Fatal(err)
		}
		if len(store.erased) != 2 || store.erased[0] != coordinator.Building || store.erased[1] != "cellar" {
			t.Errorf("erased in %q", store.erased)
		}
		cancel()
		synctest.Wait()
	})
}

// TestGuestsGoAtTheirTime: with their turns, though nobody does anything.
func TestGuestsGoAtTheirTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := twoHomes(t)
		host := h.People().Persons["anna"].Home
		guest := joinEvent("gus", "GUEST")
		if err := errors.Join(
			h.DoPeople(t.Context(), coordinator.InviteGuests{ID: "g", Room: "cellar", Home: host, Code: "GUEST", Most: 1, Until: time.Now().Add(time.Hour)}),
			h.DoPeople(t.Context(), guest), h.takeTurn("gus"),
		); err != nil {
			t.Fatal(err)
		}
		var refusal *coordinator.Error
		if err := h.takeTurn("gus"); !errors.As(err, &refusal) || refusal.Key != "join.guest" {
			t.Fatalf("a guest's second turn: %v", err)
		}
		// The loop takes its time from the clock: a minute before, and at the hour.
		time.Sleep(59 * time.Minute)
		synctest.Wait()
		if _, there := h.People().Persons["gus"]; !there {
			t.Fatal("gone before the time")
		}
		time.Sleep(time.Minute)
		synctest.Wait()
		if _, there := h.People().Persons["gus"]; there || h.turnsOf("gus") != 0 {
			t.Fatalf("the guest stays, with %d turns", h.turnsOf("gus"))
		}
	})
}
