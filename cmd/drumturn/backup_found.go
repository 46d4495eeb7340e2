package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"drumturn/coordinator/usage"
)

// foundBackup is a backup as it lies on the disk: the copy of the store, and the
// folder that the keys are in.
type foundBackup struct{ store, folder string }

// whatToName says what can be restored.
const whatToName = "name a folder that drumturn backup has written, or the file of a night"

// findBackup finds what a path means: a folder that the backup command has written
// holds the store under its own name; of the nightly backups each is one file, and
// all share a folder with the keys.
func findBackup(path string) (foundBackup, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return foundBackup{}, usageError{fmt.Errorf("there is no backup at %s: "+whatToName, path)}
	case info.Mode().IsRegular():
		return foundBackup{path, filepath.Dir(path)}, nil
	}
	b := foundBackup{filepath.Join(path, storeName), path}
	if info, err := os.Stat(b.store); err == nil && info.Mode().IsRegular() {
		return b, nil
	}
	if nights, err := usage.Nights(path); err == nil && len(nights) > 0 {
		newest := filepath.Join(path, nights[len(nights)-1])
		return foundBackup{}, usageError{fmt.Errorf("%s holds the backups of several nights: name one of them, such as %s", path, newest)}
	}
	return foundBackup{}, usageError{fmt.Errorf("%s is no backup: there is no %s in it; "+whatToName, path, storeName)}
}

// ordinaryFiles refuses a backup with links in it: one that came from elsewhere could
// bring any file of this computer into the data folder.
func (b foundBackup) ordinaryFiles() error {
	paths := []string{b.store}
	for _, name := range keyFiles {
		paths = append(paths, filepath.Join(b.folder, name))
	}
	for _, path := range paths {
		info, err := os.Lstat(path)
		if err == nil && !info.Mode().IsRegular() {
			return usageError{fmt.Errorf("%s is a link, or no file: nothing was replaced; put the file itself there", path)}
		}
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("restore: %w", err)
		}
	}
	return nil
}
