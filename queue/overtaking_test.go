package queue

import (
	"fmt"
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
		"missed":         {&washer, func(e, l *Turn, _ *House) { e.Ways = []Way{{l.ID, OverMissed}} }, OverMissed},
		"let the next":   {&washer, func(e, l *Turn, _ *House) { e.Ways = []Way{{l.ID, OverLetNext}} }, OverLetNext},
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
		k, e := 1, 0
		if later.Returned {
			line[0], line[1] = line[1], line[0]
			k, e = 0, 1
		}
		got, over := line.Overtaken(k, e, c.machine, house, noon)
		if got != c.want || over != (c.want != "") {
			t.Errorf("%s: %q, %v; want %q", name, got, over, c.want)
		}
	}
}

// TestLineKeepsTheReason: the line itself notes why a turn lets another go first,
// and forgets it when one of them is called.
func TestLineKeepsTheReason(t *testing.T) {
	line := waiting("wwww")
	line.Miss(0, noon)
	line.LetNext(0, nil, plainHouse(), noon)
	line.LetNext(1, nil, plainHouse(), noon)
	if got := fmt.Sprint(line[0].Ways, line[1].Ways); got != "[{2 missed-call} {3 let-next}] [{3 let-next}]" {
		t.Errorf("the ways are %s", got)
	}
	kept := line[0].Ways
	line.Call(1, "m", noon, time.Minute)
	if got := fmt.Sprint(line[0].Ways, line[1].Ways); got != "[{2 missed-call} {3 let-next}] []" {
		t.Errorf("after a call the ways are %s", got)
	}
	line.Settle(2)
	if got := fmt.Sprint(line[0].Ways, line[1].Ways, kept); got != "[{3 let-next}] [] [{2 missed-call} {3 let-next}]" {
		t.Errorf("after a start the ways are %s", got)
	}
	line.Release(1)
	if !line[0].Returned || line[0].ID != 2 {
		t.Errorf("after a call was taken back: %+v", line)
	}
	line.Call(0, "m", noon, time.Minute)
	if line[0].Returned {
		t.Error("a call leaves the turn as one that was given back")
	}
}
