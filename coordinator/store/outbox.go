package store

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"time"

	"go.etcd.io/bbolt"

	"drumturn/coordinator"
)

// DueDeliveries implements Store. inHand must neither keep the key nor write.
func (f *File) DueDeliveries(ctx context.Context, now time.Time, limit int, inHand func(key []byte) bool) (rows []coordinator.Delivery, err error) {
	past := appendTime(nil, now.Add(1)) // the first instant that is not due
	err = f.view(ctx, func(tx *bbolt.Tx) (err error) {
		rows = nil
		eachKey(tx.Bucket(bucketDue), nil, nil, func(k, _ []byte) bool {
			if len(rows) >= limit || bytes.Compare(k, past) >= 0 {
				return false
			}
			if inHand != nil && inHand(k[timeLen:]) {
				return true
			}
			rows, err = f.give(tx, rows, k[timeLen:])
			return err == nil
		})
		return err
	})
	return rows, err
}

// give adds a row to those that are given out, and remembers it.
func (f *File) give(tx *bbolt.Tx, rows []coordinator.Delivery, key []byte) ([]coordinator.Delivery, error) {
	stored := tx.Bucket(bucketOutbox).Get(key)
	if d := f.given.look(key, stored); d != nil {
		return append(rows, *d), nil
	}
	rows, err := appendDelivery(tx, rows, key)
	if err == nil {
		f.note(string(stored), &rows[len(rows)-1])
	}
	return rows, err
}

// NextDelivery implements Store.
func (f *File) NextDelivery(ctx context.Context) (next time.Time, err error) {
	err = f.view(ctx, func(tx *bbolt.Tx) (err error) {
		if k, _ := tx.Bucket(bucketDue).Cursor().First(); k != nil {
			next, err = timeAt(k)
		}
		return err
	})
	return next, err
}

// Deliveries implements Store: newest by the instant the notice was made.
func (f *File) Deliveries(ctx context.Context, limit int) (rows []coordinator.Delivery, err error) {
	err = f.view(ctx, func(tx *bbolt.Tx) error {
		c := tx.Bucket(bucketMade).Cursor()
		for k, _ := c.Last(); k != nil && len(rows) < limit; k, _ = c.Prev() {
			var err error
			if rows, err = appendDelivery(tx, rows, k[timeLen:]); err != nil {
				return err
			}
		}
		return nil
	})
	return rows, err
}

// DeliveriesTo implements Store: newest by the instant the notice was made.
func (f *File) DeliveriesTo(ctx context.Context, person coordinator.PersonID, limit int) (rows []coordinator.Delivery, err error) {
	prefix := unitPrefix(coordinator.Unit(person))
	err = f.view(ctx, func(tx *bbolt.Tx) (err error) {
		rows = nil
		c := tx.Bucket(bucketPerson).Cursor()
		after := append([]byte(person), 1)
		k, _ := c.Seek(after)
		if k == nil {
			k, _ = c.Last()
		} else {
			k, _ = c.Prev()
		}
		for ; bytes.HasPrefix(k, prefix) && len(rows) < limit && err == nil; k, _ = c.Prev() {
			rows, err = appendDelivery(tx, rows, k[len(prefix)+timeLen:])
		}
		return err
	})
	return rows, err
}

func appendDelivery(tx *bbolt.Tx, rows []coordinator.Delivery, key []byte) ([]coordinator.Delivery, error) {
	d, err := readDelivery(tx, key)
	if err != nil {
		return nil, err
	}
	if d == nil {
		return nil, fmt.Errorf("outbox row %q is listed but not there: the file is damaged", key)
	}
	return append(rows, *d), nil
}

// readDelivery is a row of the outbox; nil when there is none.
func readDelivery(tx *bbolt.Tx, key []byte) (*coordinator.Delivery, error) {
	v := tx.Bucket(bucketOutbox).Get(key)
	if v == nil {
		return nil, nil
	}
	var d coordinator.Delivery
	if err := json.Unmarshal(v, &d); err != nil {
		return nil, fmt.Errorf("outbox row %q does not decode: %w", key, err)
	}
	d.Key = string(key)
	return &d, nil
}

// newDelivery is the row of a notice that nothing has been done about.
func newDelivery(n *coordinator.Notice, at time.Time) coordinator.Delivery {
	return coordinator.Delivery{
		Key: n.Key(), Notice: *n, State: coordinator.Pending, NextAt: n.Made, Changed: at,
	}
}

// encodeDelivery encodes a row, and refuses one that would not be read back
// (such as one about no kind of machine), as it would stand in everybody's way. It
// answers with the row as it will be read, too.
func encodeDelivery(d *coordinator.Delivery) ([]byte, *coordinator.Delivery, error) {
	data, err := encodeRow(d)
	read := new(coordinator.Delivery)
	if err == nil {
		err = json.Unmarshal(data, read)
	}
	if err != nil {
		return nil, nil, fmt.Errorf("outbox row %q: %w", d.Key, err)
	}
	read.Key = d.Key
	return data, read, nil
}
