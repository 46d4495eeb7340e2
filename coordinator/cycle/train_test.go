package cycle

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// spun is a washer whose last spin ended at an instant, its drum drawing 150 W, in a
// lull that began later.
func spun(spin, began time.Time) *Learned {
	l := New(Settings{Washer: true})
	m := &l.mem
	m.Phases.Strong, m.Phases.StrongUntil, m.Phases.Drum = Spin, spin, 150
	m.Lull = lullFrom(began)
	return l
}

// clockAt is so many minutes after the test's machines were switched on.
func clockAt(minutes float64) time.Time {
	return time.Date(2026, 2, 3, 8, 0, 0, 0, time.UTC).Add(time.Duration(minutes * float64(time.Minute)))
}

func lullFrom(from time.Time) lull { return lull{Active: true, From: from, Wh: 500} }

// TestTrains: a train of turns after the spin belongs to the programme while it
// loosens the load. One that goes on keeps it from creasing: then the programme was
// over before its first turn, with the energy of that time.
func TestTrains(t *testing.T) {
	spin := clockAt(60)
	l := spun(spin, clockAt(61))
	l.trains(clockAt(62), 150, true)
	if l.mem.Train != (train{Spin: spin, From: clockAt(61), Wh: 500}) {
		t.Fatalf("the first turn: %+v", l.mem.Train)
	}
	l.mem.Lull = lull{Active: true, From: clockAt(64), Wh: 510} // a longer turn was work
	l.trains(clockAt(65), 150, true)
	if l.mem.Train.From != clockAt(61) || l.mem.Lull.From != clockAt(64) {
		t.Fatalf("while it loosens: %+v, the lull from %s", l.mem.Train, l.mem.Lull.From)
	}
	l.trains(clockAt(67), 150, false)
	if l.mem.Lull.From != clockAt(61) || l.mem.Lull.Wh != 500 {
		t.Errorf("a train that goes on: the lull is from %s with %v Wh", l.mem.Lull.From, l.mem.Lull.Wh)
	}
}

// TestNoTrains: what is no turn after a spin changes nothing.
func TestNoTrains(t *testing.T) {
	for name, c := range map[string]struct {
		change  func(*Learned)
		w       float64
		loosens bool
	}{
		"a dryer's":             {func(l *Learned) { l.s.Washer = false }, 150, true},
		"after a heat":          {func(l *Learned) { l.mem.Phases.Strong = Heat }, 150, true},
		"too weak for the drum": {func(*Learned) {}, 37, true},
		"no first turn was seen while it loosened": {func(*Learned) {}, 150, false},
		"of an earlier spin":                       {func(l *Learned) { l.mem.Train = train{Spin: clockAt(20), From: clockAt(21), Wh: 100} }, 150, false},
	} {
		l := spun(clockAt(60), clockAt(66))
		c.change(l)
		before, lull := l.mem.Train, l.mem.Lull
		l.trains(clockAt(68), c.w, c.loosens)
		if l.mem.Train != before || l.mem.Lull != lull {
			t.Errorf("%s: train %+v, lull from %s", name, l.mem.Train, l.mem.Lull.From)
		}
	}
}

// TestTrainsEndInTime: what turns long after the loosening is over is another thing:
// from twice its time on the lull stays as it is.
func TestTrainsEndInTime(t *testing.T) {
	for late, moves := range map[time.Duration]bool{
		2*loosenMost - time.Second: true, 2 * loosenMost: false, 3 * loosenMost: false,
	} {
		l := spun(clockAt(60), clockAt(61))
		l.trains(clockAt(62), 150, true)
		l.mem.Lull.From = clockAt(66)
		l.trains(clockAt(60).Add(late), 150, false)
		if got := l.mem.Lull.From.Equal(clockAt(61)); got != moves {
			t.Errorf("%s after the spin the lull moves: %v, want %v", late, got, moves)
		}
	}
}

// TestTrainsOnlyMoveBack: whatever turns when, a lull's begin only moves back, to the
// last work before the train, and its energy with it.
func TestTrainsOnlyMoveBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		l := spun(clockAt(60), clockAt(61))
		now := clockAt(61)
		for range rapid.IntRange(1, 20).Draw(rt, "turns") {
			now = now.Add(time.Duration(rapid.IntRange(5, 120).Draw(rt, "seconds")) * time.Second)
			if rapid.Bool().Draw(rt, "work between") {
				l.mem.Lull.From, l.mem.Lull.Wh = now, l.mem.Lull.Wh+10
			}
			from, wh := l.mem.Lull.From, l.mem.Lull.Wh
			w := rapid.SampledFrom([]float64{20, 37.5, 150, 300}).Draw(rt, "power")
			l.trains(now, w, now.Sub(clockAt(60)) < loosenMost)
			if l.mem.Lull.From.After(from) || l.mem.Lull.Wh > wh {
				rt.Fatalf("the lull from %s with %v Wh began at %s with %v Wh", from, wh, l.mem.Lull.From, l.mem.Lull.Wh)
			}
			if tr := l.mem.Train; !tr.From.IsZero() && (tr.From.After(now) || tr.From.Before(clockAt(60)) || tr.Spin != clockAt(60)) {
				rt.Fatalf("the train is %+v", tr)
			}
		}
	})
}
