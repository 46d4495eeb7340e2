package queue

import (
	"testing"
	"time"
)

func exactly(d time.Duration) Span { return Span{d, d, d} }

// sure is an outlook without chance: nobody misses a call, walks or dawdles, and
// every cycle takes that long.
func sure(length time.Duration) *Outlook {
	return &Outlook{Cycle: func(Need) Spread { return Always(length) }, CallAfter: time.Hour}
}

// aWasher is a usable machine whose cycle ends in left; with nothing left it is free.
func aWasher(id MachineID, left time.Duration) Supply {
	s := Supply{Machine: Machine{ID: id, Kind: Washer}, Usable: true}
	if left > 0 {
		s.Running, s.Ends, s.Load = true, Always(left), uint64(id[0])
	}
	return s
}

func aDryer(id MachineID, left time.Duration) Supply {
	s := aWasher(id, left)
	s.Machine.Kind = Dryer
	return s
}

// wantIn fails unless each turn is called at the given instant for sure; a
// negative one stands for "cannot be said".
func wantIn(t *testing.T, what string, got []Guess, want ...time.Duration) {
	t.Helper()
	for i, w := range want {
		if got[i].OK != (w >= 0) || w >= 0 && got[i].In != exactly(w) {
			t.Errorf("%s: guess %d is %v (%v), want %s", what, i, got[i].In, got[i].OK, w)
		}
	}
}

const minute = time.Minute

// TestForecastByHand: two washers, three turns, worked out on paper. Washer 1 is
// free now, washer 2 in 30 minutes; a load occupies a machine for 80 minutes. So
// the turns are called now, in 30 minutes, and in 80; a newcomer in 110.
func TestForecastByHand(t *testing.T) {
	supplies := []Supply{aWasher("1", 0), aWasher("2", 30*minute), aDryer("3", 0)}
	p := Forecast(waiting("wwwd"), supplies, nil, sure(80*minute), noon)
	wantIn(t, "the line", p.Turns, 0, 30*minute, 80*minute, 0)
	wantIn(t, "a newcomer", p.Join[Wash:], 110*minute, 80*minute, -1)
}

// TestForecastCollects: a load of 60 minutes is followed by 3 minutes of walking
// and stays 12 until it is collected, so that turns are 75 minutes apart; where
// the house calls after 5 minutes with the load inside, 68.
func TestForecastCollects(t *testing.T) {
	o := sure(60 * minute)
	o.WalkDown, o.Collect = Always(3*minute), Always(12*minute)
	o.Hold = func(HomeID) time.Duration { return 10 * minute }
	supplies := []Supply{aWasher("1", 20*minute)}
	wantIn(t, "collected", Forecast(waiting("www"), supplies, nil, o, noon).Turns, 32*minute, 107*minute, 182*minute)
	o.CallAfter = 5 * minute
	wantIn(t, "called with the load inside", Forecast(waiting("www"), supplies, nil, o, noon).Turns, 25*minute, 93*minute, 161*minute)
}

// TestForecastFinishedLoad: a load that has waited for 4 of the usual 12 minutes
// stays 8 more, unless the next is called before.
func TestForecastFinishedLoad(t *testing.T) {
	o := sure(60 * minute)
	o.Collect = Always(12 * minute)
	s := aWasher("1", 0)
	s.Load, s.Waited, s.CallIn = 7, 4*minute, time.Hour
	wantIn(t, "waiting", Forecast(waiting("w"), []Supply{s}, nil, o, noon).Turns, 8*minute)
	s.CallIn = 3 * minute
	wantIn(t, "soon called", Forecast(waiting("w"), []Supply{s}, nil, o, noon).Turns, 3*minute)
	s.Waited, s.CallIn = time.Hour, -minute
	wantIn(t, "overdue", Forecast(waiting("w"), []Supply{s}, nil, o, noon).Turns, 0)
}

