package loop

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// washJoin is a turn for a home of its own.
func washJoin(i int) coordinator.Join {
	return coordinator.Join{
		Person: coordinator.PersonID(fmt.Sprint("p", i)), Home: coordinator.HomeID(fmt.Sprint("h", i)), Need: queue.Wash,
	}
}

// TestThoseWhoWaitShareACommit: while the disk is slow callers gather, one
// commit serves them all, and each is told its own answer.
func TestThoseWhoWaitShareACommit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := newFakeStore()
		g := newGate(t, store)
		h := open(t, store, Wall{})
		h.watts(1)
		synctest.Wait()
		turns, errs := make([]coordinator.TurnID, 20), make([]error, 20)
		before := 0
		g.busy(func() { h.join("first") }, func() {
			before = len(store.calls()) + 1 // with the one that is held up
			for i := range turns {
				go func() {
					if i%5 == 4 { // a turn that nobody has
						_, errs[i] = h.Do(t.Context(), "cellar", coordinator.Leave{Turn: 999, Person: "p", Home: "h"})
						return
					}
					reply, err := h.Do(t.Context(), "cellar", washJoin(i))
					turns[i], errs[i] = reply.Turn, err
				}()
			}
		})
		if n := len(store.calls()) - before; n != 1 {
			t.Errorf("%d commits for those who waited, want 1", n)
		}
		seen := map[coordinator.TurnID]bool{}
		var refusal *coordinator.Error
		for i, err := range errs {
			if refused := i%5 == 4; refused != errors.As(err, &refusal) || !refused && err != nil {
				t.Errorf("caller %d was told %v", i, err)
			}
			if turn := turns[i]; turn != 0 {
				if seen[turn] {
					t.Errorf("turn %d was given twice", turn)
				}
				seen[turn] = true
				if got := h.Snapshot("cellar").Turn(turn); got == nil || got.Person != queue.PersonID(fmt.Sprint("p", i)) {
					t.Errorf("caller %d was told turn %d, which is %+v", i, turn, got)
				}
			}
		}
		if len(seen) != 16 {
			t.Errorf("%d turns were given, want 16", len(seen))
		}
	})
}

// TestAFailedCommitIsToldToAll: nobody of a batch is told that it was done, and
// those who came after are told that the loop has stopped.
func TestAFailedCommitIsToldToAll(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := newFakeStore()
		g := newGate(t, store)
		h := open(t, store, Wall{})
		h.watts(1)
		synctest.Wait()
		before := h.Snapshot("cellar")
		var first error
		errs := make([]error, 10)
		g.busy(func() { _, first = h.Do(t.Context(), "cellar", washJoin(99)) }, func() {
			store.breakDown(errDisk)
			for i := range errs {
				go func() { _, errs[i] = h.Do(t.Context(), "cellar", washJoin(i)) }()
			}
		})
		if !errors.Is(first, errDisk) {
			t.Errorf("the caller of the commit was told %v", first)
		}
		for i, err := range errs {
			if !errors.Is(err, ErrStopped) || !errors.Is(err, errDisk) {
				t.Errorf("caller %d, who came later, was told %v", i, err)
			}
		}
		if h.Snapshot("cellar") != before {
			t.Error("a snapshot was published for what is not stored")
		}
	})
}

// TestABatchIsBounded: one commit never waits for an inbox that does not get
// empty.
func TestABatchIsBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := newFakeStore()
		g := newGate(t, store)
		h := open(t, store, Wall{})
		h.watts(1)
		synctest.Wait()
		done := 0
		answers := make(chan error, batchSize+40)
		g.busy(func() { h.join("first") }, func() {
			for i := range batchSize + 40 {
				go func() {
					_, err := h.Do(t.Context(), "cellar", washJoin(i))
					answers <- err
				}()
			}
		})
		for range batchSize + 40 {
			if err := <-answers; err == nil {
				done++
			}
		}
		most, commits := 0, store.calls()
		for _, sets := range commits {
			most = max(most, len(sets))
		}
		if done != batchSize+40 || most > batchSize+3 {
			t.Errorf("%d were served of %d, at most %d sets in a commit", done, batchSize+40, most)
		}
	})
}

// TestAnswerBeatsTheStop: whoever's answer is there is told it, although the
// loop has stopped since: the change is stored.
func TestAnswerBeatsTheStop(t *testing.T) {
	for range 200 { // a select takes either, at random
		room := &Room{inbox: make(chan item), end: newEnding(), clock: Wall{}}
		go func() {
			it := <-room.inbox
			it.answer <- answer{reply: coordinator.Reply{Turn: 7}}
			close(room.end.done)
		}()
		reply, err := room.Do(t.Context(), coordinator.Tick{})
		if err != nil || reply.Turn != 7 {
			t.Fatalf("told %+v, %v", reply, err)
		}
		people := &People{inbox: make(chan peopleItem), end: newEnding(), clock: Wall{}}
		go func() {
			it := <-people.inbox
			it.answer <- errDisk
			close(people.end.done)
		}()
		if err := people.Do(t.Context(), nil); !errors.Is(err, errDisk) {
			t.Fatalf("told %v", err)
		}
	}
}

// TestFullInboxBlocks: who delivers faster than the room takes waits, can give
// up, and loses nothing that was taken.
func TestFullInboxBlocks(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := newFakeStore()
		g := newGate(t, store)
		h := open(t, store, Wall{})
		h.watts(1)
		synctest.Wait()
		start := h.Now()
		took := 0
		g.busy(func() { h.join("first") }, func() {
			ctx, cancel := context.WithTimeout(t.Context(), time.Second)
			defer cancel()
			var err error
			for err == nil {
				took++
				err = h.Deliver(ctx, "m1", cycle.Power(start.Add(time.Duration(took)*time.Millisecond), 1))
			}
			took--
			if !errors.Is(err, context.DeadlineExceeded) || took != inboxSize {
				t.Errorf("after %d readings: %v", took, err)
			}
			// One who has patience is let in when there is room.
			go func() {
				took++
				if err := h.Deliver(t.Context(), "m1", cycle.Power(start.Add(time.Hour), 1)); err != nil {
					t.Error(err)
				}
			}()
		})
		if err := h.stop(); err != nil {
			t.Fatal(err)
		}
		if got := store.readings("cellar"); got != took+1 {
			t.Errorf("%d readings are stored, want %d", got, took+1)
		}
	})
}

// TestStopServesTheInbox: what came in before an orderly stop is stored and answered.
func TestStopServesTheInbox(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		store := newFakeStore()
		g := newGate(t, store)
		h := open(t, store, Wall{})
		h.watts(1)
		synctest.Wait()
		errs := make([]error, 30)
		var stopped error
		g.busy(func() { h.join("first") }, func() {
			for i := range errs {
				go func() { _, errs[i] = h.Do(t.Context(), "cellar", washJoin(i)) }()
			}
			synctest.Wait()
			go func() { stopped = h.stop() }()
		})
		if err := errors.Join(append(errs, stopped)...); err != nil {
			t.Fatal(err)
		}
		if n := len(h.Snapshot("cellar").Turns); n != 31 {
			t.Errorf("%d turns, want 31", n)
		}
	})
}
