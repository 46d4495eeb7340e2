package store

import (
	"errors"
	"testing"

	"go.etcd.io/bbolt"

	"drumturn/coordinator"
)

// conformNewer: what is pending of a thread learns of a newer notice to the same
// addressee, in the transaction that makes it; nothing else does.
func conformNewer(t *testing.T, s Store, _ func() Store) {
	first, sent, other := notice("cellar", 1, 0, at(1)), notice("cellar", 1, 1, at(2)), notice("cellar", 2, 0, at(3))
	toBo := notice("cellar", 1, 2, at(4))
	toBo.To = "bo"
	must(t, s.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", At: at(4), Notices: []coordinator.Notice{sent, other, toBo}}))
	must(t, s.RecordDeliveries(ctx, coordinator.Delivery{Key: sent.Key(), Notice: sent, State: coordinator.Done}))
	must(t, s.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", Expect: 1, At: at(5), Notices: []coordinator.Notice{first}}))
	newer := notice("cellar", 1, 3, at(9))
	newer.Kind = coordinator.LoadReady
	must(t, s.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", Expect: 2, At: at(9), Notices: []coordinator.Notice{newer}}))
	for _, d := range deliveries(t, s) {
		if told := d.Newer != nil; told != (d.Key == first.Key()) {
			t.Errorf("%s knows of a newer one: %v", d.Key, told)
		}
	}
	// Whoever records what became of the row need not know of it.
	must(t, s.RecordDeliveries(ctx, coordinator.Delivery{Key: first.Key(), Notice: first, State: coordinator.Dropped}))
	for _, d := range deliveries(t, s) {
		if d.Key == first.Key() && (d.Newer == nil || d.Newer.Kind != coordinator.LoadReady || !d.Newer.Made.Equal(at(9))) {
			t.Errorf("after the record it is %s", plain(d))
		}
	}
}

func conformPerson(t *testing.T, s Store, reopen func() Store) {
	toAda, later, toAll := notice("cellar", 1, 0, at(1)), notice("attic", 2, 0, at(5)), notice("cellar", 3, 0, at(3))
	toAll.To, toAll.Role = "", coordinator.Managers
	must(t, s.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", At: at(4), Notices: []coordinator.Notice{toAda, toAll}}))
	must(t, s.Commit(ctx, coordinator.ChangeSet{Unit: "attic", At: at(5), Notices: []coordinator.Notice{later}}))
	keys := func(who coordinator.PersonID, limit int) []string {
		return keysOf(get[[]coordinator.Delivery](t)(s.DeliveriesTo(ctx, who, limit)))
	}
	wantSame(t, "before a decision", keys("ada", 9), []string{later.Key() + " pending", toAda.Key() + " pending"})
	wantSame(t, "nobody", keys("ad", 9), []string{})
	told := []coordinator.Told{{Person: "ada", Reason: coordinator.ReasonNow, At: at(6)}, {Person: "bo", Reason: coordinator.ReasonMuted, At: at(6)}}
	must(t, s.RecordDeliveries(ctx, coordinator.Delivery{Key: toAll.Key(), Notice: toAll, State: coordinator.Done, Told: told}))
	wantSame(t, "after it", keys("ada", 2), []string{later.Key() + " pending", toAll.Key() + " done"})
	wantSame(t, "who was not told", keys("bo", 9), []string{toAll.Key() + " done"})
	s = reopen()
	wantSame(t, "reopened", keys("ada", 9), []string{later.Key() + " pending", toAll.Key() + " done", toAda.Key() + " pending"})
	retainAll(t, s, "cellar", at(100), at(100))
	wantSame(t, "shortened", keys("bo", 9), []string{})
}

// A store of schema 1 has no list by person: it is made from the rows that are there.
func TestPersonListOfAnOldStore(t *testing.T) {
	f, reopen := openFile(t)
	n := notice("cellar", 1, 0, at(1))
	must(t, f.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", At: at(1), Notices: []coordinator.Notice{n}}))
	must(t, f.update(func(tx *bbolt.Tx) error {
		return errors.Join(tx.DeleteBucket(bucketPerson), writeSchema(tx, 1))
	}))
	f = reopen()
	wantSame(t, "found", keysOf(get[[]coordinator.Delivery](t)(f.DeliveriesTo(ctx, "ada", 9))), []string{n.Key() + " pending"})
}
