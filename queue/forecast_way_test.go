package queue

import (
	"testing"
	"time"
)

// heldLine is one washer, held for the first of two turns since 4 minutes, for 6 more.
func heldLine(said bool) (Line, []Supply) {
	line := waiting("ww")
	line[0].State, line[0].Machine, line[0].CalledAt, line[0].HoldUntil = Called, "1", noon.Add(-4*minute), noon.Add(6*minute)
	if said {
		line[0].OnWay = noon.Add(-minute)
	}
	return line, []Supply{aWasher("1", 0)}
}

// TestForecastWayAdds: a house that gives 5 minutes more to who says "on my way";
// worked out on paper. The hold has 6 minutes left.
func TestForecastWayAdds(t *testing.T) {
	for name, c := range map[string]struct {
		said                bool
		walk                time.Duration // from the call on
		missed, way, missay float64
		want                time.Duration
	}{
		"comes in time":                  {walk: 7 * minute, want: 63 * minute},
		"comes within the minutes more":  {walk: 13 * minute, want: 69 * minute},
		"as late as may be":              {walk: 40 * minute, want: 71 * minute},
		"never, and says nothing":        {walk: 7 * minute, missed: 1, want: 6 * minute},
		"never, though they said so":     {walk: 7 * minute, missed: 1, missay: 1, want: 11 * minute},
		"has them already":               {said: true, walk: 40 * minute, want: 66 * minute},
		"said so, and never comes":       {said: true, walk: 7 * minute, way: 1, missay: 1, want: 6 * minute},
		"said so in a house of absences": {said: true, walk: 4 * minute, missed: 1, want: 63 * minute},
	} {
		line, supplies := heldLine(c.said)
		o := sure(60 * minute)
		o.Hold = func(HomeID) time.Duration { return 10 * minute }
		o.WalkDown, o.WayAdds = Always(c.walk), 5*minute
		o.Missed, o.WayMissed, o.MissedSaid = c.missed, c.way, c.missay
		wantIn(t, name, Forecast(line, supplies, nil, o, noon).Turns, -1, c.want)
	}
}

// TestForecastWayOfTheNext: the minutes more count for calls to come as well: all say
// that they are on their way and never come, so that holds take 15 minutes, not 10.
func TestForecastWayOfTheNext(t *testing.T) {
	line, supplies := waiting("www"), []Supply{aWasher("1", 0)}
	o := sure(60 * minute)
	o.Hold = func(HomeID) time.Duration { return 10 * minute }
	o.Missed, o.WayAdds = 1, 5*minute
	for i := range line {
		line[i].Misses = 1 // the second miss ends a turn
	}
	wantIn(t, "nobody says so", Forecast(line, supplies, nil, o, noon).Turns, 0, 10*minute, 20*minute)
	o.MissedSaid = 1
	wantIn(t, "all say so", Forecast(line, supplies, nil, o, noon).Turns, 0, 15*minute, 30*minute)
	o.MissedSaid = -3
	wantIn(t, "a share that is none", Forecast(line, supplies, nil, o, noon).Turns, 0, 10*minute, 20*minute)
}

// TestForecastAtAWasherDryer: who missed a call lets the next of its kind go first, in
// the forecast as at the machine (compare TestMissAtAWasherDryer): a dry load between the
// two goes first of all while that one waits, and last once it is gone.
func TestForecastAtAWasherDryer(t *testing.T) {
	both := aWasher("1", 0)
	both.Machine.Kind = WasherDryer
	line := waiting("wdw")
	line.Call(0, "1", noon, minute)
	line.Miss(0, noon)
	o := sure(60 * minute)
	wantIn(t, "the next waits", Forecast(line, []Supply{both}, nil, o, noon).Turns, 120*minute, 0, 60*minute)
	line[2].NotBefore = noon.Add(24 * time.Hour)
	wantIn(t, "the next asked for later", Forecast(line, []Supply{both}, nil, o, noon).Turns, 0, 60*minute, 24*time.Hour)
	line[2].State = Started
	wantIn(t, "the next is gone", Forecast(line, []Supply{both}, nil, o, noon).Turns, 0, 60*minute, -1)
}