// TestForecastAllMiss: when nobody ever comes, each hold of 10 minutes is followed
// by the next call; who missed is one place behind, and ends at the second miss.
// So with two turns a newcomer comes after four holds.
func TestForecastAllMiss(t *testing.T) {
	o := sure(60 * minute)
	o.Missed, o.RecallAfter = 1, 10*minute
	o.Hold = func(HomeID) time.Duration { return 10 * minute }
	p := Forecast(waiting("ww"), []Supply{aWasher("1", 0)}, nil, o, noon)
	wantIn(t, "the line", p.Turns, 0, 10*minute)
	// The first missed at 10; the newcomer, behind the second, is called before it
	// may be again only if nobody else is: at 20 the first is called once more.
	wantIn(t, "a newcomer", p.Join[Wash:], 40*minute)
}

// TestForecastAloneAfterMiss: who missed a call and is alone is called again when
// RecallAfter has passed; a newcomer has the machine meanwhile.
func TestForecastAloneAfterMiss(t *testing.T) {
	o := sure(60 * minute)
	line := waiting("w")
	line[0].Misses, line[0].Recall = 1, noon.Add(7*minute)
	p := Forecast(line, []Supply{aWasher("1", 0)}, nil, o, noon)
	wantIn(t, "the line", p.Turns, 7*minute)
	wantIn(t, "a newcomer", p.Join[Wash:], 0)
	// Another call ends the wait, so that the second machine goes to it at once.
	p = Forecast(append(line, waiting("ww")[1]), []Supply{aWasher("1", 0), aWasher("2", 0)}, nil, o, noon)
	wantIn(t, "with another", p.Turns, 0, 0)
}

// TestForecastHold: a machine is held for a turn that was called 4 minutes ago. If
// it comes for sure, the next has the machine after its load; if it never comes,
// when the hold ends in 6 minutes.
func TestForecastHold(t *testing.T) {
	line := waiting("www")
	line[0].State, line[0].Machine, line[0].CalledAt, line[0].HoldUntil = Called, "1", noon.Add(-4*minute), noon.Add(6*minute)
	o := sure(60 * minute)
	o.WalkDown = Always(5 * minute)
	o.Hold = func(HomeID) time.Duration { return 10 * minute }
	p := Forecast(line, []Supply{aWasher("1", 0)}, nil, o, noon)
	wantIn(t, "the holder comes", p.Turns, -1, 61*minute, 126*minute)
	o.Missed = 1
	p = Forecast(line, []Supply{aWasher("1", 0)}, nil, o, noon)
	// At 6 the second is called, at 16 the first again, which ends it, at 26 the
	// second again: a place lost to another who missed is won back when that one misses.
	wantIn(t, "nobody comes", p.Turns, -1, 6*minute, 36*minute)
}

// TestForecastHoldGrowsOld: the longer a held machine stays still, the likelier
// its holder does not come, and the sooner the next is called. With half of the
// calls missed and walks of up to 10 minutes, after 9 it is nearly sure.
func TestForecastHoldGrowsOld(t *testing.T) {
	o := sure(60 * minute)
	o.Missed, o.WalkDown = 0.5, SpreadOf(Span{minute, 5 * minute, 9 * minute})
	o.Hold = func(HomeID) time.Duration { return 20 * minute }
	line := waiting("ww")
	line[0].State, line[0].Machine = Called, "1"
	median := func(age time.Duration) time.Duration {
		line[0].CalledAt, line[0].HoldUntil = noon.Add(-age), noon.Add(20*minute-age)
		return Forecast(line, []Supply{aWasher("1", 0)}, nil, o, noon).Turns[1].In.High
	}
	if got := median(0); got < 60*minute {
		t.Errorf("just called, the next may be called within %s", got)
	}
	line[0].CalledAt = noon
	o.WalkDown = Sampled([]time.Duration{minute, 2 * minute, 3 * minute, 4 * minute, 5 * minute, 6 * minute, 7 * minute, 8 * minute, 9 * minute, 10 * minute,
		minute, 2 * minute, 3 * minute, 4 * minute, 5 * minute, 6 * minute, 7 * minute, 8 * minute, 9 * minute, 10 * minute}, Span{})
	if got := median(12 * minute); got != 8*minute {
		t.Errorf("12 minutes after the call the next is called in up to %s, want the end of the hold", got)
	}
}

