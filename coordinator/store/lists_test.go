package store

import (
	"bytes"
	"encoding/json"
	"fmt"
	"path/filepath"
	"testing"

	"go.etcd.io/bbolt"
	"pgregory.net/rapid"

	"drumturn/coordinator"
)

// TestOutboxListsAreRight runs random histories and then reads every bucket of
// the outbox in full: each row is in the lists that it belongs to, and no list
// names a row that is not there or not pending.
func TestOutboxListsAreRight(t *testing.T) {
	dir, run := t.TempDir(), 0
	rapid.Check(t, func(t *rapid.T) {
		run++
		m := &machine{path: filepath.Join(dir, fmt.Sprintf("%d.db", run)), model: newMemory()}
		m.open(t)
		t.Repeat(map[string]func(*rapid.T){
			"":       func(t *rapid.T) { scanOutbox(t, m.file) },
			"commit": m.commit,
			"record": m.record,
			"retain": m.retain,
			"reopen": m.reopen,
		})
		must(t, m.file.Close())
	})
}

// scanOutbox compares the lists with those that the rows call for.
func scanOutbox(t failer, f *File) {
	t.Helper()
	must(t, f.view(ctx, func(tx *bbolt.Tx) error {
		want := map[string][]string{}
		eachKey(tx.Bucket(bucketOutbox), nil, nil, func(k, v []byte) bool {
			var d coordinator.Delivery
			must(t, json.Unmarshal(v, &d))
			d.Key = string(k)
			entries := lastingEntries(&d)
			if d.State == coordinator.Pending {
				entries = append(entries, pendingEntries(&d)...)
			}
			for _, e := range entries {
				want[string(e.bucket)] = append(want[string(e.bucket)], string(e.key))
			}
			return true
		})
		for _, name := range [][]byte{bucketDue, bucketSubject, bucketMade, bucketUnitMade, bucketPerson} {
			expected := map[string]bool{}
			for _, key := range want[string(name)] {
				expected[key] = true
			}
			n := 0
			eachKey(tx.Bucket(name), nil, nil, func(k, _ []byte) bool {
				if n++; !expected[string(k)] {
					t.Errorf("list %s names %q for nothing", name, k)
				}
				return true
			})
			if n != len(expected) {
				t.Errorf("list %s has %d entries, the rows call for %d", name, n, len(expected))
			}
		}
		return nil
	}))
}

// TestAListedRowThatIsGone: a file whose lists and rows disagree is called
// damaged, by its readers and by whoever would write on.
func TestAListedRowThatIsGone(t *testing.T) {
	f, _ := openFile(t)
	n := notice("cellar", 1, 0, noon)
	must(t, f.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", At: noon, Notices: []coordinator.Notice{n}}))
	must(t, f.update(func(tx *bbolt.Tx) error { return tx.Bucket(bucketOutbox).Delete([]byte(n.Key())) }))
	_, due := f.DueDeliveries(ctx, at(10), 5, nil)
	_, all := f.Deliveries(ctx, 5)
	withdrawn := f.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", Expect: 1, At: noon, Withdraw: []coordinator.Subject{n.Subject}})
	for what, err := range map[string]error{"due": due, "all": all, "withdraw": withdrawn} {
		if err == nil || !bytes.Contains([]byte(err.Error()), []byte("damaged")) {
			t.Errorf("%s: %v", what, err)
		}
	}
	if got := get[coordinator.Stored](t)(f.Load(ctx, "cellar")); got.Seq != 1 {
		t.Errorf("the unit moved to %d with half a commit", got.Seq)
	}
}
