package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/coordinator/store"
	"drumturn/coordinator/usage"
	"drumturn/queue"
)

// wireKeeper sets up the nightly housekeeping.
func (a *app) wireKeeper(context.Context) error {
	var err error
	a.keeper, err = usage.NewKeeper(nightStore{a.store, a.file.Server.Data}, a.keptRooms, usage.Options{
		Zone: a.file.Building.Zone, Schedule: a.file.Schedule.Nightly, Monthly: a.monthly(),
		BackupDir: a.file.Backup.Folder, KeepBackups: a.file.Backup.Keep, Now: a.clock.Now, Log: a.log,
	})
	if err == nil {
		a.reports = usage.NewReports(a.store, a.keeper.Edition)
	}
	return err
}

// keptRooms says what housekeeping must know of each room, as its rules are now.
func (a *app) keptRooms() []usage.Room {
	var rooms []usage.Room
	tariffs := a.house.People().Tariffs
	for _, id := range a.house.Rooms() {
		snap := a.house.Snapshot(id)
		room := usage.Room{ID: id, KeepDays: snap.Rules.KeepDays, Hours: snap.Rules.Hours, CallAfter: snap.Rules.CallWithLoadAfter(), Kinds: map[coordinator.MachineID]queue.Kind{},
			Tariffs: tariffs, PerHome: snap.Rules.PerHomeFigures, Power: map[coordinator.MachineID]cycle.Settings{}}
		for i := range snap.Machines {
			room.Machines = append(room.Machines, snap.Machines[i].ID)
			room.Kinds[snap.Machines[i].ID] = snap.Machines[i].Kind
			room.Power[snap.Machines[i].ID] = snap.Machines[i].Power
		}
		rooms = append(rooms, room)
	}
	return rooms
}

// nightStore backs up the keys beside the store: without them every phone would
// have to switch notices on again.
type nightStore struct {
	*store.File
	data string
}

// Backup copies the store to path, and the keys into the same folder.
func (n nightStore) Backup(ctx context.Context, path string) error {
	if err := n.File.Backup(ctx, path); err != nil {
		return err
	}
	return copyKeys(n.data, filepath.Dir(path))
}

// copyKeys copies the keys of an installation from one folder to another.
func copyKeys(from, to string) error {
	for _, name := range keyFiles {
		content, err := os.ReadFile(filepath.Join(from, name))
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err == nil {
			err = putSecret(filepath.Join(to, name), content)
		}
		if err != nil {
			return fmt.Errorf("backup of the keys: %w", err)
		}
	}
	return nil
}

// putSecret writes a file that only its owner may read, in the place of what has its
// name: a link there is replaced and not followed, a file that others may read goes.
func putSecret(path string, content []byte) error {
	fresh, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".new-*")
	if err != nil {
		return err
	}
	_, err = fresh.Write(content)
	if err = errors.Join(err, fresh.Sync(), fresh.Close()); err == nil {
		err = os.Rename(fresh.Name(), path)
	}
	if err != nil {
		_ = os.Remove(fresh.Name())
	}
	return err
}
