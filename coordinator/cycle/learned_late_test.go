package cycle

import (
	"testing"
	"time"
)

// TestALateClockIsNoLull: by a meter whose stamps lie a quarter of an hour back no
// lull has lasted longer, when a reading has just come, than its readings say; and
// what falls due next is not in the past.
func TestALateClockIsNoLull(t *testing.T) {
	const late = 15 * time.Minute
	e, at := learnedWith(t, 2)
	lulls := 0
	for _, r := range sample(newProgrammes(31).wash(at), 20*time.Second) {
		now := r.At.Add(late)
		e.Read(now, r)
		if !e.mem.Lull.Active {
			continue
		}
		lulls++
		if d := e.lasted(now); d != e.mem.Lull.lasted() {
			t.Fatalf("at %v it has lasted for %v, by its readings for %v", r.At, d, e.mem.Lull.lasted())
		}
		if next := e.Next(); next.Before(now) {
			t.Fatalf("at %v the next word is due %v ago", r.At, now.Sub(next))
		}
	}
	if lulls == 0 {
		t.Error("there was no lull")
	}
}

// TestAClockThatIsSetRight: the stamps jump ahead by an hour in mid-cycle, while the
// readings come as before: that is no hole, and the cycle goes on.
func TestAClockThatIsSetRight(t *testing.T) {
	e, at := learnedWith(t, 4)
	c := newProgrammes(31).wash(at)
	var events []Event
	for _, r := range sample(c, 10*time.Second) {
		now := r.At
		if r.At.Before(c.start.Add(30 * time.Minute)) {
			r.At = r.At.Add(-time.Hour)
		}
		events = append(events, e.Read(now, r)...)
	}
	if n := count(events, Presumed); n > 0 || len(ends(events)) != 1 {
		t.Errorf("%v", ends(events))
	}
	if off := ends(events)[0].end.Sub(c.end).Abs(); off > 2*time.Minute {
		t.Errorf("end off by %v", off)
	}
}
