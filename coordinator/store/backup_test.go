package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"drumturn/coordinator"
)

func TestBackupWhileCommitting(t *testing.T) {
	f, _ := openFile(t)
	var wg sync.WaitGroup
	stop := make(chan struct{})
	wg.Go(func() {
		for n := uint64(1); ; n++ {
			select {
			case <-stop:
				return
			default:
				must(t, f.Commit(ctx, crashSet("cellar", n)))
			}
		}
	})
	dir := t.TempDir()
	for i := range 5 {
		path := filepath.Join(dir, fmt.Sprint(i, ".db"))
		must(t, f.Backup(ctx, path))
		must(t, Verify(ctx, path))
		copied := get[*File](t)(Open(path, Options{}))
		checkWhole(t, copied, "cellar", 0)
		must(t, copied.Close())
	}
	close(stop)
	wg.Wait()
}

func TestBackupRefused(t *testing.T) {
	f, _ := openFile(t)
	dir := t.TempDir()
	there := filepath.Join(dir, "there.db")
	must(t, os.WriteFile(there, []byte("precious"), 0o600))
	over, cancel := context.WithCancel(ctx)
	cancel()
	for _, c := range []struct {
		ctx  context.Context
		path string
		says string
	}{
		{ctx, there, "is there already"},
		{ctx, f.path, "is there already"},
		{ctx, filepath.Join(dir, "no", "folder.db"), "no such file"},
		{over, filepath.Join(dir, "late.db"), "canceled"},
	} {
		if err := f.Backup(c.ctx, c.path); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("to %s: %v", c.path, err)
		}
	}
	entries, err := os.ReadDir(dir)
	must(t, err)
	if len(entries) != 1 {
		t.Errorf("left behind: %v", entries)
	}
}

func TestVerifyFindsDamage(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "b.db")
	f := get[*File](t)(Open(path, Options{}))
	for n := uint64(1); n < 50; n++ {
		must(t, f.Commit(ctx, crashSet("cellar", n)))
	}
	must(t, f.Close())
	must(t, Verify(ctx, path))
	data, err := os.ReadFile(path)
	must(t, err)
	// The pages after the two heads hold the records and what points to them.
	for i := 3 * os.Getpagesize(); i < len(data); i += os.Getpagesize() {
		copy(data[i:], make([]byte, 16))
	}
	must(t, os.WriteFile(path, data, 0o600))
	if err := Verify(ctx, path); err == nil {
		t.Error("a file with its pages' heads wiped is called whole")
	}
	if err := Verify(ctx, filepath.Join(dir, "none.db")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
}

func TestCompact(t *testing.T) {
	path := filepath.Join(t.TempDir(), "b.db")
	f := get[*File](t)(Open(path, Options{NoSync: true}))
	must(t, f.Commit(ctx, row("cellar", 0, "big", strings.Repeat("x", 12<<20))))
	must(t, f.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", Expect: 1, At: noon, Rows: []coordinator.Row{{Table: "t", Key: "big"}}}))
	must(t, f.Commit(ctx, crashSet("attic", 1)))
	if err := Compact(ctx, path); !errors.Is(err, ErrBusy) {
		t.Errorf("while open: %v", err)
	}
	must(t, f.Close())
	before, err := os.Stat(path)
	must(t, err)
	must(t, Compact(ctx, path))
	after, err := os.Stat(path)
	must(t, err)
	if after.Size() > before.Size()/3 || after.Mode().Perm() != 0o600 {
		t.Errorf("%d bytes became %d, %v", before.Size(), after.Size(), after.Mode())
	}
	f = get[*File](t)(Open(path, Options{}))
	defer func() { must(t, f.Close()) }()
	checkWhole(t, f, "attic", 1)
	must(t, f.Commit(ctx, crashSet("attic", 2)))
	checkWhole(t, f, "attic", 2)
	if got := get[coordinator.Stored](t)(f.Load(ctx, "cellar")); got.Seq != 2 {
		t.Errorf("cellar is at %d", got.Seq)
	}
}
