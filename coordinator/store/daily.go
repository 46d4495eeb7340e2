package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"go.etcd.io/bbolt"
)

// pageOfRollups is how many daily sums are copied out of one read transaction.
const pageOfRollups = 512

// JobDone implements Store.
func (f *File) JobDone(ctx context.Context, job, date string) (done bool, err error) {
	err = f.view(ctx, func(tx *bbolt.Tx) error {
		done = tx.Bucket(bucketJobs).Get(join(job, date)) != nil
		return nil
	})
	return done, err
}

// MarkJob implements Store. See submit for a context that ends meanwhile.
func (f *File) MarkJob(ctx context.Context, job, date string, at time.Time) error {
	if err := wellFormed("job", job, date); err != nil {
		return err
	}
	return f.submit(ctx, nil, func(tx *bbolt.Tx) error {
		return tx.Bucket(bucketJobs).Put(join(job, date), appendTime(nil, at))
	})
}

// PutRollup implements Store. See submit for a context that ends meanwhile.
func (f *File) PutRollup(ctx context.Context, key string, value []byte) error {
	if key == "" {
		return errors.New("a daily sum needs a key")
	}
	if err := wellFormed("daily sum", key); err != nil {
		return err
	}
	value = bytes.Clone(value) // the caller may go on before the commit if ctx ends
	return f.submit(ctx, nil, func(tx *bbolt.Tx) error {
		return tx.Bucket(bucketRollups).Put([]byte(key), value)
	})
}

// Rollups implements Store: from <= key < to, in order; an empty to has no end.
// fn runs outside any transaction and may use the store.
func (f *File) Rollups(ctx context.Context, from, to string, fn func(key string, value []byte) bool) error {
	next := []byte(from)
	for next != nil {
		var page []rollup
		err := f.view(ctx, func(tx *bbolt.Tx) error {
			page, next = readRollups(tx, next, to)
			return nil
		})
		if err != nil {
			return fmt.Errorf("cannot read the daily sums: %w", err)
		}
		for _, r := range page {
			if !fn(r.key, r.value) {
				return nil
			}
		}
	}
	return nil
}

type rollup struct {
	key   string
	value []byte
}

func readRollups(tx *bbolt.Tx, from []byte, to string) (page []rollup, next []byte) {
	eachKey(tx.Bucket(bucketRollups), nil, from, func(k, v []byte) bool {
		if to != "" && string(k) >= to {
			return false
		}
		if len(page) == pageOfRollups {
			next = bytes.Clone(k)
			return false
		}
		page = append(page, rollup{string(k), append([]byte{}, v...)})
		return true
	})
	return page, next
}
