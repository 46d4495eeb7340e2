package store

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"time"

	"go.etcd.io/bbolt"

	"drumturn/coordinator"
)

// prepared is a change set with its parts encoded, which the caller's goroutine
// does so that the committer need not.
type prepared struct {
	coordinator.ChangeSet
	facts      [][]byte
	deliveries [][]byte                // JSON of each notice's row, in the order of Notices
	rows       []*coordinator.Delivery // what that reads as
	keys       []string                // of the notices
	given      *given
}

// Commit implements Store. See submit for a context that ends meanwhile.
func (f *File) Commit(ctx context.Context, sets ...coordinator.ChangeSet) error {
	ready := make([]*prepared, 0, len(sets))
	for i := range sets {
		p, err := prepare(&sets[i], &f.given)
		if err != nil {
			return fmt.Errorf("the changes of unit %q cannot be stored: %w", sets[i].Unit, err)
		}
		ready = append(ready, p)
	}
	if len(ready) == 0 {
		return ctx.Err()
	}
	return f.submit(ctx,
		func(tx *bbolt.Tx) error { return checkSequences(tx, ready) },
		func(tx *bbolt.Tx) error {
			for _, p := range ready {
				if err := p.write(tx); err != nil {
					return err
				}
			}
			return nil
		})
}

// prepare encodes a set for a store that remembers rows in g, and refuses what could not be stored.
func prepare(set *coordinator.ChangeSet, g *given) (*prepared, error) {
	p := &prepared{ChangeSet: *set, given: g}
	if err := checkNames(set); err != nil {
		return nil, err
	}
	for i := range set.Facts {
		data, err := json.Marshal(&set.Facts[i])
		if err != nil {
			return nil, fmt.Errorf("fact %q: %w", set.Facts[i].Kind, err)
		}
		p.facts = append(p.facts, data)
	}
	for i := range set.Notices {
		row := newDelivery(&set.Notices[i], set.At)
		data, read, err := encodeDelivery(&row)
		if err != nil {
			return nil, err
		}
		p.deliveries, p.rows, p.keys = append(p.deliveries, data), append(p.rows, read), append(p.keys, row.Key)
	}
	return p, nil
}

func checkNames(set *coordinator.ChangeSet) error {
	if err := wellFormed("unit", string(set.Unit)); err != nil {
		return err
	}
	for i := range set.Rows {
		r := &set.Rows[i]
		if err := wellFormed("table", r.Table); err != nil {
			return err
		}
		if n := len(set.Unit) + len(r.Table) + len(r.Key); n > maxKey {
			return fmt.Errorf("the key of a row in table %q is %d bytes long: at most %d are kept", r.Table, n, maxKey)
		}
	}
	for i := range set.Checkpoints {
		if err := wellFormed("machine", string(set.Unit), string(set.Checkpoints[i].Machine)); err != nil {
			return err
		}
	}
	for i := range set.Notices {
		n := &set.Notices[i]
		if err := wellFormed("notice", n.Subject.String(), n.Key()); err != nil {
			return err
		}
	}
	for i := range set.Readings {
		if err := wellFormed("machine", string(set.Unit), string(set.Readings[i].Machine)); err != nil {
			return err
		}
	}
	return nil
}

// checkSequences compares each set with what is stored, or with the set of the
// same unit before it in the call.
func checkSequences(tx *bbolt.Tx, sets []*prepared) error {
	next := map[coordinator.Unit]uint64{}
	for _, p := range sets {
		if !p.Moves() {
			continue
		}
		have, ok := next[p.Unit]
		if !ok {
			var err error
			if have, _, err = readUnit(tx, p.Unit); err != nil {
				return err
			}
		}
		if p.Expect != have {
			return fmt.Errorf("unit %q is at %d and the changes are for %d: %w", p.Unit, have, p.Expect, coordinator.ErrSequence)
		}
		next[p.Unit] = have + 1
	}
	return nil
}

// readUnit is a unit's sequence and the time of its last set; zero when never seen.
func readUnit(tx *bbolt.Tx, u coordinator.Unit) (uint64, time.Time, error) {
	v := tx.Bucket(bucketUnits).Get(unitPrefix(u))
	if v == nil {
		return 0, time.Time{}, nil
	}
	if len(v) != 8+timeLen {
		return 0, time.Time{}, fmt.Errorf("unit %q has a head of %d bytes: the file is damaged", u, len(v))
	}
	at, err := timeAt(v[8:])
	return binary.BigEndian.Uint64(v), at, err
}

// write stores the set. Its sequence has been checked.
func (p *prepared) write(tx *bbolt.Tx) error {
	steps := []func(*bbolt.Tx) error{p.writeHead, p.writeRows, p.writeCheckpoints, p.withdraw, p.createNotices, p.writeFacts, p.writeReadings}
	for _, step := range steps {
		if err := step(tx); err != nil {
			return err
		}
	}
	return nil
}

func (p *prepared) writeHead(tx *bbolt.Tx) error {
	moves := p.Moves()
	if !moves && len(p.Readings) == 0 {
		return nil
	}
	seq, at, err := readUnit(tx, p.Unit)
	if err != nil {
		return err
	}
	if moves {
		seq++
	}
	if p.At.After(at) {
		at = p.At
	}
	head := appendTime(binary.BigEndian.AppendUint64(nil, seq), at)
	return tx.Bucket(bucketUnits).Put(unitPrefix(p.Unit), head)
}

func (p *prepared) writeRows(tx *bbolt.Tx) error {
	b := tx.Bucket(bucketRows)
	for i := range p.Rows {
		r := &p.Rows[i]
		key := join(string(p.Unit), r.Table, r.Key)
		var err error
		if r.Value == nil {
			err = b.Delete(key)
		} else {
			err = b.Put(key, r.Value)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (p *prepared) writeCheckpoints(tx *bbolt.Tx) error {
	b := tx.Bucket(bucketCheckpoints)
	for i := range p.Checkpoints {
		c := &p.Checkpoints[i]
		if err := b.Put(join(string(p.Unit), string(c.Machine)), encodeCheckpoint(c)); err != nil {
			return err
		}
	}
	return nil
}

// writeFacts adds the facts. One older than what Retain has looked at makes it
// look again from there.
func (p *prepared) writeFacts(tx *bbolt.Tx) error {
	b := tx.Bucket(bucketFacts)
	seen := bytes.Clone(tx.Bucket(bucketBlanked).Get(unitPrefix(p.Unit)))
	for i := range p.Facts {
		n, err := b.NextSequence()
		if err != nil {
			return err
		}
		key := binary.BigEndian.AppendUint64(factKey(p.Unit, p.Facts[i].At), n)
		if err := b.Put(key, p.facts[i]); err != nil {
			return err
		}
		if seen != nil && bytes.Compare(key, seen) < 0 {
			seen = key
			if err := tx.Bucket(bucketBlanked).Put(unitPrefix(p.Unit), key); err != nil {
				return err
			}
		}
	}
	return nil
}

// factKey is where the facts of an instant begin.
func factKey(u coordinator.Unit, at time.Time) []byte { return appendTime(unitPrefix(u), at) }
