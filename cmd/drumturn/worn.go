package main

import (
	"context"
	"fmt"
	"sync"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/coordinator/usage/wear"
)

// worn is what the pages about wear and about enough machines read.
type worn struct {
	app *app
	mu  sync.Mutex
	// capacities are reckoned once a day and version of the rules.
	capacities map[coordinator.RoomID]capacityOf
}

type capacityOf struct {
	date    usage.Date
	version int
	all     []usage.Capacity
}

// room is what usage must know of a room.
func (w *worn) room(id coordinator.RoomID) (*usage.Room, error) {
	rooms := w.app.keptRooms()
	for i := range rooms {
		if rooms[i].ID == id {
			return &rooms[i], nil
		}
	}
	return nil, fmt.Errorf("there is no room %q", id)
}

// Wear implements ui.Worn.
func (w *worn) Wear(ctx context.Context, room coordinator.RoomID, machine coordinator.MachineID) (usage.Wear, error) {
	r, err := w.room(room)
	if err != nil {
		return usage.Wear{}, err
	}
	return usage.WearOf(ctx, w.app.store, r, machine)
}

// Drifts implements ui.Worn.
func (w *worn) Drifts(ctx context.Context, room coordinator.RoomID) (map[coordinator.MachineID][]wear.Drift, error) {
	return usage.DriftsNow(ctx, w.app.store, room)
}

// capacity says whether a room has enough machines. Playing two years takes a
// tenth of a second, so it is done once a day; others who ask wait for it.
func (w *worn) capacity(ctx context.Context, room coordinator.RoomID) ([]usage.Capacity, error) {
	r, err := w.room(room)
	if err != nil {
		return nil, err
	}
	now, zone := w.app.clock.Now(), w.app.file.Building.Zone
	date, version := usage.DateOf(now, zone), w.app.house.Snapshot(room).RulesVersion
	w.mu.Lock()
	defer w.mu.Unlock()
	if had, ok := w.capacities[room]; ok && had.date == date && had.version == version {
		return had.all, nil
	}
	all, err := usage.CapacityOf(ctx, w.app.store, r, zone, now)
	if err == nil {
		w.capacities[room] = capacityOf{date, version, all}
	}
	return all, err
}
