package demo

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// A Poisson process of 3.2 loads a week gives 3.2 a week whatever the hours: over
// 2,000 weeks 6,400, with a standard deviation of 80.
func TestNextWashKeepsItsRate(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	begin := time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)
	end := begin.AddDate(0, 0, 7*2000)
	n, night := 0, 0
	for at := nextWash(rng, begin, 3.2, 0, time.UTC); at.Before(end); at = nextWash(rng, at, 3.2, 0, time.UTC) {
		n++
		if h := at.Hour(); h < 6 || h >= 22 {
			night++
		}
	}
	if math.Abs(float64(n)-6400) > 5*80 {
		t.Errorf("%d washes in 2,000 weeks, want about 6,400", n)
	}
	if night != 0 {
		t.Errorf("%d of them at night", night)
	}
}

// A floor for quiet hours brings washes at night, and more in all.
func TestFloorBringsNightWashes(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	begin := time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)
	night := 0
	for at := begin; at.Before(begin.AddDate(0, 0, 700)); at = nextWash(rng, at, 3.2, 0.6, time.UTC) {
		if at.Hour() < 6 {
			night++
		}
	}
	if night < 50 {
		t.Errorf("%d washes before six in 100 weeks", night)
	}
}

func TestDelayHasItsMedian(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	below := 0
	for range 10_000 {
		if delay(rng, 7*time.Minute) < 7*time.Minute {
			below++
		}
	}
	// Half of 10,000, within five standard deviations of 50.
	if math.Abs(float64(below)-5000) > 250 {
		t.Errorf("%d of 10,000 below the median", below)
	}
}

// The agenda hands out everything once, in order of time and then of entry.
func TestAgenda(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var a agenda
		begin := time.Unix(0, 0)
		entries := rapid.SliceOfN(rapid.IntRange(0, 20), 1, 60).Draw(t, "seconds")
		for i, s := range entries {
			a.add(errand{at: begin.Add(time.Duration(s) * time.Second), tries: i})
		}
		if rapid.Bool().Draw(t, "rebuilt") {
			a.rest(a.list)
		}
		var last errand
		n := 0
		for now := begin; now.Before(begin.Add(30 * time.Second)); now = now.Add(time.Second) {
			for e, due := a.pop(now); due; e, due = a.pop(now) {
				if e.at.After(now) || n > 0 && (e.at.Before(last.at) || e.at.Equal(last.at) && e.order < last.order) {
					t.Fatalf("%+v after %+v at %v", e, last, now)
				}
				last = e
				n++
			}
		}
		if n != len(entries) || a.next().Before(begin.AddDate(100, 0, 0)) {
			t.Fatalf("%d of %d errands, next %v", n, len(entries), a.next())
		}
	})
}
