package year

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"drumturn/queue"
)

// fortnight is a short and busy life in which habits change.
func fortnight() Setting {
	s := ChangingYear()
	s.Days, s.ChangeOn = 14, 7
	return s
}

func lives(s *Setting, wishes []Wish) []*Report {
	return []*Report{Turns(s, wishes, learning), Door(s, wishes), List(s, wishes)}
}

// TestFortnight: under each policy every wish is served, or gone for a stated
// reason, and nothing is lost or done twice.
func TestFortnight(t *testing.T) {
	s := fortnight()
	wishes := Arrivals(&s)
	before := slices.Clone(wishes)
	for _, r := range lives(&s, wishes) {
		t.Run(r.Name, func(t *testing.T) { conserved(t, r, wishes) })
	}
	if !reflect.DeepEqual(before, wishes) {
		t.Error("a policy changed the arrivals, so that the next one had others")
	}
}

func conserved(t *testing.T, r *Report, wishes []Wish) {
	var longest time.Duration
	for i := range wishes {
		longest += wishes[i].WashFor
	}
	switch {
	case r.Wishes != len(wishes) || r.Served+r.Left() != r.Wishes:
		t.Errorf("%d wishes of %d: %d served and %v gone", r.Wishes, len(wishes), r.Served, r.Gone)
	case len(r.Waits[0]) != r.Served:
		t.Errorf("%d washes started for %d served", len(r.Waits[0]), r.Served)
	case r.Served < r.Wishes*8/10:
		t.Errorf("only %d of %d served: the simulation is stuck", r.Served, r.Wishes)
	case r.Busy[0] > longest || r.Left() == 0 && r.Busy[0] != longest:
		t.Errorf("washers ran for %v, all washes take %v", r.Busy[0], longest)
	case r.dried != len(r.Waits[1])+sum(r.Undried):
		t.Errorf("%d washed loads wanted a dryer: %d started, %v not", r.dried, len(r.Waits[1]), r.Undried)
	}
	for k, list := range r.Waits {
		if slices.Min(list) < 0 || r.Idle[k] < r.Empty[k] || r.Idle[k] <= 0 {
			t.Errorf("kind %d: shortest wait %v, idle %v of which empty %v", k, slices.Min(list), r.Idle[k], r.Empty[k])
		}
	}
	// The engine, new in the first days, takes some washes for two.
	if starts := len(r.Waits[0]) + len(r.Waits[1]); r.Forecasts != nil && math.Abs(float64(r.Cycles-starts)) > 0.05*float64(starts) {
		t.Errorf("the room saw %d cycles of %d", r.Cycles, starts)
	}
	for sort, f := range r.Forecasts {
		if f.Asked != f.answered()+f.Unknown+f.Void {
			t.Errorf("%s: %+v does not add up", sort, *f)
		}
	}
}

// TestSameAgain: a life follows from its seed.
func TestSameAgain(t *testing.T) {
	s := fortnight()
	s.Days, s.ChangeOn = 4, 2
	first, again := lives(&s, Arrivals(&s)), lives(&s, Arrivals(&s))
	if !reflect.DeepEqual(first, again) {
		t.Error("the same seed gave two lives")
	}
	s.Seed++
	if reflect.DeepEqual(first, lives(&s, Arrivals(&s))) {
		t.Error("another seed gave the same life")
	}
}

// TestArrivals: as many as the habits say, within four standard deviations of a
// Poisson count, all by day and in their order.
func TestArrivals(t *testing.T) {
	s := Year()
	wishes := Arrivals(&s)
	want := s.Habits.Weekly * float64(s.Homes) * float64(s.Days) / 7
	if off := math.Abs(float64(len(wishes)) - want); off > 4*math.Sqrt(want) {
		t.Errorf("%d wishes, want about %.0f", len(wishes), want)
	}
	for i := range wishes {
		if w := &wishes[i]; w.Number != i || i > 0 && w.At.Before(wishes[i-1].At) || clock(w.At) < opensAt || clock(w.At) > lastStart {
			t.Fatalf("wish %d at %v", i, w.At)
		}
	}
}

// TestTape: a meter's means add up to the energy of the course.
func TestTape(t *testing.T) {
	w := Wish{Programme: 1, Kg: 4, seed: 1}
	c := w.course(queue.Washer)
	var want, got float64
	for _, s := range c.Stretches {
		want += (s.Watts - standbyW) * s.For.Hours()
	}
	start := Year().Born.Add(7*time.Hour + 23*time.Second)
	var tp tape
	tp.play(c, start)
	for at := start.Add(-23 * time.Second); at.Before(start.Add(c.Settled + time.Hour)); at = at.Add(every) {
		got += (tp.mean(at, at.Add(every)) - standbyW) * every.Hours()
	}
	if math.Abs(got-want) > 1e-6*want {
		t.Errorf("%.3f Wh read, the course has %.3f", got, want)
	}
}

// TestOpeningHours: by hand; the room is open from 7 to 20:30.
func TestOpeningHours(t *testing.T) {
	at := func(day int, clock string) time.Time {
		h, err := time.Parse("15:04", clock)
		if err != nil {
			t.Fatal(err)
		}
		return Year().Born.AddDate(0, 0, day).Add(time.Duration(h.Hour())*time.Hour + time.Duration(h.Minute())*time.Minute)
	}
	for _, c := range []struct {
		from, to time.Time
		want     time.Duration
	}{
		{at(0, "08:00"), at(0, "09:10"), 70 * time.Minute},
		{at(0, "20:00"), at(1, "07:30"), time.Hour},
		{at(0, "05:00"), at(0, "06:00"), 0},
		{at(0, "12:00"), at(2, "12:00"), 27 * time.Hour},
	} {
		if got := openBetween(c.from, c.to); got != c.want {
			t.Errorf("%v to %v: %v, want %v", c.from, c.to, got, c.want)
		}
		if until := openFor(c.from, c.want+time.Minute); openBetween(c.from, until) != c.want+time.Minute {
			t.Errorf("%v from %v on is until %v", c.want, c.from, until)
		}
	}
}

// TestScore: inside, before, after, and to the minute as shown.
func TestScore(t *testing.T) {
	s := fortnight()
	for _, c := range []struct {
		at   time.Duration
		want string
	}{
		{10 * time.Minute, "1 0 0"}, {29 * time.Minute, "1 0 0"}, {9 * time.Minute, "0 1 0"}, {31 * time.Minute, "0 0 1"},
		{30*time.Minute + 30*time.Second, "1 0 0"},
	} {
		var got Score
		q := question{at: s.Born}
		q.Low, q.Median, q.High = s.Born.Add(10*time.Minute), s.Born.Add(20*time.Minute), s.Born.Add(30*time.Minute)
		got.add(q, s.Born.Add(c.at))
		if text := fmt.Sprint(got.Inside, got.Early, got.Late); text != c.want {
			t.Errorf("a call after %v: inside, early, late are %s, want %s", c.at, text, c.want)
		}
		if want := (c.at - 20*time.Minute).Abs(); got.Error() != want {
			t.Errorf("a call after %v: error %v, want %v", c.at, got.Error(), want)
		}
	}
}
