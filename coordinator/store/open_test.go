package store

import (
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.etcd.io/bbolt"

	"drumturn/coordinator"
)

func TestOpenRefuses(t *testing.T) {
	for _, c := range []struct {
		name string
		make func(t *testing.T, path string)
		is   error
		says string
	}{
		{"a text file", func(t *testing.T, path string) {
			must(t, os.WriteFile(path, []byte(strings.Repeat("[building]\n", 2000)), 0o600))
		}, ErrForeign, "is no drumturn store: name another file"},
		{"a few bytes", func(t *testing.T, path string) {
			must(t, os.WriteFile(path, []byte("x"), 0o600))
		}, ErrForeign, "is no drumturn store"},
		{"another program's file of the same format", func(t *testing.T, path string) {
			edit(t, path, func(tx *bbolt.Tx) error { _, err := tx.CreateBucket([]byte("theirs")); return err })
		}, ErrForeign, "is no drumturn store"},
		{"another program's file with a bucket named like ours", func(t *testing.T, path string) {
			edit(t, path, func(tx *bbolt.Tx) error { _, err := tx.CreateBucket(bucketMeta); return err })
		}, ErrForeign, "is no drumturn store"},
		{"a newer schema", func(t *testing.T, path string) {
			edit(t, path, func(tx *bbolt.Tx) error { return writeSchema(tx, 99) })
		}, ErrNewer, "use the newer program"},
		{"a folder", func(t *testing.T, path string) { must(t, os.Mkdir(path, 0o700)) }, nil, "is a folder"},
		{"a file cut short", func(t *testing.T, path string) {
			f := get[*File](t)(Open(path, Options{NoSync: true}))
			must(t, f.Commit(ctx, row("cellar", 0, "a", strings.Repeat("x", 100000))))
			must(t, f.Close())
			must(t, os.Truncate(path, 20000))
		}, nil, "restore a backup"},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "building.db")
			c.make(t, path)
			before, _ := os.ReadFile(path)
			_, err := Open(path, Options{})
			if err == nil || !strings.Contains(err.Error(), c.says) || !strings.Contains(err.Error(), path) {
				t.Fatalf("answered %v", err)
			}
			if c.is != nil && !errors.Is(err, c.is) {
				t.Errorf("%v is not %v", err, c.is)
			}
			if _, err := OpenToRead(path, Options{}); err == nil || !strings.Contains(err.Error(), c.says) || !strings.Contains(err.Error(), path) {
				t.Errorf("to read it, answered %v", err)
			}
			if after, _ := os.ReadFile(path); string(before) != string(after) {
				t.Error("a file that was refused has been written to")
			}
		})
	}
}

// edit writes to a file with the library alone.
func edit(t *testing.T, path string, fn func(*bbolt.Tx) error) {
	t.Helper()
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{Timeout: time.Second})
	must(t, err)
	must(t, errors.Join(db.Update(fn), db.Close()))
}

func TestAnotherCopy(t *testing.T) {
	path := filepath.Join(t.TempDir(), "building.db")
	f := get[*File](t)(Open(path, Options{}))
	defer func() { must(t, f.Close()) }()
	_, err := Open(path, Options{Wait: time.Millisecond})
	if !errors.Is(err, ErrBusy) || err.Error() != "another copy of drumturn is using "+path+": stop it first" {
		t.Errorf("answered %v", err)
	}
}

func TestOpenMakes(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "building.db")
	must(t, os.WriteFile(filepath.Join(dir, "empty.db"), nil, 0o600))
	for _, p := range []string{path, filepath.Join(dir, "empty.db")} {
		f := get[*File](t)(Open(p, Options{}))
		must(t, f.Commit(ctx, row("cellar", 0, "a", "1")))
		wantSame(t, "units", get[[]coordinator.Unit](t)(f.Units(ctx)), []coordinator.Unit{"cellar"})
		must(t, f.Close())
	}
	info, err := os.Stat(path)
	must(t, err)
	if info.Mode().Perm() != 0o600 {
		t.Errorf("others may read the store: %v", info.Mode())
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "*.new-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	if _, err := Open(filepath.Join(dir, "no", "such", "folder.db"), Options{}); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("without a folder: %v", err)
	}
}

