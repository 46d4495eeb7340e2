package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"hash/maphash"
	"os"

	"go.etcd.io/bbolt"
)

// Verify reads a store file in full, without writing to it. It answers with an
// error when the file is no store, of a newer program, or damaged, and with
// ErrBusy while another process has it open.
func Verify(ctx context.Context, path string) error {
	_, err := readAll(ctx, path)
	return err
}

// readAll is Verify, and answers with the digest of what it read.
func readAll(ctx context.Context, path string) (sum uint64, err error) {
	info, err := os.Stat(path)
	if err != nil {
		return 0, fmt.Errorf("cannot look at the store: %w", err)
	}
	if info.Size() == 0 {
		return 0, fmt.Errorf("%s %w: it is empty", path, ErrForeign)
	}
	db, err := openDB(path, Options{}, true)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	if err := look(db, info.Size(), migrations); err != nil {
		return 0, fmt.Errorf("%s %w", path, err)
	}
	err = db.View(func(tx *bbolt.Tx) (err error) {
		sum, err = digest(ctx, tx)
		return err
	})
	if err != nil {
		return 0, fmt.Errorf("%s %w", path, err)
	}
	return sum, nil
}

// seed makes digests of one run of the program comparable.
var seed = maphash.MakeSeed()

// digest reads every record and sums it up. The library's own check is not
// used, since on a damaged file it can end the process.
func digest(ctx context.Context, tx *bbolt.Tx) (sum uint64, err error) {
	defer whenDamaged(&err)
	var h maphash.Hash
	h.SetSeed(seed)
	err = tx.ForEach(func(name []byte, b *bbolt.Bucket) error {
		addPart(&h, name)
		return digestBucket(ctx, &h, b)
	})
	return h.Sum64(), err
}

func digestBucket(ctx context.Context, h *maphash.Hash, b *bbolt.Bucket) error {
	var last []byte
	n := 0
	return b.ForEach(func(k, v []byte) error {
		if n++; n%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if last != nil && bytes.Compare(last, k) >= 0 {
			return errors.New("is damaged (records are out of order): restore a backup")
		}
		last = k
		addPart(h, k)
		addPart(h, v)
		return nil
	})
}

// addPart adds bytes with their length, so that no two lists of parts are alike.
func addPart(h *maphash.Hash, part []byte) {
	n := len(part)
	_, _ = h.Write([]byte{byte(n), byte(n >> 8), byte(n >> 16), byte(n >> 24)}) // never fails
	_, _ = h.Write(part)
}

// whenDamaged turns the panics that the library has for damaged pages into an
// error that follows the name of the file. To be deferred.
func whenDamaged(err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("is damaged (%v): restore a backup", p)
	}
}
