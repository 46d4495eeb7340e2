package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"
)

// ErrBusy is answered by Open and Compact when another process has the file open.
var ErrBusy = errors.New("another copy of drumturn is using")

// ErrClosed is answered by every method after Close.
var ErrClosed = errors.New("the store is closed")

// Options of Open. The zero value is right for a building.
type Options struct {
	// Wait is how long another process may still hold the file: 1 s when zero.
	Wait time.Duration
	// MaxBytes is a fuse: the file does not grow past it. Zero: no limit.
	MaxBytes int
	// NoSync leaves out the wait for the disk. A power cut may then destroy the
	// file: for demonstrations in a temporary folder only.
	NoSync bool
}

// File is a store in one file. It implements Store.
type File struct {
	db   *bbolt.DB
	path string
	work chan *request
	given
	done chan struct{} // closed when the committer has ended

	mu     sync.RWMutex // held for reading while a request is handed over
	closed bool
}

var _ Store = (*File)(nil)

// Open opens the store at path, and makes it when there is none. A store of an
// older schema is brought up to date. The file is readable by its owner only.
//
// Errors: ErrBusy, ErrForeign, ErrNewer, and those of the file system.
func Open(path string, o Options) (*File, error) { return open(path, o, migrations) }

// OpenToRead opens the store at path without writing to it: nothing is made, and one
// of an older schema stays as it is. What would write fails.
//
// Errors: as Open; ErrForeign too for an empty file.
func OpenToRead(path string, o Options) (*File, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, fmt.Errorf("cannot look at the store: %w", err)
	case info.IsDir():
		return nil, fmt.Errorf("%s is a folder: name a file in it", path)
	case info.Size() == 0:
		return nil, fmt.Errorf("%s %w: it is empty; restore a backup, or move it away to begin anew", path, ErrForeign)
	}
	db, err := openDB(path, o, true)
	if err != nil {
		return nil, err
	}
	if err := look(db, info.Size(), migrations); err != nil {
		return nil, errors.Join(fmt.Errorf("%s %w", path, err), db.Close())
	}
	return begun(db, path), nil
}

// begun is a store whose committer runs.
func begun(db *bbolt.DB, path string) *File {
	f := &File{db: db, path: path, work: make(chan *request, maxGroup), done: make(chan struct{})}
	go f.commitLoop()
	return f
}

func open(path string, o Options, steps []migration) (*File, error) {
	if err := ensure(path, o, steps); err != nil {
		return nil, err
	}
	db, err := openDB(path, o, false)
	if err != nil {
		return nil, err
	}
	if err := migrate(db, steps); err != nil {
		return nil, errors.Join(fmt.Errorf("%s %w", path, err), db.Close())
	}
	return begun(db, path), nil
}

// ensure makes a store where there is none, and otherwise looks at the file
// without writing to it, so that a foreign or newer file stays as it is.
func ensure(path string, o Options, steps []migration) error {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return create(path, o, steps)
	case err != nil:
		return fmt.Errorf("cannot look at the store: %w", err)
	case info.IsDir():
		return fmt.Errorf("%s is a folder: name a file in it", path)
	case info.Size() == 0:
		return nil // made by a person or cut off at once: there is nothing to lose
	}
	db, err := openDB(path, o, true)
	if err != nil {
		return err
	}
	if err := look(db, info.Size(), steps); err != nil {
		return errors.Join(fmt.Errorf("%s %w", path, err), db.Close())
	}
	return db.Close()
}

// look checks that the whole file is there and that this program understands it.
func look(db *bbolt.DB, size int64, steps []migration) (err error) {
	defer whenDamaged(&err)
	tx, err := db.Begin(false)
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }()
	if tx.Size() > size {
		// Reading past the end of a mapped file would end the process.
		return fmt.Errorf("is cut short (%d bytes of %d): restore a backup", size, tx.Size())
	}
	_, err = checkSchema(tx, steps)
	return err
}

