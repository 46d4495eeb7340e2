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

// pageOfFacts is how many facts are copied out of one read transaction.
const pageOfFacts = 512

// Facts implements Store. fn runs outside any transaction and may use the
// store; facts committed meanwhile at later instants are seen too.
func (f *File) Facts(ctx context.Context, unit coordinator.Unit, from, to time.Time, fn func(coordinator.Fact) bool) error {
	next, end := factKey(unit, from), factKey(unit, to)
	for next != nil {
		var page []coordinator.Fact
		err := f.view(ctx, func(tx *bbolt.Tx) (err error) {
			page, next, err = readFacts(tx, unitPrefix(unit), next, end)
			return err
		})
		if err != nil {
			return fmt.Errorf("cannot read the history of unit %q: %w", unit, err)
		}
		for i := range page {
			if !fn(page[i]) {
				return nil
			}
		}
	}
	return nil
}

// readFacts copies a page of facts and says where the next begins; nil at the end.
func readFacts(tx *bbolt.Tx, prefix, from, end []byte) (page []coordinator.Fact, next []byte, err error) {
	eachKey(tx.Bucket(bucketFacts), prefix, from, func(k, v []byte) bool {
		if bytes.Compare(k, end) >= 0 {
			return false
		}
		if len(page) == pageOfFacts {
			next = bytes.Clone(k)
			return false
		}
		var fact coordinator.Fact
		if err = json.Unmarshal(v, &fact); err != nil {
			return false
		}
		page = append(page, fact)
		return true
	})
	return page, next, err
}

// FactsAfter implements Store.
func (f *File) FactsAfter(ctx context.Context, unit coordinator.Unit, after coordinator.FactID, limit int) (out []coordinator.StoredFact, err error) {
	from := unitPrefix(unit)
	if !after.IsZero() {
		from = append(factIDKey(unit, after), 0) // the least that comes after it
	}
	err = f.view(ctx, func(tx *bbolt.Tx) (err error) {
		out = nil
		eachKey(tx.Bucket(bucketFacts), unitPrefix(unit), from, func(k, v []byte) bool {
			if len(out) >= limit {
				return false
			}
			var fact coordinator.StoredFact
			if err = json.Unmarshal(v, &fact.Fact); err == nil {
				fact.ID, err = factIDOf(unit, k)
			}
			out = append(out, fact)
			return err == nil
		})
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("cannot read the history of unit %q: %w", unit, err)
	}
	return out, nil
}

func factIDKey(unit coordinator.Unit, id coordinator.FactID) []byte {
	return binary.BigEndian.AppendUint64(factKey(unit, id.At), id.N)
}

// factIDOf reads a fact's id from its key.
func factIDOf(unit coordinator.Unit, key []byte) (coordinator.FactID, error) {
	rest := key[len(unitPrefix(unit)):]
	if len(rest) != timeLen+8 {
		return coordinator.FactID{}, fmt.Errorf("the key of a fact has %d bytes: the file is damaged", len(rest))
	}
	at, err := timeAt(rest)
	return coordinator.FactID{At: at, N: binary.BigEndian.Uint64(rest[timeLen:])}, err
}
