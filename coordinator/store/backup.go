package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"go.etcd.io/bbolt"
)

// Backup implements Store. The copy is made beside path, read back in full,
// compared with the original and only then given its name, so that a file of
// that name is a whole one. It is an error when there is a file at path already.
func (f *File) Backup(ctx context.Context, path string) error {
	err := intoPlace(path, func(temp string) error {
		original, err := f.copyTo(ctx, temp)
		if err != nil {
			return err
		}
		copied, err := readAll(ctx, temp)
		if err == nil && copied != original {
			err = errors.New("the copy differs from the store: look at the disk it was written to")
		}
		return err
	}, false)
	if err != nil {
		return fmt.Errorf("no backup was made: %w", err)
	}
	return nil
}

// intoPlace lets write fill a temporary file beside path and moves it to path.
func intoPlace(path string, write func(temp string) error, replace bool) error {
	if _, err := os.Lstat(path); !replace && !errors.Is(err, fs.ErrNotExist) {
		if err != nil {
			return err
		}
		return fmt.Errorf("%s is there already: name a new file", path)
	}
	temp, err := tempBeside(path)
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(temp) }()
	if err := write(temp); err != nil {
		return err
	}
	if err := os.Rename(temp, path); err != nil {
		return err
	}
	return syncDir(filepath.Dir(path))
}

// copyTo writes the store to temp and answers with the digest of what it wrote.
func (f *File) copyTo(ctx context.Context, temp string) (sum uint64, err error) {
	out, err := os.OpenFile(temp, os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return 0, err
	}
	err = f.view(ctx, func(tx *bbolt.Tx) (err error) {
		if sum, err = digest(ctx, tx); err != nil {
			return err
		}
		_, err = tx.WriteTo(&untilDone{ctx, out})
		return err
	})
	if err == nil {
		err = out.Sync()
	}
	return sum, errors.Join(err, out.Close())
}

// untilDone stops writing when its context ends. A copy keeps the store from
// using freed pages again, so it must not go on for nobody.
type untilDone struct {
	ctx context.Context
	w   io.Writer
}

func (u *untilDone) Write(p []byte) (int, error) {
	if err := u.ctx.Err(); err != nil {
		return 0, err
	}
	return u.w.Write(p)
}

// compactStep is how much Compact copies in one transaction, in bytes.
const compactStep = 4 << 20

// Compact writes the store at path anew without the room that deleted records
// left, and replaces it. No process may have it open: ErrBusy otherwise.
func Compact(ctx context.Context, path string) error {
	info, err := os.Stat(path)
	if err != nil {
		return fmt.Errorf("cannot look at the store: %w", err)
	}
	if info.Size() == 0 {
		return fmt.Errorf("%s %w: it is empty", path, ErrForeign)
	}
	if err := ensure(path, Options{}, migrations); err != nil {
		return err
	}
	src, err := openDB(path, Options{}, false) // for writing: nobody else may have it open
	if err != nil {
		return err
	}
	err = intoPlace(path, func(temp string) error {
		dst, err := openDB(temp, Options{}, false)
		if err != nil {
			return err
		}
		err = bbolt.Compact(dst, src, compactStep)
		if err = errors.Join(err, dst.Close()); err != nil {
			return err
		}
		return Verify(ctx, temp)
	}, true)
	if err = errors.Join(err, src.Close()); err != nil {
		return fmt.Errorf("the store was not made smaller: %w", err)
	}
	return nil
}
