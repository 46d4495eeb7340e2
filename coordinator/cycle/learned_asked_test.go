package cycle

import (
	"testing"

	"pgregory.net/rapid"
)

// TestAskingChangesNothing: what an engine says, and how long it thinks that the
// cycle still takes, is the same whether it is asked at each reading or once.
func TestAskingChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set, rs, _ := drawCourses(t)
		var calls []call
		for _, r := range rs {
			calls = append(calls, call{now: r.At, r: r})
		}
		asked(t, set, calls)
	})
}

// TestAskingChangesNothingInAnyStory is the same with holes, glow and any meter.
func TestAskingChangesNothingInAnyStory(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawStory(t)
		asked(t, s.set, s.ticked(func(s Settings) Engine { return New(s) }))
	})
}

func asked(t *rapid.T, set Settings, calls []call) {
	often, once := New(set), New(set)
	seldom := rapid.IntRange(1, 2*len(calls)+1).Draw(t, "asked every")
	for i, c := range calls {
		x := say(often, c)
		y := answered{events: c.do(once), status: once.Status(), next: once.Next(), remaining: x.remaining, running: x.running}
		if i%seldom == seldom-1 || i == len(calls)-1 {
			y.remaining, y.running = once.Remaining(c.now)
		}
		if d := x.differs(y, 0); d != "" {
			t.Fatalf("call %d (%v): %s differs:\n%+v\n%+v", i, c, d, x, y)
		}
	}
}
