package queue

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestJoiningIsForetold: without chance and missed calls, "if you join now" is what somebody is told
// who then joins, from a home that has nothing in the room.
func TestJoiningIsForetold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e, supplies := drawEvening(t)
		e.house.Whose = nil
		// Whoever misses a call lets the newcomer go first where there was nobody, so that
		// they have it sooner than they are told.
		e.missed, e.o.Missed = false, 0
		before := Forecast(slices.Clone(e.line), supplies, e.house, e.o, noon)
		for _, need := range newcomers {
			joined := append(slices.Clone(e.line), Turn{ID: e.last + 1, Home: "new", Need: need, State: Waiting, Joined: noon})
			after := Forecast(joined, supplies, e.house, e.o, noon)
			if got := after.Turns[len(e.line)]; got != before.Join[need] {
				t.Fatalf("a newcomer to %s is told %+v, and having joined %+v", need, before.Join[need], got)
			}
		}
	})
}

// TestLeavingHelpsOnlyThoseBehind: without chance, missed calls and booked dryers,
// where all want the same of equal machines, whoever leaves changes nothing for those
// before, and nobody behind waits longer for it.
func TestLeavingHelpsOnlyThoseBehind(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var supplies []Supply
		for i := range rapid.IntRange(1, 4).Draw(t, "machines") {
			s := aWasher(MachineID(rune('1'+i)), time.Duration(rapid.IntRange(0, 90).Draw(t, "left"))*minute)
			s.Machine.Number = i
			supplies = append(supplies, s)
		}
		line := waiting(rapid.StringMatching(`w{2,9}`).Draw(t, "line"))
		for range rapid.IntRange(0, 3).Draw(t, "let next") {
			line.LetNext(rapid.IntRange(0, len(line)-1).Draw(t, "who"), nil, plainHouse(), noon)
		}
		o := sure(time.Duration(rapid.IntRange(10, 90).Draw(t, "length")) * minute)
		with := Forecast(line, supplies, nil, o, noon).Turns
		gone := rapid.IntRange(0, len(line)-1).Draw(t, "leaves")
		place, id := line.Place(gone), line[gone].ID
		places := make([]int, len(line))
		for i := range line {
			places[i] = line.Place(i)
		}
		left := slices.Clone(line)
		left.Settle(id)
		left = slices.Delete(left, gone, gone+1)
		without := Forecast(left, supplies, nil, o, noon).Turns
		for i := range line {
			if i == gone {
				continue
			}
			k := left.Index(line[i].ID)
			switch a, b := with[i].In.Median, without[k].In.Median; {
			case b > a && !passedOver(line, i, gone):
				t.Fatalf("turn %d at place %d was to be called in %s, and in %s without turn %d at %d", line[i].ID, places[i], a, b, id, place)
			case places[i] < place && b != a:
				t.Fatalf("turn %d at place %d was to be called in %s, and in %s, as turn %d left behind it at %d", line[i].ID, places[i], a, b, id, place)
			}
		}
	})
}

// passedOver reports whether a turn had let the one that leaves go first, and nobody
// else: what it gave away comes back to it, and goes from those that had it.
func passedOver(line Line, i, gone int) bool {
	return slices.ContainsFunc(line, func(t Turn) bool {
		return slices.ContainsFunc(t.Ways, func(w Way) bool { return w.To == line[gone].ID }) && t.ID < line[i].ID
	})
}
