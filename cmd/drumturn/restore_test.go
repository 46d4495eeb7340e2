package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
)

// restored runs the command, which must do it.
func restored(t *testing.T, w *wired, backup string) string {
	t.Helper()
	out, errOut, code := command(t, "restore", backup, w.path("building.toml"))
	if code != 0 {
		t.Fatalf("%d\n%s%s", code, out, errOut)
	}
	return out
}

// TestRestoreCommand: what is in the backup is in force again, and what was
// replaced is kept.
func TestRestoreCommand(t *testing.T) {
	w := wiring(t, handBuilding, nil).start()
	rules := w.settle().Rules
	rules.Hold = 25 * time.Minute
	set := func() {
		t.Helper()
		if _, err := w.app.house.Do(t.Context(), "cellar", coordinator.SetRules{Rules: rules}); err != nil {
			t.Fatal(err)
		}
	}
	set()
	backup, err := backupTo(t.Context(), w.app.store, w.path("data"), t.TempDir(), evening)
	if err != nil {
		t.Fatal(err)
	}
	keys := w.app.keys.Public
	rules.Hold = 9 * time.Minute
	set()
	w.awaitControl()
	if out, errOut, code := command(t, "restore", backup, w.path("building.toml")); code == 0 || !strings.Contains(errOut, "stop it before restoring") {
		t.Errorf("while it runs: %d\n%s%s", code, out, errOut)
	}
	w.end()

	out := restored(t, w, backup)
	w.start()
	if got := w.settle().Rules.Hold; got != 25*time.Minute || w.app.keys.Public != keys {
		t.Errorf("the hold is %v, the keys are the same: %v", got, w.app.keys.Public == keys)
	}
	w.end()
	kept, err := filepath.Glob(w.path("data", "replaced-*", storeName))
	if err != nil || len(kept) != 1 || !strings.Contains(out, filepath.Dir(kept[0])) {
		t.Errorf("kept is %q, %v, after\n%s", kept, err, out)
	}
	if left, _ := filepath.Glob(w.path("data", "restoring-*")); len(left) > 0 {
		t.Errorf("left behind is %q", left)
	}
}

// TestRestoreRefuses: a damaged backup, and what is none, replace nothing.
func TestRestoreRefuses(t *testing.T) {
	w := wiring(t, handBuilding, nil).open()
	backup, err := backupTo(t.Context(), w.app.store, w.path("data"), t.TempDir(), evening)
	if err != nil {
		t.Fatal(err)
	}
	w.end()
	before, err := os.ReadFile(w.path("data", storeName))
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(backup, storeName)
	content, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func() error{
		"cut short": func() error { return os.WriteFile(file, content[:len(content)/2], 0o600) },
		"empty":     func() error { return os.WriteFile(file, nil, 0o600) },
		"no store":  func() error { return os.WriteFile(file, []byte(strings.Repeat("holiday pictures ", 4000)), 0o600) },
		"missing":   func() error { return os.Remove(file) },
	} {
		if err := errors.Join(os.WriteFile(file, content, 0o600), spoil()); err != nil {
			t.Fatal(err)
		}
		if out, errOut, code := command(t, "restore", backup, w.path("building.toml")); code == 0 {
			t.Errorf("%s: %s%s", name, out, errOut)
		}
		after, err := os.ReadFile(w.path("data", storeName))
		if err != nil || string(after) != string(before) {
			t.Errorf("%s: the store was touched (%v)", name, err)
		}
	}
}

// TestRestoreWithoutKeys leaves the keys that are there; into an empty folder it
// just goes.
func TestRestoreWithoutKeys(t *testing.T) {
	w := wiring(t, handBuilding, nil).open()
	backup, err := backupTo(t.Context(), w.app.store, w.path("data"), t.TempDir(), evening)
	if err != nil {
		t.Fatal(err)
	}
	w.end()
	for _, name := range keyFiles {
		if err := os.Remove(filepath.Join(backup, name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			t.Fatal(err)
		}
	}
	wall, err := os.ReadFile(w.path("data", "wall-key"))
	if err != nil {
		t.Fatal(err)
	}
	restored(t, w, backup)
	if after, err := os.ReadFile(w.path("data", "wall-key")); err != nil || string(after) != string(wall) {
		t.Errorf("the key is %q, %v", after, err)
	}
	if err := os.RemoveAll(w.path("data")); err != nil {
		t.Fatal(err)
	}
	if out := restored(t, w, backup); strings.Contains(out, "What was there before") {
		t.Errorf("of an empty folder it says\n%s", out)
	}
}

// TestRestoreANight: what the nights left in the folder of backups is restored by
// the file of one of them, with the keys beside it.
func TestRestoreANight(t *testing.T) {
	w := wiring(t, handBuilding+"[backup]\nfolder = \"copies\"\nkeep = 2\n", nil).start()
	rules := w.settle().Rules
	for night := range 2 {
		rules.Hold = time.Duration(20+night) * time.Minute
		if _, err := w.app.house.Do(t.Context(), "cellar", coordinator.SetRules{Rules: rules}); err != nil {
			t.Fatal(err)
		}
		if err := w.app.keeper.CatchUp(t.Context(), evening.AddDate(0, 0, night)); err != nil {
			t.Fatal(err)
		}
	}
	keys := w.app.keys.Public
	w.end()
	all, err := usage.Nights(w.path("copies"))
	if err != nil || len(all) != 2 {
		t.Fatalf("the nights left %q, %v", all, err)
	}
	for i := range all {
		all[i] = w.path("copies", all[i])
	}
	// The folder alone does not say which night is meant.
	if out, errOut, code := command(t, "restore", w.path("copies"), w.path("building.toml")); code == 0 || !strings.Contains(errOut, all[1]) {
		t.Errorf("the folder of all nights: %d\n%s%s", code, out, errOut)
	}
	if err := os.Remove(w.path("data", "push-keys.json")); err != nil {
		t.Fatal(err)
	}
	restored(t, w, all[0])
	w.start()
	if got := w.settle().Rules.Hold; got != 20*time.Minute || w.app.keys.Public != keys {
		t.Errorf("the hold is %v, the keys are the same: %v", got, w.app.keys.Public == keys)
	}
	w.end()
	link := filepath.Join(t.TempDir(), "drumturn-2031-01-01.db")
	if err := os.Symlink(all[1], link); err != nil {
		t.Fatal(err)
	}
	if _, errOut, code := command(t, "restore", link, w.path("building.toml")); code == 0 || !strings.Contains(errOut, "is a link") {
		t.Errorf("a link to a night: %d\n%s", code, errOut)
	}
}
