package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"drumturn/coordinator/store"
)

// restoreCommand puts a backup into the place of the store and the keys.
type restoreCommand struct {
	Backup string `arg:"" help:"Folder that the backup command has written, or the file of a night."`
	fileArgument
}

// storeName is the store's file, in the data folder and in backups.
const storeName = "drumturn.db"

// Run checks the backup first, and keeps what it replaces.
func (c *restoreCommand) Run(ctx context.Context, s streams) error {
	file, err := c.load(s.err)
	if err != nil {
		return err
	}
	kept, err := restore(ctx, c.Backup, file.Server.Data, time.Now())
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "Restored %s into %s. Start the program with: drumturn serve %s\n", c.Backup, file.Server.Data, c.File)
	if kept != "" {
		fmt.Fprintf(s.out, "What was there before is in %s; delete it when all is well.\n", kept)
	}
	fmt.Fprintln(s.out, "What happened after the backup is not in it: turns taken since are gone, and devices noted since are told nothing.")
	return nil
}

// restore copies a backup into the data folder of a program that does not run.
// The backup is copied and checked beside the store before anything is replaced;
// what it replaces is moved into a folder, whose name is returned.
func restore(ctx context.Context, backup, data string, now time.Time) (kept string, err error) {
	from, err := findBackup(backup)
	if err != nil {
		return "", err
	}
	if err := from.ordinaryFiles(); err != nil {
		return "", err
	}
	if err := os.MkdirAll(data, 0o700); err != nil {
		return "", fmt.Errorf("restore: %w", err)
	}
	if err := notRunning(ctx, data); err != nil {
		return "", err
	}
	fresh, err := os.MkdirTemp(data, "restoring-")
	if err != nil {
		return "", fmt.Errorf("restore: %w", err)
	}
	defer os.RemoveAll(fresh)
	if err := from.copyTo(ctx, fresh); err != nil {
		return "", err
	}
	return swap(fresh, data, filepath.Join(data, "replaced-"+now.UTC().Format("20060102T150405Z")))
}

// notRunning refuses while another program has the store. One that is damaged
// is what is to be replaced.
func notRunning(ctx context.Context, data string) error {
	if errors.Is(store.Verify(ctx, filepath.Join(data, storeName)), store.ErrBusy) {
		return fmt.Errorf("the program runs on the store in %s: stop it before restoring", data)
	}
	return nil
}

// copyTo copies the store and the keys, and checks the copy of the store.
func (b foundBackup) copyTo(ctx context.Context, to string) error {
	if err := copyFile(b.store, filepath.Join(to, storeName)); err != nil {
		return fmt.Errorf("restore: %w", err)
	}
	if err := store.Verify(ctx, filepath.Join(to, storeName)); err != nil {
		return fmt.Errorf("%s is damaged, or is no backup; nothing was replaced: %w; "+whatToName, b.store, err)
	}
	return copyKeys(b.folder, to)
}

// copyFile copies a file and waits until the disk has it.
func copyFile(from, to string) error {
	content, err := os.Open(from)
	if err != nil {
		return err
	}
	defer content.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = out.ReadFrom(content)
	return errors.Join(err, out.Sync(), out.Close())
}

// swap moves what is restored into the data folder, and what it replaces aside.
// The store goes last: killed before, the old one is in the one place or the other.
func swap(fresh, data, kept string) (moved string, err error) {
	for _, name := range append(slices.Clone(keyFiles), storeName) {
		if _, err := os.Stat(filepath.Join(fresh, name)); errors.Is(err, fs.ErrNotExist) {
			continue // a backup without keys leaves those that are there
		}
		switch err := moveInto(kept, filepath.Join(data, name)); {
		case err == nil:
			moved = kept
		case !errors.Is(err, fs.ErrNotExist):
			return moved, fmt.Errorf("restore: %w", err)
		}
		if err := os.Rename(filepath.Join(fresh, name), filepath.Join(data, name)); err != nil {
			return moved, fmt.Errorf("restore: %w; what was there is in %s", err, kept)
		}
	}
	return moved, nil
}

// moveInto moves a file into a folder, which is made when there is one to move.
func moveInto(folder, path string) error {
	if _, err := os.Stat(path); err != nil {
		return err
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	return os.Rename(path, filepath.Join(folder, filepath.Base(path)))
}
