package loop

import (
	"fmt"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
)

// checkpoints counts the commits that store every engine's memory and nothing else.
func checkpoints(store *fakeStore) (n int) {
	for _, sets := range store.calls() {
		for _, set := range sets {
			if len(set.Checkpoints) > 0 && len(set.Facts) == 0 && len(set.Readings) == 0 {
				n++
			}
		}
	}
	return n
}

// quiet delivers n readings of standby, so far apart.
func (h *house) quiet(n int, every time.Duration) {
	h.Helper()
	for range n {
		time.Sleep(every)
		h.watts(1)
	}
	synctest.Wait()
}

// TestCheckpointsByTime: a room with nothing but standby saves its engines'
// memory every six hours, at its next flush, so a restart folds no more.
func TestCheckpointsByTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := open(t, newFakeStore(), Wall{})
		h.quiet(2, 10*time.Second)
		time.Sleep(flushEvery)
		synctest.Wait()
		before := checkpoints(h.store) // the first flush makes one
		h.quiet(6*60-2, time.Minute)
		if got := checkpoints(h.store) - before; got != 0 {
			t.Errorf("%d checkpoints within six hours", got)
		}
		h.quiet(3, time.Minute)
		if got := checkpoints(h.store) - before; got != 1 {
			t.Errorf("%d checkpoints after six hours, want 1", got)
		}
		h.quiet(24*60, time.Minute)
		if got := checkpoints(h.store) - before; got != 4 && got != 5 {
			t.Errorf("%d checkpoints after thirty hours, want 4 or 5", got)
		}
	})
}

// TestCheckpointsByReadings: a meter that reports ten times a second does not
// leave a restart more than 50,000 readings and what one flush holds.
func TestCheckpointsByReadings(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := open(t, newFakeStore(), Wall{})
		h.quiet(100, 100*time.Millisecond)
		time.Sleep(flushEvery)
		synctest.Wait()
		before := checkpoints(h.store)
		h.quiet(checkpointReadings-200, 100*time.Millisecond)
		if got := checkpoints(h.store) - before; got != 0 {
			t.Errorf("%d checkpoints before 50,000 readings", got)
		}
		h.quiet(300, 100*time.Millisecond)
		if got := checkpoints(h.store) - before; got != 1 {
			t.Errorf("%d checkpoints after 50,000 readings, want 1", got)
		}
	})
}

// TestBufferIsBounded: readings that come faster than the flush are stored when
// the buffer is full, not when its time has come.
func TestBufferIsBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := open(t, newFakeStore(), Wall{})
		h.watts(1)
		synctest.Wait()
		stored := h.store.readings("cellar")
		h.quiet(bufferSize-1, time.Microsecond)
		if got := h.store.readings("cellar") - stored; got != 0 {
			t.Fatalf("%d readings were stored before the buffer was full", got)
		}
		h.quiet(1, time.Microsecond)
		if got := h.store.readings("cellar") - stored; got != bufferSize {
			t.Fatalf("%d readings were stored, want %d", got, bufferSize)
		}
	})
}

// TestSnapshotsStayAsTheyAre: a snapshot in a reader's hands never changes,
// whatever the room does meanwhile. The race detector watches too.
func TestSnapshotsStayAsTheyAre(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := open(t, newFakeStore(), Wall{})
		h.watts(1)
		changed, stop := h.Watch("cellar")
		var wg sync.WaitGroup
		quit := make(chan struct{})
		type kept struct {
			snap *coordinator.Snapshot
			said string
		}
		var seen []kept
		wg.Go(func() {
			for {
				select {
				case <-changed:
					s := h.Snapshot("cellar")
					seen = append(seen, kept{s, said(s)})
				case <-quit:
					return
				}
			}
		})
		for i := range 8 {
			if _, err := h.Do(t.Context(), "cellar", washJoin(i)); err != nil {
				t.Fatal(err)
			}
			synctest.Wait()
		}
		h.pass(40*time.Minute, 400)
		h.pass(10*time.Minute, 1)
		stop()
		close(quit)
		wg.Wait()
		if len(seen) < 10 {
			t.Fatalf("only %d snapshots were seen", len(seen))
		}
		for i, k := range seen {
			if said(k.snap) != k.said {
				t.Errorf("snapshot %d changed after it was published", i)
			}
			if i > 0 && k.snap.Seq < seen[i-1].snap.Seq {
				t.Errorf("snapshot %d goes back from %d to %d", i, seen[i-1].snap.Seq, k.snap.Seq)
			}
		}
	})
}

// said is a snapshot's content as text.
func said(s *coordinator.Snapshot) string {
	return fmt.Sprintf("%+v %+v %+v %+v", s.Machines, s.Turns, s.Forecasts, s.At)
}
