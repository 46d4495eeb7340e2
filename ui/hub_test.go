package ui

import (
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
)

// wakes notes the instants at which a stream is woken, until stop.
func wakes(wake chan struct{}, start time.Time) (at func() []time.Duration) {
	var mu sync.Mutex
	var got []time.Duration
	go func() {
		for range wake {
			mu.Lock()
			got = append(got, time.Since(start))
			mu.Unlock()
		}
	}()
	return func() []time.Duration {
		synctest.Wait()
		mu.Lock()
		defer mu.Unlock()
		return slices.Clone(got)
	}
}

// TestTheFirstChangeGoesOutAtOnce, and what follows within a second goes out
// together at its end.
func TestTheFirstChangeGoesOutAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newFakeHouse(fullRoom()) // Its clock stands, so no minute passes.
		hub := newHub(h, "cellar")
		wake := hub.join()
		start := time.Now()
		at := wakes(wake, start)
		touch := func() { h.change("cellar", func(*coordinator.Snapshot) {}) }

		time.Sleep(5300 * time.Millisecond)
		touch()
		if got := at(); len(got) != 1 || got[0] != 5300*time.Millisecond {
			t.Fatalf("the first change was told at %v, want at once at 5.3s", got)
		}
		for range 9 {
			time.Sleep(100 * time.Millisecond)
			touch()
		}
		if got := at(); len(got) != 1 {
			t.Fatalf("told %v within the second", got)
		}
		time.Sleep(time.Second)
		if got := at(); len(got) != 2 || got[1] != 6300*time.Millisecond {
			t.Fatalf("the rest was told at %v, want 6.3s", got)
		}
		time.Sleep(10 * time.Second)
		if got := at(); len(got) != 2 {
			t.Fatalf("told %v although nothing changed", got)
		}
		hub.leave(wake)
		close(wake)
		synctest.Wait()
	})
}

// TestAtMostOneUpdateASecond under a storm of changes.
func TestAtMostOneUpdateASecond(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newFakeHouse(fullRoom())
		hub := newHub(h, "cellar")
		wake := hub.join()
		at := wakes(wake, time.Now())
		for range 1000 {
			h.change("cellar", func(*coordinator.Snapshot) {})
			time.Sleep(10 * time.Millisecond)
		}
		time.Sleep(2 * time.Second)
		got := at()
		if len(got) < 10 || len(got) > 12 {
			t.Errorf("%d updates in ten seconds", len(got))
		}
		for i := 1; i < len(got); i++ {
			if got[i]-got[i-1] < time.Second {
				t.Errorf("updates %v and %v are too near", got[i-1], got[i])
			}
		}
		hub.leave(wake)
		close(wake)
		synctest.Wait()
	})
}

// TestTheBoardMovesWithTime: each new minute is told though nothing changed.
func TestTheBoardMovesWithTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newFakeHouse(fullRoom())
		h.real = true
		hub := newHub(h, "cellar")
		wake := hub.join()
		at := wakes(wake, time.Now())
		time.Sleep(5*time.Minute + 30*time.Second)
		if got := at(); len(got) != 5 {
			t.Errorf("told at %v in five and a half minutes", got)
		}
		hub.leave(wake)
		close(wake)
		synctest.Wait()
	})
}

// TestNobodyLooksNobodyWatches: the last stream ends the watching, the next
// one begins it again.
func TestNobodyLooksNobodyWatches(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newFakeHouse(fullRoom())
		hub := newHub(h, "cellar")
		for range 3 {
			a, b := hub.join(), hub.join()
			if h.watching() != 1 {
				t.Fatalf("%d watch for two streams", h.watching())
			}
			hub.leave(a)
			synctest.Wait()
			if h.watching() != 1 {
				t.Fatal("the watching ended although one looks")
			}
			hub.leave(b)
			synctest.Wait()
			if h.watching() != 0 {
				t.Fatal("the watching goes on although nobody looks")
			}
		}
	})
}

// TestASlowStreamHoldsNobodyUp: one that never takes its wake misses nothing
// but the repeats.
func TestASlowStreamHoldsNobodyUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := newFakeHouse(fullRoom())
		hub := newHub(h, "cellar")
		slow, quick := hub.join(), hub.join()
		at := wakes(quick, time.Now())
		for range 5 {
			h.change("cellar", func(*coordinator.Snapshot) {})
			time.Sleep(2 * time.Second)
		}
		if got := at(); len(got) != 5 {
			t.Errorf("the quick one was told %v", got)
		}
		if len(slow) != 1 {
			t.Errorf("%d wakes wait for the slow one", len(slow))
		}
		hub.leave(slow)
		hub.leave(quick)
		close(quick)
		synctest.Wait()
	})
}
