package queue

import (
	"testing"
	"time"
)

// TestCarriedLoadIsNoLoadMore: where a home may have one load in the room, its dryer
// may be called while the wash is still inside the washer; nothing else of that home may.
func TestCarriedLoadIsNoLoadMore(t *testing.T) {
	for name, c := range map[string]struct {
		loads, limit int
		carries      uint64
		whose        HomeID // of load 7
		want         Verdict
	}{
		"the wash alone":              {1, 1, 7, "a", Yes},
		"and a call":                  {2, 1, 7, "a", LoadLimit},
		"two allowed":                 {2, 2, 7, "a", Yes},
		"another load":                {1, 1, 8, "a", LoadLimit},
		"carries nothing":             {1, 1, 0, "a", LoadLimit},
		"the wash counts no more":     {1, 1, 7, "", LoadLimit},
		"of another home by now":      {1, 1, 7, "b", LoadLimit},
		"the wash is gone, none left": {0, 1, 7, "", Yes},
	} {
		house := plainHouse()
		house.Limits.LoadsPerHome = c.limit
		house.Loads["a"] = c.loads
		house.Whose = func(load uint64) HomeID {
			if load == 7 {
				return c.whose
			}
			return ""
		}
		turn := Turn{ID: 1, Home: "a", Need: Dry, State: Waiting, Carries: c.carries}
		if got := turn.Eligible(dryer, house, noon); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
	house := plainHouse()
	house.Limits.LoadsPerHome, house.Loads["a"] = 1, 1
	turn := Turn{ID: 1, Home: "a", Need: Dry, State: Waiting, Carries: 7}
	if got := turn.Eligible(dryer, house, noon); got != LoadLimit {
		t.Errorf("where nobody knows whose loads are: %s", got)
	}
}

// TestForecastCarries: one load for each home; worked out on paper. Home a washes for
// another 20 minutes, and its load is collected 15 minutes after. Its dryer is called
// when the wash ends, not when it is collected; its next wash waits for the dryer as well:
// an hour and 15 minutes of staying after the call.
func TestForecastCarries(t *testing.T) {
	house := plainHouse()
	house.Limits.LoadsPerHome, house.Loads["a"] = 1, 1
	o := sure(60 * minute)
	o.Collect = Always(15 * minute)
	wash := aWasher("1", 20*minute)
	wash.Load, wash.Home = 7, "a"
	supplies := []Supply{wash, aWasher("2", 0), aDryer("3", 0)}
	line := Line{
		{ID: 1, Home: "a", Need: Dry, State: Waiting, Behind: 7, Carries: 7},
		{ID: 2, Home: "a", Need: Wash, State: Waiting},
	}
	wantIn(t, "one load for each home", Forecast(line, supplies, house, o, noon).Turns, 20*minute, 95*minute)
	// The same from the wash's end on, while it waits to be collected.
	supplies[0].Running, supplies[0].CallIn = false, time.Hour
	line[0].Behind = 0
	wantIn(t, "the wash is over", Forecast(line, supplies, house, o, noon).Turns, 0, 75*minute)
	line[0].Carries = 0
	wantIn(t, "a dryer for something else", Forecast(line, supplies, house, o, noon).Turns, 15*minute, 90*minute)
}

// TestForecastCarriesWhatItWillWash: the same for a wash that has yet to be called.
func TestForecastCarriesWhatItWillWash(t *testing.T) {
	house := plainHouse()
	house.Limits.LoadsPerHome = 1
	o := sure(60 * minute)
	o.Collect = Always(15 * minute)
	line := Line{
		{ID: 1, Home: "a", Need: Wash, State: Waiting, DryAfter: true},
		{ID: 2, Home: "b", Need: Dry, State: Waiting, NotBefore: noon.Add(61 * minute)},
	}
	// The dryer is called at 60, as the wash ends, and taken until 135.
	wantIn(t, "both", Forecast(line, []Supply{aWasher("1", 0), aDryer("2", 0)}, house, o, noon).Turns, 0, 135*minute)
}
