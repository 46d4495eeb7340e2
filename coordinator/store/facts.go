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
