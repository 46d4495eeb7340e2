package queue

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// byTheRules plays a line without chance minute by minute, asking Eligible and Yields
// themselves, and says in which minute each turn is called; -1 for none within the
// minutes. Combined machines are the last of the supplies.
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
		for again := true; again; {
			i, m := firstByTheRules(line, supplies, house, free, now)
			if again = i >= 0; again {
				called[i], free[m], owner[m] = now, now+length, line[i].Home
				house.Loads[line[i].Home]++
				line.Call(i, "x", noon, minute)
			}
		}
	}
	return called
}

// firstByTheRules is the turn that is called next, and to which machine; -1 for none.
func firstByTheRules(line Line, supplies []Supply, house *House, free []int, now int) (int, int) {
	at := noon.Add(time.Duration(now) * minute)
	for i := range line {
		for m := range supplies {
			_, over := line.Yields(i, &supplies[m].Machine, house, at)
			if !over && free[m] <= now && line[i].Eligible(&supplies[m].Machine, house, at) == Yes {
				return i, m
			}
		}
	}
	return -1, -1
}

// TestForecastFollowsTheRules: without chance, the forecast is what happens when
// the rules that call turns (Eligible, first come first served) are followed.
func TestForecastFollowsTheRules(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		length := rapid.IntRange(1, 60).Draw(t, "length")
		var supplies []Supply
		plain, combined := rapid.IntRange(0, 3).Draw(t, "machines"), rapid.IntRange(0, 1).Draw(t, "combined")
		for i := range max(1, plain+combined) {
			s := aWasher(MachineID(rune('1'+i)), time.Duration(rapid.IntRange(0, 90).Draw(t, "left"))*minute)
			s.Machine.Number, s.Machine.Kind = i, rapid.SampledFrom([]Kind{Washer, Dryer}).Draw(t, "kind")
			if i == plain {
				s.Machine.Kind = WasherDryer
			}
			supplies = append(supplies, s)
		}
		line := waiting(rapid.StringMatching(`[wd]{1,8}`).Draw(t, "line"))
		for i := range line {
			line[i].Home = rapid.SampledFrom([]HomeID{"a", "b", "c"}).Draw(t, "home")
			line[i].NotBefore = noon.Add(time.Duration(rapid.IntRange(0, 120).Draw(t, "later")) * minute)
		}
		for range rapid.IntRange(0, 3).Draw(t, "let next") {
			line.LetNext(rapid.IntRange(0, len(line)-1).Draw(t, "who"), nil, plainHouse(), noon)
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
