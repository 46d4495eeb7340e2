package loop

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"drumturn/coordinator"
)

// Eraser is a store that can take people out of a unit's history; sums stay.
type Eraser interface {
	Erase(ctx context.Context, unit coordinator.Unit, persons []coordinator.PersonID) error
}

// retryDepartures is how long after a failure rooms are told again.
const retryDepartures = time.Minute

// DoPeople takes an event to the building's people and answers after its commit,
// and after the rooms have been told of whoever left by it.
func (h *House) DoPeople(ctx context.Context, ev coordinator.PeopleEvent) error {
	if err := h.people.Do(ctx, ev); err != nil {
		return err
	}
	h.wakeDepartures()
	if len(h.People().Departures) == 0 {
		return nil
	}
	return h.tellDepartures(ctx)
}

func (h *House) wakeDepartures() {
	select {
	case h.left <- struct{}{}:
	default:
	}
}

// tellDepartures tells every room of those who left, and then forgets that they
// are to be told. What was told twice changes nothing.
func (h *House) tellDepartures(ctx context.Context) error {
	select {
	case h.telling <- struct{}{}:
		defer func() { <-h.telling }()
	case <-ctx.Done():
		return ctx.Err()
	}
	var all []coordinator.Departure
	for _, d := range h.People().Departures {
		all = append(all, d)
	}
	slices.SortFunc(all, func(a, b coordinator.Departure) int {
		return cmp.Or(cmp.Compare(len(a.ID), len(b.ID)), cmp.Compare(a.ID, b.ID))
	})
	for _, d := range all {
		if err := h.tellDeparture(ctx, d); err != nil {
			return fmt.Errorf("tell the rooms who left: %w", err)
		}
	}
	return nil
}

func (h *House) tellDeparture(ctx context.Context, d coordinator.Departure) error {
	for _, room := range h.order {
		var ev coordinator.Event = coordinator.MovedOut{Person: d.Person, Home: d.Home, TurnsOnly: d.TurnsOnly}
		if d.Into != "" || d.IntoHome != "" {
			ev = coordinator.Merged{Person: d.Person, Home: d.Home, Into: d.Into, IntoHome: d.IntoHome}
		}
		if _, err := h.Do(ctx, room, ev); err != nil {
			return err
		}
	}
	if eraser, ok := h.store.(Eraser); ok && len(d.Erase) > 0 {
		for _, unit := range append([]coordinator.Unit{coordinator.Building}, h.order...) {
			if err := eraser.Erase(ctx, unit, d.Erase); err != nil {
				return err
			}
		}
	}
	return h.people.Do(ctx, coordinator.Departed{ID: d.ID})
}

// runDepartures tells rooms of those who left before a stop, and ends the stay of
// guests when it is over.
func (h *House) runDepartures(ctx context.Context) error {
	for {
		next := h.endAndTell(ctx)
		due, release := h.wakeAt(next)
		select {
		case <-ctx.Done():
			release()
			return nil
		case <-h.left:
		case <-due:
		}
		release()
	}
}

// endAndTell does what is due, and says when there is more to do; zero: not before somebody leaves.
func (h *House) endAndTell(ctx context.Context) time.Time {
	var err error
	if end := h.People().NextEnd(); !end.IsZero() && !h.clock.Now().Before(end) {
		err = h.people.Do(ctx, coordinator.EndGuests{})
	}
	if err == nil && len(h.People().Departures) > 0 {
		err = h.tellDepartures(ctx)
	}
	if err != nil {
		if ctx.Err() == nil && !errors.Is(err, ErrStopped) {
			h.log.Error("rooms could not be told who left", "err", err)
		}
		return h.clock.Now().Add(retryDepartures)
	}
	return h.People().NextEnd()
}

// wakeAt is the clock's At; for no instant, never.
func (h *House) wakeAt(at time.Time) (<-chan struct{}, func()) {
	if at.IsZero() {
		return nil, func() {}
	}
	return h.clock.At(at)
}
