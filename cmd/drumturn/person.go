package main

import (
	"cmp"
	"context"
	"slices"
	"time"

	"drumturn/coordinator"
	"drumturn/ui"
)

// What the store keeps of a person names them by the id that they had then, so both
// of these look for all ids of who became one with them as well.

// historyOf lists what the store keeps of a person's past, room by room.
func (a *app) historyOf(ctx context.Context, id coordinator.PersonID) ([]ui.RoomFact, error) {
	var out []ui.RoomFact
	person, _ := a.house.People().Now(id)
	end := a.house.Now().Add(time.Hour)
	for _, room := range a.file.Rooms {
		err := a.store.Facts(ctx, room.ID, time.Unix(0, 0), end, func(f coordinator.Fact) bool {
			if person.Is(f.Person) {
				out = append(out, ui.RoomFact{Room: room.ID, Fact: f})
			}
			return true
		})
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// deliveriesTo lists the newest rows of the outbox about a person, at most limit.
func (a *app) deliveriesTo(ctx context.Context, id coordinator.PersonID, limit int) ([]coordinator.Delivery, error) {
	var out []coordinator.Delivery
	person, _ := a.house.People().Now(id)
	for _, one := range person.IDs() {
		rows, err := a.store.DeliveriesTo(ctx, one, limit)
		if err != nil {
			return nil, err
		}
		out = append(out, rows...)
	}
	slices.SortFunc(out, func(a, b coordinator.Delivery) int {
		return cmp.Or(b.Notice.Made.Compare(a.Notice.Made), cmp.Compare(b.Key, a.Key))
	})
	// A row that concerned two who are one now is listed under both ids.
	out = slices.CompactFunc(out, func(a, b coordinator.Delivery) bool { return a.Key == b.Key })
	return out[:min(limit, len(out))], nil
}
