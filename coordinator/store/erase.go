package store

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"go.etcd.io/bbolt"

	"drumturn/coordinator"
)

// Erase takes people out of a unit's history: facts keep what happened and its
// figures, but neither the person nor the home, and settled rows of the outbox
// that were to them go. It works piece by piece, so that others may write in
// between; done again it changes nothing.
func (f *File) Erase(ctx context.Context, unit coordinator.Unit, persons []coordinator.PersonID) error {
	from := unitPrefix(unit)
	for from != nil {
		var next []byte // written by the committer, read only after its answer
		err := f.submit(ctx, nil, func(tx *bbolt.Tx) (err error) {
			next, err = erasePage(tx, unit, from, persons)
			return err
		})
		if err != nil {
			return fmt.Errorf("cannot take somebody out of the history of unit %q: %w", unit, err)
		}
		from = next
	}
	return f.submit(ctx, nil, func(tx *bbolt.Tx) error {
		for _, p := range persons {
			if err := eraseDeliveries(tx, p); err != nil {
				return err
			}
		}
		return nil
	})
}

// erasePage looks at some facts from a key on; next is where it stopped, nil at the end.
func erasePage(tx *bbolt.Tx, unit coordinator.Unit, from []byte, persons []coordinator.PersonID) (next []byte, err error) {
	b := tx.Bucket(bucketFacts)
	records, next := page(b, unitPrefix(unit), from, []byte{0xff, 0xff, 0xff, 0xff})
	for _, r := range records {
		var fact coordinator.Fact
		if err := json.Unmarshal(r.value, &fact); err != nil {
			return nil, fmt.Errorf("a fact does not decode: %w", err)
		}
		if !eraseFrom(&fact, persons) {
			continue
		}
		data, err := json.Marshal(&fact)
		if err != nil {
			return nil, err
		}
		if err := b.Put(r.key, data); err != nil {
			return nil, err
		}
	}
	return next, nil
}

// eraseFrom takes people out of a fact, and reports whether they were in it.
func eraseFrom(fact *coordinator.Fact, persons []coordinator.PersonID) bool {
	kind, id := coordinator.About(fact.About)
	about := kind == "person" && slices.Contains(persons, coordinator.PersonID(id))
	if about {
		fact.About = ""
	}
	if fact.Person == "" || !slices.Contains(persons, fact.Person) {
		return about
	}
	fact.Person, fact.Home = "", ""
	return true
}

// eraseDeliveries deletes what was settled of the notices to a person.
func eraseDeliveries(tx *bbolt.Tx, person coordinator.PersonID) error {
	prefix := unitPrefix(coordinator.Unit(person))
	var keys [][]byte
	eachKey(tx.Bucket(bucketPerson), prefix, prefix, func(k, _ []byte) bool {
		keys = append(keys, slices.Clone(k[len(prefix)+timeLen:]))
		return true
	})
	for _, key := range keys {
		d, err := readDelivery(tx, key)
		if err != nil {
			return err
		}
		if d == nil || d.State == coordinator.Pending {
			continue
		}
		if err := dropDelivery(tx, d); err != nil {
			return err
		}
	}
	return nil
}
