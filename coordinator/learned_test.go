package coordinator

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// minutes are so many minutes each.
func minutes(list ...int) []time.Duration {
	var out []time.Duration
	for _, m := range list {
		out = append(out, time.Duration(m)*time.Minute)
	}
	return out
}

// TestQuantiles: below three values the prior with its wide span stands; from
// three on only what was seen counts, in whatever order it came.
func TestQuantiles(t *testing.T) {
	eleven := minutes(70, 10, 100, 30, 50, 90, 20, 110, 40, 80, 60)
	for _, c := range []struct {
		name              string
		list              []time.Duration
		low, median, high int
	}{
		{"nothing seen", nil, 60, 100, 160},
		{"two seen", minutes(30, 30), 60, 100, 160},
		{"three seen", minutes(50, 30, 40), 30, 40, 40},
		{"all the same", minutes(45, 45, 45, 45), 45, 45, 45},
		// Hyndman and Fan, Sample Quantiles in Statistical Packages (1996), definition
		// 7: rank p(n-1)+1, which is whole here, so nothing is interpolated (from memory).
		{"eleven seen", eleven, 20, 60, 100},
	} {
		t.Run(c.name, func(t *testing.T) {
			before := slices.Clone(c.list)
			got := (&learned{}).quantiles(c.list, 100*time.Minute)
			want := queue.Span{Low: minutes(c.low)[0], Median: minutes(c.median)[0], High: minutes(c.high)[0]}
			if got != want {
				t.Errorf("the span is %v, want %v", got, want)
			}
			if !slices.Equal(before, c.list) {
				t.Error("the list was put in another order: the oldest is no longer first")
			}
		})
	}
}

// TestQuantilesAreOrdered and are values that were seen.
func TestQuantilesAreOrdered(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		list := minutes(rapid.SliceOfN(rapid.IntRange(1, 400), 3, remembered).Draw(rt, "lengths")...)
		got := (&learned{}).quantiles(list, priorWash)
		if got.Low > got.Median || got.Median > got.High {
			rt.Fatalf("out of order: %v", got)
		}
		below := 0
		for _, d := range list {
			if d < got.Median {
				below++
			}
		}
		if below > len(list)/2 {
			rt.Fatalf("%d of %d are below the median %s", below, len(list), got.Median)
		}
		for _, q := range []time.Duration{got.Low, got.Median, got.High} {
			if !slices.Contains(list, q) {
				rt.Fatalf("%s was never seen in %v", q, list)
			}
		}
	})
}

// TestRemember keeps the newest, oldest first, and never more than its bound.
func TestRemember(t *testing.T) {
	var list []time.Duration
	for n := 1; n <= 3*remembered; n++ {
		list = remember(list, time.Duration(n))
		if len(list) != min(n, remembered) || list[len(list)-1] != time.Duration(n) {
			t.Fatalf("after %d values %d are kept, the last is %d", n, len(list), list[len(list)-1])
		}
	}
	if list[0] != 2*remembered+1 || !slices.IsSorted(list) {
		t.Fatalf("the oldest kept is %d, want %d", list[0], 2*remembered+1)
	}
	overfull := make([]time.Duration, remembered+7)
	if got := remember(overfull, 9); len(got) != remembered || got[remembered-1] != 9 {
		t.Fatalf("of a list that was too long, %d are kept", len(got))
	}
}

// TestPriorsByNeed: each kind of machine and each need has its own list and its own prior.
func TestPriorsByNeed(t *testing.T) {
	l := &learned{}
	for kind, need := range map[queue.Kind]queue.Need{queue.Washer: queue.Wash, queue.Dryer: queue.Dry, queue.WasherDryer: queue.WashAndDry} {
		if l.machine(kind) != l.typical(need) {
			t.Errorf("a %s takes %s, a %s %s", kind, l.machine(kind), need, l.typical(need))
		}
	}
	if l.typical(queue.Wash) != priorWash || l.typical(queue.Dry) != priorDry || l.typical(queue.WashAndDry) != priorCombined {
		t.Errorf("the priors are %s, %s, %s", l.typical(queue.Wash), l.typical(queue.Dry), l.typical(queue.WashAndDry))
	}
	l.Dries = minutes(50, 50, 50)
	if l.typical(queue.Dry) != 50*time.Minute || l.machine(queue.Dryer) != 50*time.Minute {
		t.Errorf("after three dries of 50 minutes a dry takes %s", l.typical(queue.Dry))
	}
	if l.typical(queue.Wash) != priorWash || l.machine(queue.WasherDryer) != priorCombined {
		t.Error("dries changed what a wash takes")
	}
}

