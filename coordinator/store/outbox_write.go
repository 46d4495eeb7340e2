package store

import (
	"bytes"
	"context"
	"fmt"
	"slices"

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
		p.given.note(string(p.deliveries[i]), p.rows[i])
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
	data, err := encodeRow(d)
	if err != nil {
		return err
	}
	return putDelivery(tx, old, d, data)
}

// putDelivery is replaceDelivery with what d encodes to. It touches only the
// lists in which something changes: each one costs the pages that lead to it.
func putDelivery(tx *bbolt.Tx, old, d *coordinator.Delivery, data []byte) error {
	gone, fresh := changedEntries(old, d)
	if err := unlist(tx, gone); err != nil {
		return err
	}
	if err := list(tx, fresh); err != nil {
		return err
	}
	return tx.Bucket(bucketOutbox).Put([]byte(d.Key), data)
}

// changedEntries are those that only old (nil: there was none) has, and those
// that only d has. The notice of a row never changes, nor does what hangs on it
// alone.
func changedEntries(old, d *coordinator.Delivery) (gone, fresh []entry) {
	if old == nil {
		return nil, append(lastingEntries(d), whilePending(d)...)
	}
	before, after := whilePending(old), whilePending(d)
	if tellsOthers(old) || tellsOthers(d) {
		before, after = append(before, personEntries(old)...), append(after, personEntries(d)...)
	}
	return without(before, after), without(after, before)
}

// whilePending are pendingEntries of a row that is pending.
func whilePending(d *coordinator.Delivery) []entry {
	if d.State != coordinator.Pending {
		return nil
	}
	return pendingEntries(d)
}

// tellsOthers reports whether it was decided about anybody but the addressee.
func tellsOthers(d *coordinator.Delivery) bool {
	return slices.ContainsFunc(d.Told, func(t coordinator.Told) bool { return t.Person != d.Notice.To })
}

// without are the entries that are not among others; there are a handful of each.
func without(entries, others []entry) []entry {
	var out []entry
	for _, e := range entries {
		same := func(o entry) bool { return bytes.Equal(e.bucket, o.bucket) && bytes.Equal(e.key, o.key) }
		if !slices.ContainsFunc(others, same) {
			out = append(out, e)
		}
	}
	return out
}

// RecordDeliveries implements Store. The stored notice itself never changes; a
// row that is not there (any more) is made as it is given. See submit for a
// context that ends meanwhile.
func (f *File) RecordDeliveries(ctx context.Context, rows ...coordinator.Delivery) error {
	var records []outboxRecord
	for i := range rows {
		r, err := newRecord(&rows[i])
		if err != nil {
			return err
		}
		records = append(records, r)
	}
	if len(rows) == 0 {
		return ctx.Err()
	}
	check := func(tx *bbolt.Tx) error { return eachRecord(tx, records, (*outboxRecord).check) }
	return f.submit(ctx, check, func(tx *bbolt.Tx) error {
		return eachRecord(tx, records, func(r *outboxRecord, tx *bbolt.Tx) error { return r.write(tx, &f.given) })
	})
}

// outboxRecord is a row to record, with what it encodes to.
// Rows come by the hundred, so each is encoded once where that is possible.
type outboxRecord struct {
	*coordinator.Delivery
	data []byte
}

func newRecord(d *coordinator.Delivery) (outboxRecord, error) {
	if err := wellFormed("notice", d.Notice.Subject.String(), d.Key); err != nil {
		return outboxRecord{}, err
	}
	if d.Key == "" {
		return outboxRecord{}, fmt.Errorf("an outbox row without a key cannot be stored")
	}
	data, err := encodeRow(d)
	if err != nil {
		return outboxRecord{}, fmt.Errorf("outbox row %q: %w", d.Key, err)
	}
	return outboxRecord{Delivery: d, data: data}, nil
}

func eachRecord(tx *bbolt.Tx, records []outboxRecord, do func(*outboxRecord, *bbolt.Tx) error) error {
	for i := range records {
		if err := do(&records[i], tx); err != nil {
			return err
		}
	}
	return nil
}

// check refuses a row that would not be read back. The notice of one that is
// stored already has been.
func (r *outboxRecord) check(tx *bbolt.Tx) error {
	if tx.Bucket(bucketOutbox).Get([]byte(r.Key)) != nil {
		return nil
	}
	_, _, err := encodeDelivery(r.Delivery)
	return err
}

// write puts what becomes of the row in its place.
func (r *outboxRecord) write(tx *bbolt.Tx, g *given) error {
	old := g.take(r.Key, tx.Bucket(bucketOutbox).Get([]byte(r.Key)))
	if old == nil {
		var err error
		if old, err = readDelivery(tx, []byte(r.Key)); err != nil {
			return err
		}
	}
	d := merged(old, *r.Delivery)
	if old == nil || old.State != coordinator.Withdrawn && sameNotice(d, r.Delivery) {
		return putDelivery(tx, old, d, r.data)
	}
	return replaceDelivery(tx, old, d)
}

// sameNotice reports whether what is not the recorder's to say is as it says.
func sameNotice(stored, said *coordinator.Delivery) bool {
	if stored.Newer != said.Newer && (stored.Newer == nil || said.Newer == nil || *stored.Newer != *said.Newer) {
		return false
	}
	return stored.Notice == said.Notice
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
