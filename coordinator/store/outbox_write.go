package store

import (
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
	return append(personEntries(d), entry{bucketMade, madeKey(d)}, entry{bucketUnitMade, unitMadeKey(d)})
}

// personEntries are the lists of those whom the row is about.
func personEntries(d *coordinator.Delivery) []entry {
	var out []entry
	if d.Notice.To != "" {
		out = append(out, entry{bucketPerson, personKey(d, d.Notice.To)})
	}
	for i := range d.Told {
		if d.Told[i].Person != d.Notice.To {
			out = append(out, entry{bucketPerson, personKey(d, d.Told[i].Person)})
		}
	}
	return out
}

func personKey(d *coordinator.Delivery, person coordinator.PersonID) []byte {
	return append(unitPrefix(coordinator.Unit(person)), madeKey(d)...)
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
		if err := noteNewer(tx, &d.Notice); err != nil {
			return err
		}
		if err := b.Put([]byte(key), p.deliveries[i]); err != nil {
			return err
		}
		if err := list(tx, append(pendingEntries(&d), lastingEntries(&d)...)); err != nil {
			return err
		}
	}
	return nil
}

// pendingAbout lists the pending rows about a subject. They are collected before
// anything is written, which would disturb the cursor.
func pendingAbout(tx *bbolt.Tx, subject coordinator.Subject) (rows []coordinator.Delivery, err error) {
	prefix := append([]byte(subject.String()), 0)
	eachKey(tx.Bucket(bucketSubject), prefix, prefix, func(k, _ []byte) bool {
		rows, err = appendDelivery(tx, rows, k[len(prefix):])
		return err == nil
	})
	return rows, err
}

// withdraw settles what is pending about the set's subjects.
func (p *prepared) withdraw(tx *bbolt.Tx) error {
	for _, subject := range p.Withdraw {
		rows, err := pendingAbout(tx, subject)
		if err != nil {
			return err
		}
		for i := range rows {
			settled := rows[i]
			settled.State, settled.Changed, settled.Why = coordinator.Withdrawn, p.At, coordinator.WhySettled
			if err := replaceDelivery(tx, &rows[i], &settled); err != nil {
				return err
			}
		}
	}
	return nil
}

// noteNewer tells what is pending of n's thread, to the same addressee, of n.
func noteNewer(tx *bbolt.Tx, n *coordinator.Notice) error {
	rows, err := pendingAbout(tx, n.Subject)
	if err != nil {
		return err
	}
	for i := range rows {
		if !newerThan(n, &rows[i].Notice) {
			continue
		}
		told := rows[i]
		told.Newer = &coordinator.Newer{Kind: n.Kind, Made: n.Made}
		if err := replaceDelivery(tx, &rows[i], &told); err != nil {
			return err
		}
	}
	return nil
}

// newerThan reports whether n says more than old to the same reader.
func newerThan(n, old *coordinator.Notice) bool {
	return n.Thread() == old.Thread() && n.SameAddressee(old) && !n.Made.Before(old.Made)
}

// replaceDelivery writes d over old (nil: there was none) and keeps the lists right.
func replaceDelivery(tx *bbolt.Tx, old, d *coordinator.Delivery) error {
	if old != nil {
		if err := unlist(tx, outdated(old)); err != nil {
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

// outdated are the lists that old is in, and what takes its place may not be.
func outdated(old *coordinator.Delivery) []entry {
	var out []entry
	if old.State == coordinator.Pending {
		out = pendingEntries(old)
	}
	if len(old.Told) > 0 {
		out = append(out, personEntries(old)...)
	}
	return out
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
		kept.Devices, kept.Told, kept.Changed = d.Devices, d.Told, d.Changed
		return &kept
	}
	d.Notice, d.Newer = old.Notice, old.Newer
	return &d
}