// TestWhatCountsAsALength: only a cycle that was seen to run to its end.
func TestWhatCountsAsALength(t *testing.T) {
	for kind, counts := range map[cycle.Kind]bool{
		cycle.Finished: true, cycle.StoppedEarly: false, cycle.Presumed: false, cycle.Started: false, cycle.Resumed: false,
	} {
		for i, id := range []MachineID{"w1", "w2", "d3"} {
			r := NewRoom(testPlan(), newPlain)
			r.learnLength(i, cycle.Event{Kind: kind, Start: noon, End: noon.Add(47 * time.Minute)})
			l := &r.state.Learned
			list, others := l.Washes, len(l.Dries)+len(l.Combined)+len(l.Delays)
			if id == "d3" {
				list, others = l.Dries, len(l.Washes)+len(l.Combined)+len(l.Delays)
			}
			if others != 0 || (len(list) == 1) != counts || (counts && list[0] != 47*time.Minute) {
				t.Errorf("%s on %s: learned %v, and %d of other sorts", kind, id, list, others)
			}
		}
	}
}

// TestByHandTeachesNothing: a cycle that ended because it usually does would
// only confirm the room in what it believes.
func TestByHandTeachesNothing(t *testing.T) {
	s := newScene(t, oneWasher)
	s.do(ByHand{Machine: "w1", On: true})
	for range 4 {
		s.do(StartByHand{Machine: "w1", Person: "anna", Home: "home-anna"})
		s.now = s.now.Add(20 * time.Minute)
		s.do(EndByHand{Machine: "w1"})
		s.do(Collect{Machine: "w1", Person: "anna", Home: "home-anna"})
	}
	if n := len(s.room.state.Learned.Washes); n != 0 {
		t.Fatalf("%d lengths were learned from taps", n)
	}
}

// TestDelaysAreBounded: a load that was forgotten for a day says nothing about
// what the next in the queue must wait for.
func TestDelaysAreBounded(t *testing.T) {
	var l learned
	for _, d := range []time.Duration{0, 5 * time.Minute, 2 * time.Hour, 2*time.Hour + 1, 26 * time.Hour} {
		l.collected(d)
	}
	want := []time.Duration{0, 5 * time.Minute, 2 * time.Hour, 2 * time.Hour, 2 * time.Hour}
	if !slices.Equal(l.Delays, want) {
		t.Fatalf("learned %v, want %v", l.Delays, want)
	}
}

// TestLearningThroughTheRoom: after three washes of half an hour the room
// expects the next to take that long, by hand and for closing time.
func TestLearningThroughTheRoom(t *testing.T) {
	s := newScene(t, func(p *Plan) {
		oneWasher(p)
		for i := range p.Seed.Hours {
			p.Seed.Hours[i] = queue.Day{Opens: queue.NoClock, LastStart: queue.NoClock, EndedBy: 15*60 + 30}
		}
	})
	for range 3 {
		s.cycle("w1", 30*time.Minute)
		s.wait(4 * time.Minute)
		s.do(Collect{Machine: "w1"})
		s.wait(6 * time.Minute)
	}
	if d := s.room.state.Learned.Delays; len(d) != 3 || d[0].Round(time.Minute) != 4*time.Minute {
		t.Fatalf("the delays learned are %v, want three of 4 minutes", d)
	}
	s.now = noon.Add(2*time.Hour + 45*time.Minute) // 14:45: 75 minutes would end at 16:00
	s.idle()
	s.join("anna", queue.Wash)
	s.wantTold(TurnCalled, "anna")
	s.do(ByHand{Machine: "w1", On: true})
	s.do(StartByHand{Machine: "w1", Person: "anna", Home: "home-anna"})
	if v := s.room.Snapshot(s.now).Machine("w1"); v.Until.Sub(s.now).Round(time.Minute) != 30*time.Minute {
		t.Fatalf("by hand it is expected to end in %s", v.Until.Sub(s.now))
	}
}
