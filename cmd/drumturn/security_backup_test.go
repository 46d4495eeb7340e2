package main

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// attempt logs a line of the table in DEVELOPERS.md, and fails when it is a bad one.
func attempt(t *testing.T, good bool, kind, what, happened string) {
	t.Helper()
	t.Logf("| %s | %s | %s |", kind, what, happened)
	if !good {
		t.Errorf("%s: not so", what)
	}
}

// precious is a file of somebody else's, with what must stay in it.
func precious(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "precious")
	if err := os.WriteFile(path, []byte("precious"), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// untouched reports whether it does.
func untouched(path string) bool {
	content, err := os.ReadFile(path)
	return err == nil && string(content) == "precious"
}

// ownersOnly reports whether a path is a file itself, with that content, which nobody
// but its owner may read.
func ownersOnly(path, content string) bool {
	info, err := os.Lstat(path)
	got, wrong := os.ReadFile(path)
	return err == nil && wrong == nil && info.Mode().IsRegular() && info.Mode().Perm() == 0o600 && string(got) == content
}

// TestSecurityBackupPaths: what lies in the folder for backups already, or in a backup,
// cannot make the program write or read elsewhere.
func TestSecurityBackupPaths(t *testing.T) {
	const kind = "backup and restore"
	w := wiring(t, handBuilding, nil).open()
	data, folder := w.path("data"), t.TempDir()
	wall, err := os.ReadFile(filepath.Join(data, "wall-key"))
	if err != nil {
		t.Fatal(err)
	}

	// The night's backup, into a folder that others may write into.
	victim := precious(t)
	night := nightStore{w.app.store, data}
	if err := errors.Join(os.Symlink(victim, filepath.Join(folder, "wall-key")), os.Symlink(victim, filepath.Join(folder, "tonight.db"))); err != nil {
		t.Fatal(err)
	}
	err = night.Backup(t.Context(), filepath.Join(folder, "tonight.db"))
	attempt(t, err != nil && untouched(victim), kind, "a link with the name of tonight's backup", "refused, what it leads to is untouched")
	err = night.Backup(t.Context(), filepath.Join(folder, "other.db"))
	attempt(t, err == nil && untouched(victim) && ownersOnly(filepath.Join(folder, "wall-key"), string(wall)), kind, "a link with the name of a key in the folder for backups", "replaced, not followed")
	old := filepath.Join(folder, "wall-key")
	if err := errors.Join(os.WriteFile(old, []byte("old"), 0o600), os.Chmod(old, 0o644)); err != nil {
		t.Fatal(err)
	}
	err = night.Backup(t.Context(), filepath.Join(folder, "third.db"))
	attempt(t, err == nil && ownersOnly(old, string(wall)), kind, "an older copy of the keys that everybody may read", "replaced by one that only its owner may (0600)")
	info, err := os.Stat(filepath.Join(folder, "third.db"))
	attempt(t, err == nil && info.Mode().Perm() == 0o600, kind, "the copy of the store", "0600")
	if left, _ := filepath.Glob(filepath.Join(folder, "*.new-*")); len(left) > 0 {
		t.Errorf("left behind is %q", left)
	}

	// One by command, where a link has the name that it will have.
	elsewhere := t.TempDir()
	final := filepath.Join(folder, "drumturn-20260304T180000Z")
	for _, name := range []string{final, final + ".partial"} {
		if err := os.Symlink(elsewhere, name); err != nil {
			t.Fatal(err)
		}
		_, err = backupTo(t.Context(), w.app.store, data, folder, evening)
		attempt(t, err != nil && len(names(t, elsewhere)) == 0, kind, "a link with the name "+strings.TrimPrefix(name, folder+"/"), "refused, nothing is written where it leads")
		if err := os.Remove(name); err != nil {
			t.Fatal(err)
		}
	}
	backup, err := backupTo(t.Context(), w.app.store, data, folder, evening)
	if err != nil {
		t.Fatal(err)
	}
	_, err = backupTo(t.Context(), w.app.store, data, folder, evening)
	attempt(t, err != nil && len(names(t, backup)) >= 2, kind, "a backup of that name is there", "refused, it stays")
	w.end()
	restoresNoLinks(t, w, backup)
}

// restoresNoLinks tries a backup in which a file is a link, or is none.
func restoresNoLinks(t *testing.T, w *wired, backup string) {
	const kind = "backup and restore"
	victim := precious(t)
	now := func() string {
		content, err := os.ReadFile(w.path("data", storeName))
		wall, wrong := os.ReadFile(w.path("data", "wall-key"))
		if err := errors.Join(err, wrong); err != nil {
			t.Fatal(err)
		}
		return string(content) + string(wall)
	}
	before := now()
	for _, name := range append([]string{storeName}, keyFiles...) {
		path := filepath.Join(backup, name)
		aside := path + ".aside"
		if err := os.Rename(path, aside); err != nil && !errors.Is(err, os.ErrNotExist) {
			t.Fatal(err)
		}
		for how, spoil := range map[string]func() error{
			"a link to another file": func() error { return os.Symlink(victim, path) },
			"a link to itself":       func() error { return os.Symlink(path, path) },
			"a link to the same":     func() error { return os.Symlink(aside, path) },
			"a folder":               func() error { return os.Mkdir(path, 0o700) },
		} {
			if err := spoil(); err != nil {
				t.Fatal(err)
			}
			_, err := restore(context.Background(), backup, w.path("data"), evening)
			attempt(t, err != nil && now() == before, kind, "restoring a backup in which "+name+" is "+how, "refused, nothing is replaced")
			if err := os.Remove(path); err != nil {
				t.Fatal(err)
			}
		}
		_ = os.Rename(aside, path)
	}
	// One that everybody may read: what it becomes is the owner's alone.
	for _, name := range append([]string{storeName}, keyFiles...) {
		_ = os.Chmod(filepath.Join(backup, name), 0o644)
	}
	if _, err := restore(context.Background(), backup, w.path("data"), evening); err != nil {
		t.Fatal(err)
	}
	good := true
	for _, name := range []string{storeName, "wall-key"} {
		info, err := os.Lstat(w.path("data", name))
		good = good && err == nil && info.Mode().IsRegular() && info.Mode().Perm() == 0o600
	}
	attempt(t, good, kind, "restoring files that everybody may read", "0600 in their place")
}
