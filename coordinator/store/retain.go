package store

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"time"

	"go.etcd.io/bbolt"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

// retainStep is how many records of a kind one call of Retain looks at, at most.
const retainStep = 1000

// Retain implements Store. It answers more while a further call would find
// something to do. Facts that were blanked are not looked at again.
func (f *File) Retain(ctx context.Context, unit coordinator.Unit, byPerson, readings time.Time) (more bool, err error) {
	left := false // written by the committer, read only after its answer
	err = f.submit(ctx, nil, func(tx *bbolt.Tx) error {
		left = false
		for _, piece := range []func() (bool, error){
			func() (bool, error) { return blankFacts(tx, unit, byPerson) },
			func() (bool, error) { return dropDeliveries(tx, unit, byPerson) },
			func() (bool, error) { return dropReadings(tx, unit, readings) },
		} {
			more, err := piece()
			if err != nil {
				return err
			}
			left = left || more
		}
		return nil
	})
	if err != nil {
		return false, fmt.Errorf("cannot shorten the history of unit %q: %w", unit, err)
	}
	return left, nil
}

type record struct{ key, value []byte }

// page copies the records from a key on to before end, at most retainStep; next
// is where it stopped short, or nil.
func page(b *bbolt.Bucket, prefix, from, end []byte) (out []record, next []byte) {
	eachKey(b, prefix, from, func(k, v []byte) bool {
		if bytes.Compare(k, end) >= 0 {
			return false
		}
		if len(out) == retainStep {
			next = bytes.Clone(k)
			return false
		}
		out = append(out, record{bytes.Clone(k), bytes.Clone(v)})
		return true
	})
	return out, next
}

func blankFacts(tx *bbolt.Tx, unit coordinator.Unit, before time.Time) (more bool, err error) {
	b, marks := tx.Bucket(bucketFacts), tx.Bucket(bucketBlanked)
	prefix, end := unitPrefix(unit), factKey(unit, before)
	from := bytes.Clone(marks.Get(prefix))
	if from == nil {
		from = prefix
	}
	records, next := page(b, prefix, from, end)
	for _, r := range records {
		if err := blankFact(b, r); err != nil {
			return false, err
		}
	}
	switch {
	case next != nil:
		return true, marks.Put(prefix, next)
	case bytes.Compare(end, from) > 0:
		return false, marks.Put(prefix, end)
	}
	return false, nil
}

func blankFact(b *bbolt.Bucket, r record) error {
	var fact coordinator.Fact
	if err := json.Unmarshal(r.value, &fact); err != nil {
		return fmt.Errorf("a fact does not decode: %w", err)
	}
	if fact.Person == "" && fact.Home == "" && fact.About == "" {
		return nil
	}
	fact.Person, fact.Home, fact.About = "", "", ""
	data, err := json.Marshal(&fact)
	if err != nil {
		return err
	}
	return b.Put(r.key, data)
}

// dropDeliveries deletes settled rows made before the instant. Pending ones stay:
// they are push's to settle. They are few, so skipping them again costs little.
func dropDeliveries(tx *bbolt.Tx, unit coordinator.Unit, before time.Time) (more bool, err error) {
	prefix := unitPrefix(unit)
	end := appendTime(unitPrefix(unit), before)
	for from := prefix; from != nil && !more; {
		var records []record
		records, from = page(tx.Bucket(bucketUnitMade), prefix, from, end)
		for _, r := range records {
			d, err := readDelivery(tx, r.key[len(prefix)+timeLen:])
			if err != nil {
				return false, err
			}
			if d == nil || d.State == coordinator.Pending {
				continue
			}
			more = from != nil
			if err := dropDelivery(tx, d); err != nil {
				return false, err
			}
		}
	}
	return more, nil
}

func dropDelivery(tx *bbolt.Tx, d *coordinator.Delivery) error {
	if err := unlist(tx, lastingEntries(d)); err != nil {
		return err
	}
	return tx.Bucket(bucketOutbox).Delete([]byte(d.Key))
}

// dropReadings deletes readings before the instant, machine by machine.
func dropReadings(tx *bbolt.Tx, unit coordinator.Unit, before time.Time) (more bool, err error) {
	for _, m := range machinesRead(tx, unit) {
		prefix := machinePrefix(unit, m)
		records, next := page(tx.Bucket(bucketReadings), prefix, prefix, spanKey(prefix, spanOf(before)+1))
		changed := false
		for _, r := range records {
			did, err := trimChunk(tx.Bucket(bucketReadings), prefix, r, before)
			if err != nil {
				return false, err
			}
			changed = changed || did
		}
		if next != nil && changed {
			return true, nil
		}
	}
	return false, nil
}

// trimChunk deletes a chunk's readings before the instant, and the chunk when
// none is left. It reports whether there were any.
func trimChunk(b *bbolt.Bucket, prefix []byte, r record, before time.Time) (bool, error) {
	span, _, err := spanNumber(prefix, r.key)
	if err != nil {
		return false, err
	}
	h, _, err := decodeHead(r.value)
	switch {
	case err != nil:
		return false, err
	case h.instant(span, h.last).Before(before):
		return true, b.Delete(r.key)
	case !h.instant(span, h.first).Before(before):
		return false, nil
	}
	all, err := decodeChunk(r.value, span)
	if err != nil {
		return false, err
	}
	var kept []cycle.Reading
	for _, reading := range all {
		if !reading.At.Before(before) {
			kept = append(kept, reading)
		}
	}
	return true, b.Put(r.key, encodeChunk(kept, span, h.deflated))
}