// create builds the new store beside its place and moves it in when complete,
// since a power cut while the file is first written would leave half of one.
func create(path string, o Options, steps []migration) error {
	temp, err := tempBeside(path)
	if err != nil {
		return fmt.Errorf("cannot make the store: %w", err)
	}
	defer func() { _ = os.Remove(temp) }()
	db, err := openDB(temp, o, false)
	if err != nil {
		return err
	}
	if err := errors.Join(migrate(db, steps), db.Close()); err != nil {
		return fmt.Errorf("cannot make the store: %w", err)
	}
	// A link, unlike a rename, never replaces a store made at the same moment.
	err = os.Link(temp, path)
	if err != nil && !errors.Is(err, fs.ErrExist) {
		err = os.Rename(temp, path)
	}
	if err != nil && !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("cannot make the store: %w", err)
	}
	return syncDir(filepath.Dir(path))
}

// openDB opens the file with the settings that suit one writer and short reads.
func openDB(path string, o Options, readOnly bool) (db *bbolt.DB, err error) {
	defer func() {
		if p := recover(); p != nil {
			db, err = nil, fmt.Errorf("%s is damaged (%v): restore a backup", path, p)
		}
	}()
	wait := o.Wait
	if wait <= 0 {
		wait = time.Second
	}
	db, err = bbolt.Open(path, 0o600, &bbolt.Options{
		Timeout:         wait,
		ReadOnly:        readOnly,
		NoFreelistSync:  true, // the list is found again by a scan at opening; else every commit writes it
		FreelistType:    bbolt.FreelistMapType,
		InitialMmapSize: mmapSize(readOnly),
		MaxSize:         o.MaxBytes,
		NoSync:          o.NoSync,
	})
	if err != nil {
		return nil, explain(path, err)
	}
	db.AllocSize = growth
	return db, nil
}

// growth is by how much the file grows at a time, in bytes.
const growth = 4 << 20

// mmapSize is address space, not memory: it keeps a growing store from waiting
// for its readers. Windows would make the file that large.
func mmapSize(readOnly bool) int {
	if readOnly || runtime.GOOS == "windows" {
		return 0
	}
	return 256 << 20
}

// explain turns the library's errors into sentences.
func explain(path string, err error) error {
	switch {
	case errors.Is(err, bolterrors.ErrTimeout):
		return fmt.Errorf("%w %s: stop it first", ErrBusy, path)
	case errors.Is(err, bolterrors.ErrInvalid), errors.Is(err, bolterrors.ErrVersionMismatch):
		return fmt.Errorf("%s %w: name another file (%w)", path, ErrForeign, err)
	case errors.Is(err, bolterrors.ErrChecksum):
		return fmt.Errorf("%s is damaged: restore a backup (%w)", path, err)
	default:
		return fmt.Errorf("cannot open the store: %w", err)
	}
}

// Close lets the commits that wait finish and closes the file. Calling it again does nothing.
func (f *File) Close() error {
	f.mu.Lock()
	was := f.closed
	f.closed = true
	if !was {
		close(f.work)
	}
	f.mu.Unlock()
	<-f.done
	if was {
		return nil
	}
	return f.db.Close()
}

// view runs fn in a read transaction. fn must copy what it keeps, must be short
// and must not call back into the store.
func (f *File) view(ctx context.Context, fn func(*bbolt.Tx) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	err := f.db.View(fn)
	if errors.Is(err, bolterrors.ErrDatabaseNotOpen) {
		return ErrClosed
	}
	return err
}

func tempBeside(path string) (string, error) {
	t, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".new-*")
	if err != nil {
		return "", err
	}
	return t.Name(), t.Close()
}

// syncDir makes a rename or link in dir last through a power cut.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	err = d.Sync()
	if runtime.GOOS == "windows" {
		err = nil // folders cannot be synced there
	}
	return errors.Join(err, d.Close())
}
