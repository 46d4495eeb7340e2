package queue

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// byTheRules plays a line without chance minute by minute, asking Eligible itself,
// and says in which minute each turn is called; -1 for none within the minutes.
func byTheRules(line Line, supplies []Supply, house *House, length, minutes int) []int {
	called, free := make([]int, len(line)), make([]int, len(supplies))
	owner := make([]HomeID, len(supplies))
	for i := range supplies {
		free[i] = int(supplies[i].Ends.Span().Median / minute)
	}
	for i := range called {
		called[i] = -1
	}
	for now := range minutes {
		for m := range supplies {
			if free[m] == now && owner[m] != "" {
				house.Loads[owner[m]]--
				owner[m] = ""
			}
		}
		for i := range line {
			for m := range supplies {
				if called[i] < 0 && free[m] <= now && line[i].Eligible(&supplies[m].Machine, house, noon.Add(time.Duration(now)*minute)) == Yes {
					called[i], free[m], owner[m] = now, now+length, line[i].Home
					house.Loads[line[i].Home]++
				}
			}
		}
	}
	return called
}

// TestForecastFollowsTheRules: without chance, the forecast is what happens when
// the rules that call turns (Eligible, first come first served) are followed.
func TestForecastFollowsTheRules(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		length := rapid.IntRange(1, 60).Draw(t, "length")
		var supplies []Supply
		for i := range rapid.IntRange(1, 4).Draw(t, "machines") {
			s := aWasher(MachineID(rune('1'+i)), time.Duration(rapid.IntRange(0, 90).Draw(t, "left"))*minute)
			s.Machine.Number, s.Machine.Kind = i, rapid.SampledFrom([]Kind{Washer, Dryer}).Draw(t, "kind")
			supplies = append(supplies, s)
		}
		line := waiting(rapid.StringMatching(`[wd]{1,8}`).Draw(t, "line"))
		for i := range line {
			line[i].Home = rapid.SampledFrom([]HomeID{"a", "b", "c"}).Draw(t, "home")
			line[i].NotBefore = noon.Add(time.Duration(rapid.IntRange(0, 120).Draw(t, "later")) * minute)
		}
		house := plainHouse()
		house.Limits.LoadsPerHome = rapid.IntRange(0, 2).Draw(t, "limit")
		if rapid.Bool().Draw(t, "closes") {
			house.Hours = dayHours()
		}
		house.Length = func(Need) time.Duration { return time.Duration(length) * minute }
		guesses := Forecast(line, supplies, house, sure(time.Duration(length)*minute), noon).Turns
		for i, want := range byTheRules(line, supplies, house, length, 600) {
			g := guesses[i]
			if want >= 0 && (!g.OK || g.In != exactly(time.Duration(want)*minute)) || want < 0 && g.OK && g.In.Median < 600*minute {
				t.Fatalf("turn %d: forecast %+v, by the rules in minute %d", i+1, g, want)
			}
		}
	})
}
