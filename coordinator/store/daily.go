package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"go.etcd.io/bbolt"

	"drumturn/coordinator"
)

// pageOfRollups is how many daily sums are copied out of one read transaction;
// the first has few, as many look for one key only.
const (
	pageOfRollups      = 512
	firstPageOfRollups = 4
)

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

// ForgetJobs implements Store. Nothing is written where there is nothing to take back.
func (f *File) ForgetJobs(ctx context.Context, job, from string) (bool, error) {
	if err := wellFormed("job", job, from); err != nil {
		return false, err
	}
	marks := func(tx *bbolt.Tx) (keys [][]byte) {
		eachKey(tx.Bucket(bucketJobs), join(job, ""), join(job, from), func(k, _ []byte) bool {
			keys = append(keys, bytes.Clone(k))
			return true
		})
		return keys
	}
	found := false
	err := f.view(ctx, func(tx *bbolt.Tx) error {
		found = len(marks(tx)) > 0
		return nil
	})
	if err != nil || !found {
		return false, err
	}
	return true, f.submit(ctx, nil, func(tx *bbolt.Tx) error {
		for _, k := range marks(tx) {
			if err := tx.Bucket(bucketJobs).Delete(k); err != nil {
				return err
			}
		}
		return nil
	})
}

// PutRollups implements Store. See submit for a context that ends meanwhile.
func (f *File) PutRollups(ctx context.Context, mark coordinator.JobMark, sums ...coordinator.Rollup) error {
	if err := wellFormed("job", mark.Job, mark.Date); err != nil {
		return err
	}
	own := make([]coordinator.Rollup, len(sums)) // the caller may go on before the commit if ctx ends
	for i, s := range sums {
		if s.Key == "" {
			return errors.New("a daily sum needs a key")
		}
		if err := wellFormed("daily sum", s.Key); err != nil {
			return err
		}
		own[i] = coordinator.Rollup{Key: s.Key, Value: bytes.Clone(s.Value)}
	}
	return f.submit(ctx, nil, func(tx *bbolt.Tx) error {
		if err := writeRollups(tx.Bucket(bucketRollups), own); err != nil || mark.Job == "" {
			return err
		}
		return tx.Bucket(bucketJobs).Put(join(mark.Job, mark.Date), appendTime(nil, mark.At))
	})
}

func writeRollups(b *bbolt.Bucket, sums []coordinator.Rollup) error {
	for _, s := range sums {
		var err error
		if s.Value == nil {
			err = b.Delete([]byte(s.Key))
		} else {
			err = b.Put([]byte(s.Key), s.Value)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// Rollups implements Store: from <= key < to, in order; an empty to has no end.
// fn runs outside any transaction and may use the store.
func (f *File) Rollups(ctx context.Context, from, to string, fn func(key string, value []byte) bool) error {
	next := []byte(from)
	for limit := firstPageOfRollups; next != nil; limit = min(4*limit, pageOfRollups) {
		var page []coordinator.Rollup
		err := f.view(ctx, func(tx *bbolt.Tx) error {
			page, next = readRollups(tx, next, to, limit)
			return nil
		})
		if err != nil {
			return fmt.Errorf("cannot read the daily sums: %w", err)
		}
		for _, r := range page {
			if !fn(r.Key, r.Value) {
				return nil
			}
		}
	}
	return nil
}

func readRollups(tx *bbolt.Tx, from []byte, to string, limit int) (page []coordinator.Rollup, next []byte) {
	eachKey(tx.Bucket(bucketRollups), nil, from, func(k, v []byte) bool {
		if to != "" && string(k) >= to {
			return false
		}
		if len(page) == limit {
			next = bytes.Clone(k)
			return false
		}
		page = append(page, coordinator.Rollup{Key: string(k), Value: append([]byte{}, v...)})
		return true
	})
	return page, next
}
