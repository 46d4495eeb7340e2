package store

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"

	"go.etcd.io/bbolt"

	"drumturn/coordinator"
)

func dueKey(d *coordinator.Delivery) []byte {
	return append(appendTime(nil, d.NextAt), d.Key...)
}

func subjectKey(d *coordinator.Delivery) []byte {
	return join(d.Notice.Subject.String(), d.Key)
}

func madeKey(d *coordinator.Delivery) []byte {
	return append(appendTime(nil, d.Notice.Made), d.Key...)
}

func unitMadeKey(d *coordinator.Delivery) []byte {
	return append(unitPrefix(d.Notice.Subject.Room), madeKey(d)...)
}

// entry is a key of one of the outbox's lists.
type entry struct{ bucket, key []byte }

// pendingEntries are the lists that hold a row only while it is pending.
func pendingEntries(d *coordinator.Delivery) []entry {
	return []entry{{bucketDue, dueKey(d)}, {bucketSubject, subjectKey(d)}}
}

// lastingEntries are those that hold it for as long as it exists.
func lastingEntries(d *coordinator.Delivery) []entry {
	return []entry{{bucketMade, madeKey(d)}, {bucketUnitMade, unitMadeKey(d)}}
}

func list(tx *bbolt.Tx, entries []entry) error {
	for _, e := range entries {
		if err := tx.Bucket(e.bucket).Put(e.key, nil); err != nil {
			return err
		}
	}
	return nil
}

func unlist(tx *bbolt.Tx, entries []entry) error {
	for _, e := range entries {
		if err := tx.Bucket(e.bucket).Delete(e.key); err != nil {
			return err
		}
	}
	return nil
}

// createNotices makes a row for each notice that has none yet.
func (p *prepared) createNotices(tx *bbolt.Tx) error {
	b := tx.Bucket(bucketOutbox)
	for i, key := range p.keys {
		if b.Get([]byte(key)) != nil {
			continue
		}
		d := newDelivery(&p.Notices[i], p.At)
		if err := b.Put([]byte(key), p.deliveries[i]); err != nil {
			return err
		}
		if err := list(tx, append(pendingEntries(&d), lastingEntries(&d)...)); err != nil {
			return err
		}
	}
	return nil
}

// withdraw settles what is pending about the set's subjects.
func (p *prepared) withdraw(tx *bbolt.Tx) error {
	for _, subject := range p.Withdraw {
		prefix := append([]byte(subject.String()), 0)
		var keys [][]byte // collected first: writing would disturb the cursor
		eachKey(tx.Bucket(bucketSubject), prefix, prefix, func(k, _ []byte) bool {
			keys = append(keys, bytes.Clone(k[len(prefix):]))
			return true
		})
		for _, key := range keys {
			old, err := readDelivery(tx, key)
			if err != nil {
				return err
			}
			if old == nil {
				return fmt.Errorf("outbox row %q is listed but not there: the file is damaged", key)
			}
			settled := *old
			settled.State, settled.Changed = coordinator.Withdrawn, p.At
			if err := replaceDelivery(tx, old, &settled); err != nil {
				return err
			}
		}
	}
	return nil
}

// replaceDelivery writes d over old (nil: there was none) and keeps the lists right.
func replaceDelivery(tx *bbolt.Tx, old, d *coordinator.Delivery) error {
	if old != nil && old.State == coordinator.Pending {
		if err := unlist(tx, pendingEntries(old)); err != nil {
			return err
		}
	}
	entries := lastingEntries(d)
	if d.State == coordinator.Pending {
		entries = append(entries, pendingEntries(d)...)
	}
	if err := list(tx, entries); err != nil {
		return err
	}
	data, err := json.Marshal(d)
	if err != nil {
		return err
	}
	return tx.Bucket(bucketOutbox).Put([]byte(d.Key), data)
}

// RecordDeliveries implements Store. The stored notice itself never changes; a
// row that is not there (any more) is made as it is given. See submit for a
// context that ends meanwhile.
func (f *File) RecordDeliveries(ctx context.Context, rows ...coordinator.Delivery) error {
	for i := range rows {
		d := &rows[i]
		if err := wellFormed("notice", d.Notice.Subject.String(), d.Key); err != nil {
			return err
		}
		if d.Key == "" {
			return fmt.Errorf("an outbox row without a key cannot be stored")
		}
		if _, err := encodeDelivery(d); err != nil {
			return err
		}
	}
	if len(rows) == 0 {
		return ctx.Err()
	}
	return f.submit(ctx, nil, func(tx *bbolt.Tx) error {
		for i := range rows {
			if err := recordDelivery(tx, rows[i]); err != nil {
				return err
			}
		}
		return nil
	})
}

func recordDelivery(tx *bbolt.Tx, d coordinator.Delivery) error {
	old, err := readDelivery(tx, []byte(d.Key))
	if err != nil {
		return err
	}
	return replaceDelivery(tx, old, merged(old, d))
}

// merged is what becomes of a stored row when d is recorded.
func merged(old *coordinator.Delivery, d coordinator.Delivery) *coordinator.Delivery {
	if old == nil {
		return &d
	}
	if old.State == coordinator.Withdrawn {
		kept := *old
		kept.Devices, kept.Changed = d.Devices, d.Changed
		return &kept
	}
	d.Notice = old.Notice
	return &d
}