// TestForecastBehind: a dryer turn behind a wash waits for it although the dryer
// is free, and lets others go first meanwhile.
func TestForecastBehind(t *testing.T) {
	line := waiting("dd")
	line[0].Behind = uint64('1')
	supplies := []Supply{aWasher("1", 40*minute), aDryer("2", 0)}
	wantIn(t, "behind the wash", Forecast(line, supplies, nil, sure(60*minute), noon).Turns, 60*minute, 0)
	wantIn(t, "a short one first", Forecast(line, supplies, nil, sure(30*minute), noon).Turns, 40*minute, 0)
}

// TestForecastDryAfter: a wash that books its dryer takes it from who joins the
// dryer queue later, not from who stands in it already.
func TestForecastDryAfter(t *testing.T) {
	line := waiting("wd")
	line[0].DryAfter = true
	line[1].NotBefore = noon.Add(70 * minute)
	supplies := []Supply{aWasher("1", 0), aDryer("2", 0)}
	// The wash ends at 60 and dries until 120; the other may be called from 70 on.
	wantIn(t, "one dryer", Forecast(line, supplies, nil, sure(60*minute), noon).Turns, 0, 120*minute)
	wantIn(t, "two dryers", Forecast(line, append(supplies, aDryer("3", 0)), nil, sure(60*minute), noon).Turns, 0, 70*minute)
}

// TestForecastLater: who asked not to be called yet keeps the place but not the
// machine.
func TestForecastLater(t *testing.T) {
	line := waiting("ww")
	line[0].NotBefore = noon.Add(45 * minute)
	wantIn(t, "one load first", Forecast(line, []Supply{aWasher("1", 0)}, nil, sure(60*minute), noon).Turns, 60*minute, 0)
	wantIn(t, "alone", Forecast(line[:1], []Supply{aWasher("1", 0)}, nil, sure(60*minute), noon).Turns, 45*minute)
}

// TestForecastLimits: a home that has as many loads in the room as it may is
// passed over until one is collected.
func TestForecastLimits(t *testing.T) {
	house := plainHouse()
	house.Limits.LoadsPerHome = 1
	line := waiting("www")
	line[1].Home = line[0].Home
	supplies := []Supply{aWasher("1", 0), aWasher("2", 0)}
	wantIn(t, "one load each", Forecast(line, supplies, house, sure(60*minute), noon).Turns, 0, 60*minute, 0)
	house.Loads[line[0].Home] = 1
	supplies[1] = aWasher("2", 25*minute)
	supplies[1].Home = line[0].Home
	wantIn(t, "one inside already", Forecast(line, supplies, house, sure(60*minute), noon).Turns, 25*minute, 85*minute, 0)
}

// TestForecastWishes: each waits for a machine that it can use.
func TestForecastWishes(t *testing.T) {
	supplies := []Supply{aWasher("1", 0), aWasher("2", 20*minute), aWasher("3", 40*minute)}
	supplies[0].Machine.Stacked = true
	supplies[0].Machine.ReservedFor = []HomeID{"a", "b"}
	supplies[2].Machine.Accessible = true
	line := waiting("wwww")
	line[0].Wishes.Lower = true
	line[2].Wishes.Accessible = true
	line[3].Wishes.MinKg = 9
	for i := range supplies {
		supplies[i].Machine.CapacityKg = 8
	}
	p := Forecast(line, supplies, nil, sure(60*minute), noon)
	wantIn(t, "wishes", p.Turns, 20*minute, 0, 40*minute, -1)
	wantIn(t, "a newcomer", p.Join[Wash:], 80*minute) // washer 1 is reserved
}

