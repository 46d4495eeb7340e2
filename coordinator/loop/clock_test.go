package loop

import (
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

// TestFastClockReleases: a wait that was given up is never woken, and one for
// the past is over at once.
func TestFastClockReleases(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		start := time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC)
		f := Fast{Start: start, Since: time.Now(), Speed: 3600}
		given, release := f.At(start.Add(time.Hour))
		release()
		past, _ := f.At(start.Add(-time.Hour))
		synctest.Wait()
		select {
		case <-past:
		default:
			t.Error("an instant that is past is waited for")
		}
		time.Sleep(time.Minute)
		select {
		case <-given:
			t.Error("a wait that was given up was woken")
		default:
		}
		if got := f.Now().Sub(start); got != 60*time.Hour {
			t.Errorf("a minute was %s", got)
		}
		half := Fast{Start: start, Since: time.Now(), Speed: 0.5}
		began := time.Now()
		reached, _ := half.At(start.Add(time.Minute))
		<-reached
		if got := time.Since(began); got != 2*time.Minute {
			t.Errorf("a minute at half speed took %s", got)
		}
	})
}

// TestFastHouse: a building on a fast clock lapses its holds in the clock's time.
func TestFastHouse(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		clock := Fast{Start: time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC), Since: time.Now(), Speed: 600}
		h := open(t, newFakeStore(), clock)
		if err := h.Deliver(t.Context(), "m1", cycle.Power(h.Now(), 1)); err != nil {
			t.Fatal(err)
		}
		h.join("anna")
		for range 11 { // minutes of the clock
			time.Sleep(100 * time.Millisecond)
			if err := h.Deliver(t.Context(), "m1", cycle.Power(h.Now(), 1)); err != nil {
				t.Fatal(err)
			}
		}
		synctest.Wait()
		want := []coordinator.NoticeKind{coordinator.TurnCalled, coordinator.TurnMissed}
		if got := h.store.notices(); !slices.Equal(got, want) {
			t.Errorf("after eleven minutes of the clock: %v", got)
		}
	})
}

// TestFastClockIsNeverEarly: whoever is woken finds the instant reached, also
// where it lies between two nanoseconds of the wall.
func TestFastClockIsNeverEarly(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		start := time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC)
		for _, speed := range []float64{0.3, 1, 7, 60, 600, 86400} {
			f := Fast{Start: start, Since: time.Now(), Speed: speed}
			for _, d := range []time.Duration{1, 59, 61, 599, 601, 12345678901} {
				due := f.Now().Add(d)
				reached, _ := f.At(due)
				<-reached
				if now := f.Now(); now.Before(due) {
					t.Errorf("at %g times the speed it is woken %s early", speed, due.Sub(now))
				}
			}
		}
	})
}
