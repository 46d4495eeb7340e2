package store

import (
	"encoding/binary"
	"errors"
	"fmt"

	"go.etcd.io/bbolt"
)

// ErrForeign is answered by Open for a file that is no drumturn store.
var ErrForeign = errors.New("is no drumturn store")

// ErrNewer is answered by Open for a store of a later program.
var ErrNewer = errors.New("was written by a newer drumturn")

var (
	keyKind   = []byte("kind")
	keySchema = []byte("schema")
	kindValue = []byte("drumturn store")
)

// migration moves a store from schema number To-1 to To.
type migration struct {
	To   uint64
	What string
	Do   func(*bbolt.Tx) error
}

// migrations are in order. A published one is never changed; a new one is added.
var migrations = []migration{
	{1, "make the buckets", makeBuckets},
	{2, "list notices by person", listByPerson},
}

func makeBuckets(tx *bbolt.Tx) error {
	for _, name := range [][]byte{
		bucketUnits, bucketRows, bucketCheckpoints, bucketFacts, bucketBlanked, bucketReadings,
		bucketOutbox, bucketDue, bucketSubject, bucketMade, bucketUnitMade, bucketJobs, bucketRollups,
	} {
		if _, err := tx.CreateBucketIfNotExists(name); err != nil {
			return err
		}
	}
	return nil
}

// listByPerson makes the list of notices by person, from those that are there.
func listByPerson(tx *bbolt.Tx) error {
	if _, err := tx.CreateBucketIfNotExists(bucketPerson); err != nil {
		return err
	}
	var entries []entry
	var broken error
	eachKey(tx.Bucket(bucketOutbox), nil, nil, func(k, _ []byte) bool {
		d, err := readDelivery(tx, k)
		if err != nil {
			broken = err
			return false
		}
		entries = append(entries, personEntries(d)...)
		return true
	})
	if broken != nil {
		return broken
	}
	return list(tx, entries)
}

// schemaOf reads what the file says of itself: 0 for an empty file.
func schemaOf(tx *bbolt.Tx) (uint64, error) {
	meta := tx.Bucket(bucketMeta)
	if meta == nil {
		if k, _ := tx.Cursor().First(); k != nil {
			return 0, ErrForeign
		}
		return 0, nil
	}
	version := meta.Get(keySchema)
	if string(meta.Get(keyKind)) != string(kindValue) || len(version) != 8 {
		return 0, ErrForeign
	}
	return binary.BigEndian.Uint64(version), nil
}

// checkSchema refuses a file that these migrations cannot bring up to date.
func checkSchema(tx *bbolt.Tx, steps []migration) (uint64, error) {
	have, err := schemaOf(tx)
	if err != nil {
		return 0, err
	}
	if want := steps[len(steps)-1].To; have > want {
		return have, fmt.Errorf("%w (its schema is %d, this program knows up to %d): use the newer program, or restore the backup made before the update",
			ErrNewer, have, want)
	}
	return have, nil
}

// migrate brings the store up to date in one transaction: all steps or none.
func migrate(db *bbolt.DB, steps []migration) error {
	return db.Update(func(tx *bbolt.Tx) error {
		have, err := checkSchema(tx, steps)
		if err != nil {
			return err
		}
		for _, m := range steps {
			if m.To <= have {
				continue
			}
			if err := m.Do(tx); err != nil {
				return fmt.Errorf("cannot bring the store to schema %d (%s): %w", m.To, m.What, err)
			}
		}
		return writeSchema(tx, steps[len(steps)-1].To)
	})
}

func writeSchema(tx *bbolt.Tx, version uint64) error {
	meta, err := tx.CreateBucketIfNotExists(bucketMeta)
	if err != nil {
		return err
	}
	if err := meta.Put(keyKind, kindValue); err != nil {
		return err
	}
	return meta.Put(keySchema, binary.BigEndian.AppendUint64(nil, version))
}
