package usage

import (
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// washesDaily lets somebody walk up to the washer at each of the hours, for some
// days before now; a wash takes an hour, and stays for half an hour.
func washesDaily(s *fakeStore, now time.Time, days int, hours ...int) {
	number := uint64(0)
	for d := days; d > 0; d-- {
		for _, h := range hours {
			number++
			start := DateOf(now, berlin).Add(-d).Begin(berlin).Add(time.Duration(h) * time.Hour)
			s.add("cellar",
				coordinator.Fact{At: start, Kind: coordinator.FactWalkUp, Machine: "w1", Cycle: number, Start: start},
				coordinator.Fact{At: start.Add(time.Hour), Kind: coordinator.FactCycle, Machine: "w1", Cycle: number, Start: start, End: start.Add(59 * time.Minute), Note: "finished"},
				coordinator.Fact{At: start.Add(90 * time.Minute), Kind: coordinator.FactCollected, Machine: "w1", Cycle: number, Wait: 30 * time.Minute})
		}
	}
}

func TestCapacity(t *testing.T) {
	s, room, now := newFake(), laundry(), local("2026-11-25 12:00")
	washesDaily(s, now, 70, 8, 10, 12, 14, 16, 18)
	all, err := CapacityOf(ctx, s, room, berlin, now)
	must(t, err)
	if len(all) != 2 || all[0].Kind != queue.Washer || all[1].Kind != queue.Dryer {
		t.Fatalf("capacity of %+v", all)
	}
	w := all[0]
	if w.Machines != 1 || len(w.Answers) != 3 || w.Seen.Seen != 6*70 || w.Seen.Weeks < 9.9 || w.Seen.Weeks > 10.2 {
		t.Fatalf("the washer: %d machines, %d answers, %d seen in %.1f weeks", w.Machines, len(w.Answers), w.Seen.Seen, w.Seen.Weeks)
	}
	as, collected, more := w.Answers[0], w.Answers[1], w.Answers[2]
	if !(more.All.Mean < collected.All.Mean && collected.All.Mean < as.All.Mean) {
		t.Errorf("waits %v, collected soon %v, with one more %v", as.All.Mean, collected.All.Mean, more.All.Mean)
	}
	if as.Busy < 0.36 || as.Busy > 0.39 { // six loads of an hour and a half a day
		t.Errorf("busy %v", as.Busy)
	}
	if d := all[1]; len(d.Answers) != 0 || d.Machines != 1 {
		t.Errorf("an unused dryer: %+v", d)
	}
}

// TestCapacityCalledInTime: where others are called to an uncollected load, its
// delay counts up to that only.
func TestCapacityCalledInTime(t *testing.T) {
	s, room, now := newFake(), laundry(), local("2026-11-25 12:00")
	washesDaily(s, now, 60, 9, 13)
	room.CallAfter = 10 * time.Minute
	all, err := CapacityOf(ctx, s, room, berlin, now)
	must(t, err)
	if got := all[0].Seen.Delays[0]; got != 10*time.Minute {
		t.Errorf("a load stays for %v", got)
	}
}

func TestCapacityOfNothing(t *testing.T) {
	all, err := CapacityOf(ctx, newFake(), laundry(), berlin, local("2026-11-25 12:00"))
	if err != nil || len(all) != 2 || len(all[0].Answers) != 0 {
		t.Errorf("%+v, %v", all, err)
	}
}
