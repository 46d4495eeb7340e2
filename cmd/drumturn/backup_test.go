package main

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/store"
)

// copierFunc copies a store as a test says.
type copierFunc func(ctx context.Context, path string) error

func (f copierFunc) Backup(ctx context.Context, path string) error { return f(ctx, path) }

// copies writes something in the place of a store.
var copies = copierFunc(func(_ context.Context, path string) error { return os.WriteFile(path, []byte("store"), 0o600) })

// keysIn makes a data folder with keys.
func keysIn(t *testing.T) string {
	t.Helper()
	data := t.TempDir()
	for _, name := range keyFiles {
		if err := os.WriteFile(filepath.Join(data, name), []byte("of "+name), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return data
}

// names lists what is in a folder.
func names(t *testing.T, folder string) []string {
	t.Helper()
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, e := range entries {
		all = append(all, e.Name())
	}
	return all
}

// TestBackupTo: a backup is named by its instant in UTC, and holds store and keys.
func TestBackupTo(t *testing.T) {
	data, folder := keysIn(t), filepath.Join(t.TempDir(), "not", "there", "yet")
	at := time.Date(2026, 3, 29, 3, 30, 5, 0, time.FixedZone("", 2*3600))
	path, err := backupTo(t.Context(), copies, data, folder, at)
	if err != nil || path != filepath.Join(folder, "drumturn-20260329T013005Z") {
		t.Fatalf("it is %s, %v", path, err)
	}
	if got, want := names(t, path), []string{"drumturn.db", "push-keys.json", "wall-key"}; !slices.Equal(got, want) {
		t.Errorf("it holds %q, want %q", got, want)
	}
	for _, name := range keyFiles {
		content, err := os.ReadFile(filepath.Join(path, name))
		info, _ := os.Stat(filepath.Join(path, name))
		if err != nil || string(content) != "of "+name || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %q, %v, %v", name, content, info, err)
		}
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o700 {
		t.Errorf("the folder with the keys is %v, %v", info, err)
	}
	if got := names(t, folder); len(got) != 1 {
		t.Errorf("beside it there is %q", got)
	}
}

// TestBackupToMistakes: a backup that fails leaves nothing behind, and never has
// the name of a whole one.
func TestBackupToMistakes(t *testing.T) {
	full := errors.New("no space left on device")
	for name, c := range map[string]struct {
		copier copierFunc
		spoil  func(data string) error
	}{
		"at once": {func(context.Context, string) error { return full }, nil},
		"half-way": {func(_ context.Context, p string) error {
			return errors.Join(os.WriteFile(p, []byte("sto"), 0o600), full)
		}, nil},
		"over the keys": {copies, func(data string) error {
			return errors.Join(os.Remove(filepath.Join(data, "wall-key")), os.Mkdir(filepath.Join(data, "wall-key"), 0o700))
		}},
	} {
		t.Run(name, func(t *testing.T) {
			data, folder := keysIn(t), t.TempDir()
			if c.spoil != nil {
				if err := c.spoil(data); err != nil {
					t.Fatal(err)
				}
			}
			path, err := backupTo(t.Context(), c.copier, data, folder, evening)
			if err == nil || path != "" || !strings.Contains(err.Error(), "backup") {
				t.Errorf("%q, %v", path, err)
			}
			if got := names(t, folder); len(got) != 0 {
				t.Errorf("left behind is %q", got)
			}
		})
	}
}

// TestBackupToTwiceAtOnce: the second of one second is refused, and leaves the first alone.
func TestBackupToTwiceAtOnce(t *testing.T) {
	data, folder := keysIn(t), t.TempDir()
	var second error
	first, err := backupTo(t.Context(), copierFunc(func(ctx context.Context, path string) error {
		_, second = backupTo(ctx, copies, data, folder, evening)
		return copies(ctx, path)
	}), data, folder, evening)
	if err != nil || second == nil {
		t.Fatalf("the first: %v, the second: %v", err, second)
	}
	if _, third := backupTo(t.Context(), copies, data, folder, evening); third == nil {
		t.Error("a backup was replaced")
	}
	if got := names(t, first); len(got) != 3 {
		t.Errorf("the first holds %q", got)
	}
	if got := names(t, folder); len(got) != 1 {
		t.Errorf("there are %q", got)
	}
}

func TestBackupToWantsAFullPath(t *testing.T) {
	for _, folder := range []string{"", ".", "copies", "../copies", "~/copies"} {
		if path, err := backupTo(t.Context(), copies, keysIn(t), folder, evening); err == nil || !strings.Contains(err.Error(), "full path") {
			t.Errorf("%q: %q, %v", folder, path, err)
		}
	}
}

// TestCopyKeys: keys that are not there (yet) are left out; nothing else is copied.
func TestCopyKeys(t *testing.T) {
	from, to := keysIn(t), t.TempDir()
	if err := errors.Join(os.Remove(filepath.Join(from, "wall-key")), os.WriteFile(filepath.Join(from, "other"), nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	if err := copyKeys(from, to); err != nil {
		t.Fatal(err)
	}
	if got := names(t, to); !slices.Equal(got, []string{"push-keys.json"}) {
		t.Errorf("copied is %q", got)
	}
	if err := copyKeys(from, filepath.Join(to, "none")); err == nil || !strings.Contains(err.Error(), "keys") {
		t.Errorf("into a folder that is not there: %v", err)
	}
}

// TestNightStore: the nightly copy has the keys beside it.
func TestNightStore(t *testing.T) {
	w := wiring(t, handBuilding, nil).open()
	to := t.TempDir()
	if err := (nightStore{w.app.store, w.path("data")}).Backup(t.Context(), filepath.Join(to, "night.db")); err != nil {
		t.Fatal(err)
	}
	if got := names(t, to); !slices.Equal(got, []string{"night.db", "push-keys.json", "wall-key"}) {
		t.Errorf("there is %q", got)
	}
	if err := store.Verify(t.Context(), filepath.Join(to, "night.db")); err != nil {
		t.Error(err)
	}
	if err := (nightStore{w.app.store, w.path("data")}).Backup(t.Context(), filepath.Join(to, "none", "night.db")); err == nil {
		t.Error("a copy into a folder that is not there is no error")
	}
}

// TestNightlyWork: what the program was down for is made up for, into the
// folder of the file, keys included.
func TestNightlyWork(t *testing.T) {
	w := wiring(t, handBuilding+"[backup]\nfolder = \"copies\"\nkeep = 2\n", nil).start()
	for night := range 4 {
		if err := w.app.keeper.CatchUp(t.Context(), evening.AddDate(0, 0, night)); err != nil {
			t.Fatal(err)
		}
	}
	stores := slices.DeleteFunc(names(t, w.path("copies")), func(n string) bool { return !strings.HasSuffix(n, ".db") })
	if len(stores) != 2 {
		t.Errorf("kept are %q, want the newest two", stores)
	}
	if got := names(t, w.path("copies")); !slices.Contains(got, "push-keys.json") || !slices.Contains(got, "wall-key") {
		t.Errorf("without the keys: %q", got)
	}
}

// TestKeptRooms: how long history is kept by person is what the rules in force say.
func TestKeptRooms(t *testing.T) {
	text := handBuilding + "[rules]\nkeep_days = 30\n[rooms.attic.rules]\nkeep_days = 7\n"
	w := wiring(t, text, nil).open()
	days := map[coordinator.RoomID]int{}
	for _, room := range w.app.keptRooms() {
		days[room.ID] = room.KeepDays
	}
	if !reflect.DeepEqual(days, map[coordinator.RoomID]int{"cellar": 30, "attic": 7}) {
		t.Errorf("kept are %v", days)
	}
}

// TestBackupCommandFromAnywhere: the folder that the building file names is
// found although the file's own name is not a full path, while the program runs
// and while it does not.
func TestBackupCommandFromAnywhere(t *testing.T) {
	w := wiring(t, handBuilding+"[backup]\nfolder = \"copies\"\n", nil).open()
	w.end()
	t.Chdir(w.dir)
	out, errOut, code := command(t, "backup")
	if code != 0 {
		t.Fatalf("stopped: %d\n%s%s", code, out, errOut)
	}
	made := names(t, w.path("copies"))
	if len(made) != 1 || !strings.Contains(out, w.path("copies")) {
		t.Errorf("there is %q after\n%s", made, out)
	}
	if err := os.RemoveAll(w.path("copies")); err != nil {
		t.Fatal(err)
	}
	w.start()
	w.awaitControl()
	if out, errOut, code := command(t, "backup"); code != 0 || len(names(t, w.path("copies"))) != 1 {
		t.Errorf("running: %d\n%s%s", code, out, errOut)
	}
}

// moved starts another installation from a backup, as the README says.
func (w *wired) moved(backup string) *wired {
	w.Helper()
	text, err := os.ReadFile(w.path("building.toml"))
	if err != nil {
		w.Fatal(err)
	}
	other := wiring(w.T, string(text), nil)
	other.clock.Set(w.clock.Now())
	if err := os.CopyFS(other.path("data"), os.DirFS(backup)); err != nil {
		w.Fatal(err)
	}
	return other
}

// TestRestore: from a backup everything goes on: the residents' sessions, their
// turns and devices, the rules that were changed, the codes and keys.
func TestRestore(t *testing.T) {
	w := wiring(t, strings.Replace(handBuilding, "data =", "push_subject = \"caretaker@weiher.org\"\npush_hosts = [\"push.weiher.org\"]\ndata =", 1), nil).start()
	anna, ben, cleo := w.visitor(), w.visitor(), w.visitor()
	anna.join("1", "anna")
	ben.join("2", "ben")
	cleo.join("3", "cleo")
	for _, v := range []*visitor{anna, ben} {
		if status, text := v.post("/r/cellar/turns", "need", "wash"); status != http.StatusOK {
			t.Fatalf("%d %s", status, text)
		}
	}
	if status, text := anna.post("/me/devices", "endpoint", "https://push.weiher.org/a",
		"p256dh", "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4", "auth", "BTBZMqHH6r4Tts7J_aSIgg"); status >= 300 {
		t.Fatalf("%d %s", status, text)
	}
	rules := w.settle().Rules
	rules.Hold = 25 * time.Minute
	if _, err := w.app.house.Do(t.Context(), "cellar", coordinator.SetRules{Rules: rules, Person: "manager"}); err != nil {
		t.Fatal(err)
	}
	before, people, keys, wall := w.settle(), w.app.house.People(), w.app.keys, w.app.wallKey
	backup, err := backupTo(t.Context(), w.app.store, w.path("data"), t.TempDir(), evening)
	if err != nil {
		t.Fatal(err)
	}
	// What happens after the backup is lost, no more.
	if status, text := cleo.post("/r/cellar/turns", "need", "dry"); status != http.StatusOK {
		t.Fatalf("%d %s", status, text)
	}
	w.end()

	r := w.moved(backup).start()
	after := r.settle()
	if got, want := fmt.Sprintf("%+v", after.Turns), fmt.Sprintf("%+v", before.Turns); got != want || len(before.Turns) != 2 {
		t.Errorf("turns:\n got %s\nwant %s", got, want)
	}
	if after.Rules.Hold != 25*time.Minute || after.RulesVersion != before.RulesVersion {
		t.Errorf("rules version %d with a hold of %s", after.RulesVersion, after.Rules.Hold)
	}
	got := r.app.house.People()
	for what, pair := range map[string][2]any{
		"persons": {got.Persons, people.Persons}, "homes": {got.Homes, people.Homes}, "sessions": {got.Sessions, people.Sessions},
		"codes": {got.Invitations, people.Invitations}, "devices": {got.Subscriptions, people.Subscriptions},
		"push key": {r.app.keys.Public, keys.Public}, "wall key": {r.app.wallKey, wall},
	} {
		if !reflect.DeepEqual(pair[0], pair[1]) {
			t.Errorf("%s:\n got %+v\nwant %+v", what, pair[0], pair[1])
		}
	}
	if len(people.Subscriptions) != 1 {
		t.Errorf("%d devices", len(people.Subscriptions))
	}
	// Anna's browser is still hers.
	anna.wired = r
	anna.sees("/r/cellar", "Your turn")
}
