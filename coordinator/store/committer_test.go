package store

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"

	"go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"

	"drumturn/coordinator"
)

// busy runs fn while the committer is held up in a transaction of its own, so
// that what fn hands over has to wait; then it lets go and waits for everybody.
func busy(t *testing.T, f *File, fn func()) {
	t.Helper()
	hold, held := make(chan struct{}), make(chan struct{})
	go func() {
		must(t, f.submit(ctx, nil, func(*bbolt.Tx) error { close(held); <-hold; return nil }))
	}()
	<-held
	fn()
	synctest.Wait() // everybody waits for the committer now
	close(hold)
	synctest.Wait()
}

func transactions(t *testing.T, f *File) (id int) {
	t.Helper()
	must(t, f.view(ctx, func(tx *bbolt.Tx) error { id = tx.ID(); return nil }))
	return id
}

func TestThoseWhoWaitShareATransaction(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, _ := openFile(t)
		before := transactions(t, f)
		results := make([]error, 50)
		busy(t, f, func() {
			for i := range results {
				go func() {
					set := row(coordinator.Unit(fmt.Sprint("room", i)), 0, "a", "1")
					if i%10 == 3 {
						set.Expect = 5
					}
					results[i] = f.Commit(ctx, set)
				}()
			}
		})
		if n := transactions(t, f) - before; n != 2 {
			t.Errorf("%d transactions instead of the one that was held up and one for the others", n)
		}
		for i, err := range results {
			if wrong := i%10 == 3; wrong != errors.Is(err, coordinator.ErrSequence) || !wrong && err != nil {
				t.Errorf("caller %d was told %v", i, err)
			}
			got := get[coordinator.Stored](t)(f.Load(ctx, coordinator.Unit(fmt.Sprint("room", i))))
			if (got.Seq == 1) != (err == nil) {
				t.Errorf("caller %d was told %v and the unit is at %d", i, err, got.Seq)
			}
		}
	})
}

func TestSequenceWithinAGroup(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, _ := openFile(t)
		var won, lost atomic.Int32
		busy(t, f, func() {
			for range 5 {
				go func() {
					switch err := f.Commit(ctx, row("cellar", 0, "a", "1")); {
					case err == nil:
						won.Add(1)
					case errors.Is(err, coordinator.ErrSequence):
						lost.Add(1)
					}
				}()
			}
		})
		if won.Load() != 1 || lost.Load() != 4 {
			t.Errorf("of five with the same sequence %d won and %d lost", won.Load(), lost.Load())
		}
	})
}

func TestCancelledWhileWaiting(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, _ := openFile(t)
		leaving, leave := context.WithCancel(ctx)
		var told error
		busy(t, f, func() {
			go func() { told = f.Commit(leaving, row("cellar", 0, "a", "1")) }()
			synctest.Wait()
			leave()
			synctest.Wait()
			if !errors.Is(told, context.Canceled) {
				t.Errorf("told %v", told)
			}
		})
		if got := get[coordinator.Stored](t)(f.Load(ctx, "cellar")); got.Seq != 0 {
			t.Error("a set given up before its turn was stored")
		}
		must(t, f.Commit(ctx, row("cellar", 0, "a", "1")))
	})
}

func TestCloseLetsTheWaitingFinish(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, _ := openFile(t)
		var told, closed error
		busy(t, f, func() {
			go func() { told = f.Commit(ctx, row("cellar", 0, "a", "1")) }()
			synctest.Wait()
			go func() { closed = f.Close() }()
		})
		if told != nil || closed != nil {
			t.Errorf("the waiting caller was told %v, Close %v", told, closed)
		}
		if err := f.Commit(ctx, row("cellar", 1, "a", "1")); !errors.Is(err, ErrClosed) {
			t.Errorf("after Close: %v", err)
		}
	})
}

// TestAFailedCommitFailsTheGroup: everybody in the group is told the real
// reason, nothing is stored, and the store goes on.
func TestAFailedCommitFailsTheGroup(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, _ := openFile(t)
		broken := errors.New("the disk is gone")
		var good, bad, wrong, panicked error
		busy(t, f, func() {
			go func() { good = f.Commit(ctx, row("cellar", 0, "a", "1")) }()
			go func() { wrong = f.Commit(ctx, row("attic", 9, "a", "1")) }()
			synctest.Wait()
			go func() { bad = f.submit(ctx, nil, func(*bbolt.Tx) error { return broken }) }()
		})
		if !errors.Is(good, broken) || !errors.Is(bad, broken) || !errors.Is(wrong, coordinator.ErrSequence) {
			t.Errorf("told %v, %v and %v", good, bad, wrong)
		}
		panicked = f.submit(ctx, nil, func(*bbolt.Tx) error { panic("a fault of ours") })
		if panicked == nil || !strings.Contains(panicked.Error(), "a fault of ours") {
			t.Errorf("after a panic: %v", panicked)
		}
		wantSame(t, "the unit", get[coordinator.Stored](t)(f.Load(ctx, "cellar")), coordinator.Stored{})
		must(t, f.Commit(ctx, row("cellar", 0, "a", "1")))
	})
}

// TestFull runs into the fuse as into a full disk.
func TestFull(t *testing.T) {
	f := get[*File](t)(Open(filepath.Join(t.TempDir(), "b.db"), Options{NoSync: true, MaxBytes: 1 << 20}))
	defer func() { must(t, f.Close()) }()
	var err error
	var seq uint64
	for ; err == nil && seq < 100; seq++ {
		err = f.Commit(ctx, row("cellar", seq, fmt.Sprint(seq), strings.Repeat("x", 50000)))
	}
	if !errors.Is(err, bolterrors.ErrMaxSizeReached) || !strings.Contains(err.Error(), "has reached the size") {
		t.Fatalf("a full store answered %v", err)
	}
	seq-- // the last did not count
	got := get[coordinator.Stored](t)(f.Load(ctx, "cellar"))
	if got.Seq != seq {
		t.Fatalf("at %d after %d commits", got.Seq, seq)
	}
	drop := coordinator.ChangeSet{Unit: "cellar", Expect: seq, At: noon}
	for _, r := range got.Rows {
		drop.Rows = append(drop.Rows, coordinator.Row{Table: r.Table, Key: r.Key})
	}
	must(t, f.Commit(ctx, drop))
	must(t, f.Commit(ctx, row("cellar", seq+1, "a", strings.Repeat("x", 50000))))
}
