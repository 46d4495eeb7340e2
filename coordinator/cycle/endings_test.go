package cycle

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestEndingsAlikeAtTheEdge(t *testing.T) {
	var e endings
	e.add(100 * time.Second)
	for s, want := range map[int]int{89: 0, 90: 1, 100: 1, 110: 1, 111: 0} {
		if a, n := e.alike(time.Duration(s)*time.Second, 10*time.Second); a != want || n != 1 {
			t.Errorf("%d s: %d of %d alike, want %d", s, a, n, want)
		}
	}
}

// TestEndingsAgainstAList: the newest dozen count, however many there were.
func TestEndingsAgainstAList(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var e endings
		var list []time.Duration
		for range rapid.IntRange(0, 40).Draw(t, "cycles") {
			d := time.Duration(rapid.IntRange(0, 600).Draw(t, "s")) * time.Second
			e.add(d)
			if list = append(list, d); len(list) > endingsKept {
				list = list[1:]
			}
		}
		at := time.Duration(rapid.IntRange(0, 600).Draw(t, "at")) * time.Second
		slack := time.Duration(rapid.IntRange(0, 60).Draw(t, "slack")) * time.Second
		alike, least := 0, time.Duration(0)
		for i, d := range list {
			if (d - at).Abs() <= slack {
				alike++
			}
			if i == 0 || d < least {
				least = d
			}
		}
		if a, n := e.alike(at, slack); a != alike || n != len(list) {
			t.Fatalf("%d of %d alike, want %d of %d", a, n, alike, len(list))
		}
		if e.soonest() != least {
			t.Fatalf("soonest %v, want %v", e.soonest(), least)
		}
	})
}
