package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"drumturn/coordinator/store"
)

// backupCommand copies the store and the keys, while the program runs or not.
type backupCommand struct {
	fileArgument
	To string `help:"Folder to write into; empty: the one that the building file names." type:"path"`
}

// Run writes one backup and names it.
func (c *backupCommand) Run(ctx context.Context, s streams) error {
	file, err := c.load(s.err)
	if err != nil {
		return err
	}
	folder := c.To
	if folder == "" {
		folder = file.Backup.Folder
	}
	// The running program may have been started in another folder.
	if folder, err = filepath.Abs(folder); err != nil {
		return fmt.Errorf("find the folder for backups: %w", err)
	}
	path, err := askBackup(ctx, file.Server.Data, folder)
	if errors.Is(err, errNotRunning) {
		path, err = c.offline(ctx, file.Server.Data, folder)
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "Wrote %s\nIt holds the store and the push keys: without those keys every phone would have to switch notices on again.\nTo restore: stop the program, then: drumturn restore %s %s\n", path, path, c.File)
	return nil
}

// offline copies the store of a program that is not running.
func (c *backupCommand) offline(ctx context.Context, data, folder string) (string, error) {
	path := filepath.Join(data, storeName)
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return "", usageError{fmt.Errorf("there is no store in %s yet; start the program once with: drumturn serve %s", data, c.File)}
	}
	st, err := store.OpenToRead(path, store.Options{})
	if err != nil {
		return "", err
	}
	defer st.Close()
	return backupTo(ctx, st, data, folder, time.Now())
}

// keyFiles are kept in a backup besides the store.
var keyFiles = []string{"push-keys.json", "wall-key"}

// copier copies a store while it is in use.
type copier interface {
	Backup(ctx context.Context, path string) error
}

// backupTo writes a folder named after the instant, with the store and the keys,
// and returns its path. It appears under that name only once it is whole; of one
// that failed nothing is left.
func backupTo(ctx context.Context, st copier, data, folder string, now time.Time) (string, error) {
	if !filepath.IsAbs(folder) {
		return "", fmt.Errorf("backup: %q is no full path of a folder", folder)
	}
	final := filepath.Join(folder, "drumturn-"+now.UTC().Format("20060102T150405Z"))
	partial := final + ".partial"
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return "", fmt.Errorf("backup: %w", err)
	}
	// Not MkdirAll: one that is there belongs to a backup under way.
	if err := os.Mkdir(partial, 0o700); err != nil {
		return "", fmt.Errorf("backup: %w", err)
	}
	err := fillBackup(ctx, st, data, partial)
	if err == nil {
		err = os.Rename(partial, final)
	}
	if err != nil {
		return "", errors.Join(fmt.Errorf("backup: %w", err), os.RemoveAll(partial))
	}
	return final, nil
}

// fillBackup copies the store and the keys into a folder.
func fillBackup(ctx context.Context, st copier, data, folder string) error {
	if err := st.Backup(ctx, filepath.Join(folder, storeName)); err != nil {
		return err
	}
	return copyKeys(data, folder)
}