func schemaIn(t *testing.T, path string) (version uint64, buckets int) {
	t.Helper()
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{ReadOnly: true, Timeout: time.Second})
	must(t, err)
	must(t, db.View(func(tx *bbolt.Tx) error {
		version = binary.BigEndian.Uint64(tx.Bucket(bucketMeta).Get(keySchema))
		return tx.ForEach(func([]byte, *bbolt.Bucket) error { buckets++; return nil })
	}))
	must(t, db.Close())
	return version, buckets
}

func TestMigrations(t *testing.T) {
	path := filepath.Join(t.TempDir(), "building.db")
	f := get[*File](t)(Open(path, Options{}))
	must(t, f.Commit(ctx, row("cellar", 0, "a", "1")))
	must(t, f.Close())
	version, buckets := schemaIn(t, path)

	add := func(name string) func(*bbolt.Tx) error {
		return func(tx *bbolt.Tx) error { _, err := tx.CreateBucket([]byte(name)); return err }
	}
	failing := append(migrations[:len(migrations):len(migrations)],
		migration{version + 1, "add one", add("one")},
		migration{version + 2, "fail", func(*bbolt.Tx) error { return errors.New("no room") }})
	if _, err := open(path, Options{}, failing); err == nil || !strings.Contains(err.Error(), "(fail): no room") {
		t.Fatalf("a failing step answered %v", err)
	}
	if v, b := schemaIn(t, path); v != version || b != buckets {
		t.Errorf("half a migration was kept: schema %d, %d buckets", v, b)
	}

	failing[len(failing)-1].Do = add("two")
	for range 2 { // the second time there is nothing to do
		f = get[*File](t)(open(path, Options{}, failing))
		if got := get[coordinator.Stored](t)(f.Load(ctx, "cellar")); got.Seq != 1 {
			t.Errorf("the unit is at %d", got.Seq)
		}
		must(t, f.Close())
	}
	if v, b := schemaIn(t, path); v != version+2 || b != buckets+2 {
		t.Errorf("schema %d with %d buckets", v, b)
	}
	if _, err := Open(path, Options{}); !errors.Is(err, ErrNewer) {
		t.Errorf("the older program answered %v", err)
	}
}

// TestOpenToRead: what is stored is read, nothing is written, not even by who tries;
// an older store stays of its schema, and an empty file or none is no store.
func TestOpenToRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "building.db")
	f := get[*File](t)(open(path, Options{NoSync: true}, migrations[:1]))
	must(t, f.Close())
	older := get[[]byte](t)(os.ReadFile(path))
	f = get[*File](t)(OpenToRead(path, Options{}))
	if _, err := f.Load(ctx, "cellar"); err != nil {
		t.Error(err)
	}
	if err := f.Commit(ctx, row("cellar", 0, "a", "x")); err == nil {
		t.Error("something was written")
	}
	must(t, f.Close())
	if after := get[[]byte](t)(os.ReadFile(path)); string(after) != string(older) {
		t.Error("the file was written to")
	}
	f = get[*File](t)(Open(path, Options{NoSync: true})) // which brings it up to date
	must(t, f.Commit(ctx, row("cellar", 0, "a", "x")))
	must(t, f.Close())
	f = get[*File](t)(OpenToRead(path, Options{}))
	if got, err := f.Load(ctx, "cellar"); err != nil || len(got.Rows) != 1 {
		t.Errorf("read is %+v, %v", got, err)
	}
	if err := f.Backup(ctx, path+".copy"); err != nil {
		t.Error(err)
	}
	must(t, f.Close())

	none, empty := path+".none", path+".empty"
	must(t, os.WriteFile(empty, nil, 0o600))
	if _, err := OpenToRead(empty, Options{}); !errors.Is(err, ErrForeign) || !strings.Contains(err.Error(), "restore a backup") {
		t.Errorf("of an empty file: %v", err)
	}
	if _, err := OpenToRead(none, Options{}); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("of none: %v", err)
	}
	if _, err := os.Stat(none); err == nil {
		t.Error("a store was made")
	}
}
