package enough

import (
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// TestIntervalByHand: batch means of eight weeks each. Of the means 10 and 20 minutes the
// variance is 50, so that half the interval is 2.2 sqrt(50/2) = 11 minutes; of 10, 20 and
// 30 it is 100, and half the interval 2.2 sqrt(100/3) = 12.702 minutes.
func TestIntervalByHand(t *testing.T) {
	for _, c := range []struct {
		weeks []int // minutes waited in each group of eight weeks
		more  int   // weeks beyond them
		want  float64
	}{
		{nil, 0, 0}, {[]int{10}, 7, 0}, {[]int{10, 20}, 0, 11}, {[]int{10, 20}, 7, 11}, {[]int{10, 20, 30}, 0, 12.70171}, {[]int{15, 15, 15}, 0, 0},
	} {
		ta := newTally(monday, time.UTC, 8*len(c.weeks)+c.more)
		for g, minutes := range c.weeks {
			for w := range 8 {
				p := person{at: monday.AddDate(0, 0, 7*(8*g+w))}
				ta.add(&p, time.Duration(minutes-2)*time.Minute)
				ta.add(&p, time.Duration(minutes+2)*time.Minute)
			}
		}
		near(t, ta.off().Minutes(), c.want, 1e-4)
	}
}

// TestWhoIsCounted: those who come from the first counted week on, at their local hour; a
// wait of half an hour is not a long one.
func TestWhoIsCounted(t *testing.T) {
	zone := time.FixedZone("", 3600)
	ta := newTally(monday, zone, 4)
	for _, c := range []struct {
		at     float64 // hours after Monday, UTC
		waited time.Duration
	}{{-0.001, time.Hour}, {0, 30 * time.Minute}, {8.99, 30*time.Minute + 1}, {9, 0}, {4 * 7 * 24, 2 * time.Hour}} {
		ta.add(&person{at: at(c.at)}, c.waited)
	}
	a := ta.answer(Case{Machines: 3})
	if a.Case.Machines != 3 || a.All.People != 1 || a.All.Most != 2*time.Hour || a.All.Long != 0.5 || a.All.Mean != 45*time.Minute {
		t.Errorf("all are %+v", a.All)
	}
	if h := a.Hours[9]; h.People != 0.25 || h.Mean != 30*time.Minute+1 || h.Long != 1 {
		t.Errorf("from nine to ten: %+v", h)
	}
	if a.Hours[1].People != 0.5 || a.Hours[10].People != 0.25 || a.Hours[0].People != 0 {
		t.Errorf("from midnight: %+v, %+v", a.Hours[0], a.Hours[1])
	}
	if last := len(ta.week[3]); last != 1 {
		t.Errorf("%d are of the last week", last)
	}
}

// TestWhatCannotBeAsked says what is missing.
func TestWhatCannotBeAsked(t *testing.T) {
	few := Demand{Cycles: make([]time.Duration, 12), Weeks: 2, Seen: 12}
	if _, err := Ask(&few, open, []Case{{Machines: 1}}); err == nil || err.Error() != "12 loads in 2 weeks say too little: 30 are needed" {
		t.Errorf("of few loads: %v", err)
	}
	d := even(0.5, time.Hour)
	d.Cycles = make([]time.Duration, 30)
	d.Weeks, d.Seen = 4, 50
	if _, err := Ask(d, open, []Case{{Machines: 2}, {Machines: 0}}); err == nil || err.Error() != "0 machines: nobody could wash" {
		t.Errorf("of no machine: %v", err)
	}
	if a, err := Ask(d, open, []Case{{Machines: 2}, {Machines: 1}}); err != nil || len(a) != 2 || a[0].Case.Machines != 2 || a[1].Case.Machines != 1 {
		t.Errorf("%+v, %v", a, err)
	}
}

// TestDrawsByHand: nobody comes where nobody does; what was never seen takes no time; and
// no more than a thousand come in an hour.
func TestDrawsByHand(t *testing.T) {
	random := newRandom(3)
	if poisson(0, random) != 0 || draw(nil, random) != 0 || draw([]time.Duration{7}, random) != 7 {
		t.Error("something is drawn of nothing")
	}
	if n := poisson(5000, random); n != 1000 {
		t.Errorf("%d come in an hour", n)
	}
	seen := map[time.Duration]int{}
	for range 3000 {
		seen[draw([]time.Duration{1, 2, 3}, random)]++
	}
	for v := time.Duration(1); v <= 3; v++ {
		near(t, float64(seen[v])/3000, 1./3, 0.04)
	}
}

// TestHistoryAtItsBorders: what began before the history is not counted as coming, but a
// call that is answered in it is; who was called once is not one who left.
func TestHistoryAtItsBorders(t *testing.T) {
	for name, c := range map[string]struct {
		facts              []coordinator.Fact
		came, left         int
		answers, ends, del []float64 // hours
	}{
		"joined before, called in it":     {facts: []coordinator.Fact{called(1, 1, "w", -2), started(1.5, 1, "w", 1)}, answers: []float64{0.5}},
		"joined as it begins":             {facts: []coordinator.Fact{called(1, 1, "w", 0), started(1, 1, "w", 1)}, came: 1, answers: []float64{0}},
		"a walk-up before":                {facts: []coordinator.Fact{{Kind: coordinator.FactWalkUp, At: at(0), Start: at(-0.1), Machine: "w"}}},
		"called, then left":               {facts: []coordinator.Fact{joined(1, 1, queue.Wash), called(2, 1, "w", 1), {Kind: coordinator.FactLeft, At: at(3), Turn: 1}}, came: 1},
		"left, of those unknown":          {facts: []coordinator.Fact{{Kind: coordinator.FactLeft, At: at(3), Turn: 1}}},
		"left, then called all the same":  {facts: []coordinator.Fact{joined(1, 1, queue.Wash), {Kind: coordinator.FactLeft, At: at(2), Turn: 1}, {Kind: coordinator.FactLeft, At: at(2), Turn: 1}}, left: 1},
		"passed, and called again":        {facts: []coordinator.Fact{joined(1, 1, queue.Wash), called(2, 1, "w", 1), {Kind: coordinator.FactPassed, At: at(2.25), Turn: 1}, called(4, 1, "w", 1), started(4.25, 1, "w", 1)}, came: 1, answers: []float64{0.5}},
		"taken back, and called again":    {facts: []coordinator.Fact{joined(1, 1, queue.Wash), called(2, 1, "w", 1), {Kind: coordinator.FactTakenBack, At: at(2.5), Turn: 1}, called(4, 1, "w", 1), started(4, 1, "w", 1)}, came: 1, answers: []float64{0.5}},
		"started after its call was over": {facts: []coordinator.Fact{joined(1, 1, queue.Wash), called(2, 1, "w", 1), {Kind: coordinator.FactMissed, At: at(2.5), Turn: 1}, started(3, 1, "w", 1)}, came: 1},
		"started before it was called":    {facts: []coordinator.Fact{joined(1, 1, queue.Wash), called(2, 1, "w", 1), {Kind: coordinator.FactStarted, At: at(2), Start: at(1.9), Turn: 1, Machine: "w"}}, came: 1},
		"started twice":                   {facts: []coordinator.Fact{joined(1, 1, queue.Wash), called(2, 1, "w", 1), started(2.5, 1, "w", 1), started(3, 1, "w", 2)}, came: 1, answers: []float64{0.5}},
		"told of as it starts":            {facts: []coordinator.Fact{{Kind: coordinator.FactCycle, At: at(3), Start: at(3), Machine: "w", Cycle: 1, Note: cycle.Finished.String()}}},
		"stopped early":                   {facts: []coordinator.Fact{ended(3, 3.5, "w", 1, cycle.StoppedEarly)}, ends: []float64{0.5}},
		"in the order of length":          {facts: []coordinator.Fact{ended(3, 5, "w", 1, cycle.Finished), ended(6, 7, "w", 2, cycle.Finished), ended(8, 9.5, "w", 3, cycle.Finished)}, ends: []float64{1, 1.5, 2}},
		"collected at once, and late": {facts: []coordinator.Fact{{Kind: coordinator.FactCollected, At: at(3), Machine: "w", Wait: -time.Minute}, {Kind: coordinator.FactCollected, At: at(3), Machine: "w", Wait: 20 * time.Minute},
			{Kind: coordinator.FactCollected, At: at(3), Machine: "w", Wait: 21 * time.Minute}}, del: []float64{0, 1. / 3, 1. / 3}},
	} {
		w := tell(c.facts...)[queue.Washer]
		if w == nil {
			w = &Seen{}
		}
		if w.Seen != c.came || w.Left != c.left {
			t.Errorf("%s: %d came, %d left; want %d, %d", name, w.Seen, w.Left, c.came, c.left)
		}
		wantTimes(t, name+": answers", w.Answers, c.answers...)
		wantTimes(t, name+": cycles", w.Cycles, c.ends...)
		wantTimes(t, name+": delays", w.Delays, c.del...)
	}
}

// TestWhichWashADryerIsFor: the newest of the home that was over after joining and by the
// call; else the wait counts from joining.
func TestWhichWashADryerIsFor(t *testing.T) {
	wash := func(number uint64, over float64) []coordinator.Fact {
		return []coordinator.Fact{{Kind: coordinator.FactClaimed, At: at(over - 1), Machine: "w", Cycle: number, Home: "12"}, ended(over-1, over, "w", number, cycle.Finished)}
	}
	for _, c := range []struct {
		over []float64 // when washes were over; joined at 10, called at 14
		want float64   // hours waited
	}{
		{nil, 4}, {[]float64{12}, 2}, {[]float64{11, 13}, 1}, {[]float64{10}, 4}, {[]float64{9}, 4}, {[]float64{14}, 0}, {[]float64{9, 13.5}, 0.5},
	} {
		facts := []coordinator.Fact{joined(10, 2, queue.Dry)}
		for i, over := range c.over {
			facts = append(facts, wash(uint64(i+1), over)...)
		}
		facts = append(facts, called(14, 2, "d", 10))
		if got := tell(facts...)[queue.Dryer].Waited.Mean.Hours(); got != c.want {
			t.Errorf("washes over at %v: waited %v hours, want %v", c.over, got, c.want)
		}
	}
	// Who left is counted for the kind that they joined for; a turn for either is one for
	// a washer-dryer.
	seen := tell(joined(1, 1, queue.Dry), joined(1, 2, queue.WashAndDry), coordinator.Fact{Kind: coordinator.FactLeft, At: at(2), Turn: 1}, coordinator.Fact{Kind: coordinator.FactLeft, At: at(2), Turn: 2})
	if seen[queue.Dryer].Left != 1 || seen[queue.WasherDryer].Left != 1 || seen[queue.Washer] != nil {
		t.Errorf("left are %+v", seen)
	}
}

// TestWaitedByHand: twenty turns that waited 1 to 20 times three minutes: the mean is
// 31.5 minutes, 95 in a hundred waited up to 57, ten of twenty longer than half an hour.
func TestWaitedByHand(t *testing.T) {
	var facts []coordinator.Fact
	for i := range 20 {
		h := 10 + float64(i)
		facts = append(facts, called(h, coordinator.TurnID(i+1), "w", h-0.05*float64(i+1)))
	}
	got := tell(facts...)[queue.Washer].Waited
	if got.People != 10 || (got.Mean-31*time.Minute-30*time.Second).Abs() > time.Second || (got.Most-57*time.Minute).Abs() > time.Second || got.Long != 0.5 {
		t.Errorf("waited %+v", got)
	}
}

// TestWashesDoNotWaitForWashes: a turn at a washer waits from joining, whatever else of
// the home was over meanwhile; nor does a dryer wait for a dryer.
func TestWashesDoNotWaitForWashes(t *testing.T) {
	claimed := coordinator.Fact{Kind: coordinator.FactClaimed, At: at(11), Machine: "w", Cycle: 1, Home: "12"}
	wash := tell(joined(10, 2, queue.Wash), claimed, ended(11, 12, "w", 1, cycle.Finished), called(14, 2, "w", 10))
	if got := wash[queue.Washer].Waited.Mean; got != 4*time.Hour {
		t.Errorf("a wash waited %v", got)
	}
	claimed.Machine = "d"
	dry := tell(joined(10, 2, queue.Dry), claimed, ended(11, 12, "d", 1, cycle.Finished), called(14, 2, "d", 10))
	if got := dry[queue.Dryer].Waited.Mean; got != 4*time.Hour {
		t.Errorf("a dryer waited %v", got)
	}
}

// TestLoadsMustFit: what is to be over by the evening are the answer and the cycle: of an
// hour from 21:00 both in one, before 22:00, and the next one in the morning.
func TestLoadsMustFit(t *testing.T) {
	var hours queue.Hours
	for d := range hours {
		hours[d] = queue.Day{Opens: 7 * 60, LastStart: queue.NoClock, EndedBy: 22 * 60}
	}
	var got []time.Duration
	people := []person{{at: at(21), answer: 10 * time.Minute, cycle: 50 * time.Minute}, {at: at(24 + 21), answer: 11 * time.Minute, cycle: 50 * time.Minute}}
	play(people, Case{Machines: 1}, newDoors(Room{Hours: hours, Zone: time.UTC}), func(_ *person, w time.Duration) { got = append(got, w) })
	if len(got) != 2 || got[0] != 0 || got[1] != 10*time.Hour {
		t.Errorf("waited %v", got)
	}
}
