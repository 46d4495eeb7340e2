package queue

import (
	"testing"
	"time"
)

// TestOvertakes: each rule by which a later turn goes first has its own reason;
// who joined later, or waits for other work, is not overtaken.
func TestOvertakes(t *testing.T) {
	washer := Machine{ID: "1", Kind: Washer, CapacityKg: 5}
	both := Machine{ID: "2", Kind: WasherDryer, ReservedFor: []HomeID{"x"}}
	for name, c := range map[string]struct {
		machine *Machine
		change  func(earlier, later *Turn, h *House)
		want    Overtaking
	}{
		"small":          {&washer, func(e, _ *Turn, _ *House) { e.Wishes.MinKg = 8 }, OverUnfit},
		"not accessible": {&washer, func(e, _ *Turn, _ *House) { e.Wishes.Accessible = true }, OverUnfit},
		"reserved":       {&both, func(*Turn, *Turn, *House) {}, OverReserved},
		"not now":        {&washer, func(e, _ *Turn, _ *House) { e.NotBefore = noon.Add(time.Hour) }, OverLater},
		"at the limit":   {&washer, func(e, _ *Turn, h *House) { h.Loads[e.Home] = h.Limits.LoadsPerHome }, OverLimit},
		"just missed":    {&washer, func(e, _ *Turn, _ *House) { e.Recall = noon.Add(time.Minute) }, OverMissed},
		"missed":         {&washer, func(e, _ *Turn, _ *House) { e.MovedBack = OverMissed }, OverMissed},
		"let the next":   {&washer, func(e, _ *Turn, _ *House) { e.MovedBack = OverLetNext }, OverLetNext},
		"call returned":  {&washer, func(_, l *Turn, _ *House) { l.Returned = true }, OverReturned},
		"other work":     {&washer, func(e, _ *Turn, _ *House) { e.Need = Dry }, ""},
		"joined later":   {&washer, func(e, l *Turn, _ *House) { e.ID = l.ID + 1 }, ""},
		"is called":      {&washer, func(e, _ *Turn, _ *House) { e.State = Called }, ""},
		"closing": {&washer, func(_, _ *Turn, h *House) {
			h.Hours = dayHours()
			h.Length = func(Need) time.Duration { return 20 * time.Hour }
		}, OverClosed},
		"wash runs": {&both, func(e, _ *Turn, _ *House) { e.Need, e.Behind, e.Home = Dry, 3, "x" }, OverWash},
	} {
		line, house := waiting("ww"), plainHouse()
		house.Limits.LoadsPerHome = 2
		earlier, later := &line[0], &line[1]
		c.change(earlier, later, house)
		got, over := later.Overtakes(earlier, earlier.Eligible(c.machine, house, noon))
		if got != c.want || over != (c.want != "") {
			t.Errorf("%s: %q, %v; want %q", name, got, over, c.want)
		}
	}
}

// TestLineKeepsTheReason: the line itself notes why a turn moved.
func TestLineKeepsTheReason(t *testing.T) {
	line := waiting("www")
	line.Miss(0, noon)
	if i := line.Index(1); line[i].MovedBack != OverMissed || i != 1 {
		t.Errorf("after a miss: %+v", line)
	}
	line.LetNext(line.Index(3), nil, plainHouse(), noon) // nobody is behind
	line.LetNext(line.Index(2), nil, plainHouse(), noon)
	if i := line.Index(2); line[i].MovedBack != OverLetNext {
		t.Errorf("after letting the next go: %+v", line)
	}
	line.Call(2, "m", noon, time.Minute)
	line.Release(2)
	if !line[0].Returned {
		t.Errorf("after a call was taken back: %+v", line)
	}
	line.Call(0, "m", noon, time.Minute)
	if line[0].Returned {
		t.Error("a call leaves the turn as one that was given back")
	}
}
