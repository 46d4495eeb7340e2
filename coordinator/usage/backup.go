package usage

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

const backupPrefix, backupSuffix = "drumturn-", ".db"

// backup writes the day's backup and deletes those that are too many. One that
// is there already was complete when it got its name.
func (k *Keeper) backup(ctx context.Context, today Date) error {
	if err := os.MkdirAll(k.o.BackupDir, 0o700); err != nil {
		return fmt.Errorf("cannot make the folder for backups: %w", err)
	}
	path := filepath.Join(k.o.BackupDir, backupPrefix+today.String()+backupSuffix)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		if err := k.store.Backup(ctx, path); err != nil {
			return err
		}
	}
	return prune(k.o.BackupDir, k.o.KeepBackups)
}

// prune deletes all but the newest backups.
func prune(dir string, keep int) error {
	names, err := Nights(dir)
	if err != nil {
		return err
	}
	for _, name := range names[:max(0, len(names)-keep)] {
		if err := os.Remove(filepath.Join(dir, name)); err != nil {
			return fmt.Errorf("cannot delete an old backup: %w", err)
		}
	}
	return nil
}

// Nights lists the backups in a folder, the oldest first: only files that have the
// very name that a night gives.
func Nights(dir string) (names []string, err error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("cannot list the backups: %w", err)
	}
	for _, e := range entries {
		if e.Type().IsRegular() && isBackup(e.Name()) {
			names = append(names, e.Name())
		}
	}
	slices.Sort(names) // by date, as the dates are written
	return names, nil
}

func isBackup(name string) bool {
	date, ok := strings.CutPrefix(name, backupPrefix)
	if !ok {
		return false
	}
	if date, ok = strings.CutSuffix(date, backupSuffix); !ok {
		return false
	}
	var d Date
	return d.UnmarshalText([]byte(date)) == nil
}
