package usage

import (
	"context"
	"time"

	"drumturn/coordinator"
)

// keepDays is how many days the room's history is kept by person.
func (r *Room) keepDays() int {
	if r.KeepDays > 0 {
		return r.KeepDays
	}
	return defaultKeepDays
}

// withBuilding adds the building's own unit, which keeps history no longer than
// the strictest room does.
func withBuilding(rooms []Room) []Room {
	building := Room{ID: coordinator.Building, KeepDays: defaultKeepDays}
	for i, r := range rooms {
		if i == 0 || r.keepDays() < building.KeepDays {
			building.KeepDays = r.keepDays()
		}
	}
	return append(rooms[:len(rooms):len(rooms)], building)
}

// retain shortens a unit's history piece by piece, so that others may write in between.
func (k *Keeper) retain(ctx context.Context, r Room, now time.Time) error {
	byPerson := k.daysAgo(now, r.keepDays())
	readings := k.daysAgo(now, k.o.KeepReadings)
	for {
		more, err := k.store.Retain(ctx, r.ID, byPerson, readings)
		if err != nil || !more {
			return err
		}
		if err := ctx.Err(); err != nil {
			return err
		}
	}
}

// daysAgo is the begin of the local day so many days before today.
func (k *Keeper) daysAgo(now time.Time, days int) time.Time {
	return DateOf(now, k.o.Zone).Add(-days).Begin(k.o.Zone)
}