// TestForecastSparesSpecial: a plain turn takes the plain machine of two that are
// free, as the room does.
func TestForecastSparesSpecial(t *testing.T) {
	supplies := []Supply{aWasher("1", 0), aWasher("2", 0)}
	supplies[0].Machine.Accessible = true
	line := waiting("ww")
	line[1].Wishes.Accessible = true
	wantIn(t, "spared", Forecast(line, supplies, nil, sure(60*minute), noon).Turns, 0, 0)
	supplies[1].Machine.Kind = WasherDryer
	line[1].Wishes.Accessible, line[1].Need = false, WashAndDry
	wantIn(t, "combined", Forecast(line, supplies, nil, sure(60*minute), noon).Turns, 0, 0)
}

// TestForecastClosing: the room closes at nine in the evening and opens at seven.
// At 18:00 a wash of an hour ends at 19:00 and one at 20:00, the third may not
// start at 20:00 and a minute, so with a minute of collecting it waits for Thursday.
func TestForecastClosing(t *testing.T) {
	house := plainHouse()
	house.Hours = dayHours()
	evening := time.Date(2026, 6, 10, 18, 0, 0, 0, time.UTC)
	o := sure(60 * minute)
	wantIn(t, "just in time", Forecast(waiting("wwww"), []Supply{aWasher("1", 0)}, house, o, evening).Turns,
		0, 60*minute, 120*minute, 13*time.Hour)
	o.Collect = Always(minute)
	p := Forecast(waiting("wwww"), []Supply{aWasher("1", 0)}, house, o, evening)
	wantIn(t, "a minute late", p.Turns, 0, 61*minute, 13*time.Hour, 14*time.Hour+minute)
	saturday := time.Date(2026, 6, 13, 20, 30, 0, 0, time.UTC)
	wantIn(t, "over Sunday", Forecast(waiting("w"), []Supply{aWasher("1", 0)}, house, o, saturday).Turns, 34*time.Hour+30*minute)
}

// TestForecastKnowsNothing: nothing is said where nothing can be known.
func TestForecastKnowsNothing(t *testing.T) {
	out := aWasher("1", 0)
	out.Usable = false
	wantIn(t, "out", Forecast(waiting("wd"), []Supply{out}, nil, sure(minute), noon).Turns, -1, -1)
	house := plainHouse()
	for i := range house.Hours {
		house.Hours[i].Closed = true
	}
	p := Forecast(waiting("w"), []Supply{aWasher("1", 0)}, house, sure(minute), noon)
	wantIn(t, "always closed", p.Turns, -1)
	wantIn(t, "always closed", p.Join[Wash:], -1, -1, -1)
	long := Forecast(waiting("ww"), []Supply{aWasher("1", 0)}, nil, sure(15*24*time.Hour), noon)
	wantIn(t, "in more than two weeks", long.Turns, 0, -1)
	if p := Forecast(nil, nil, nil, &Outlook{}, noon); len(p.Turns) != 0 || p.Join[Wash].OK {
		t.Errorf("an empty room: %+v", p)
	}
}

// TestForecastSecondChance: half of all calls are missed, each by its own chance.
// So a turn that is called again at once starts at 0 in half of the cases, at 10 in
// a quarter, and never in a quarter: a newcomer is called at 60, 70 or 20.
func TestForecastSecondChance(t *testing.T) {
	o := sure(60 * minute)
	o.Missed = 0.5
	o.Hold = func(HomeID) time.Duration { return 10 * minute }
	got := Forecast(waiting("w"), []Supply{aWasher("1", 0)}, nil, o, noon).Join[Wash].In
	if want := (Span{20 * minute, 60 * minute, 70 * minute}); got != want {
		t.Errorf("a newcomer is called in %v, want %v", got, want)
	}
}

// TestForecastWalksWithinTheHold: who comes at all comes before the hold ends, and
// a home with a longer hold may take longer.
func TestForecastWalksWithinTheHold(t *testing.T) {
	o := sure(60 * minute)
	o.WalkDown = Always(30 * minute)
	o.Hold = func(h HomeID) time.Duration {
		if h == "b" {
			return 20 * minute
		}
		return 10 * minute
	}
	wantIn(t, "walks", Forecast(waiting("www"), []Supply{aWasher("1", 0)}, nil, o, noon).Turns, 0, 70*minute, 150*minute)
}
