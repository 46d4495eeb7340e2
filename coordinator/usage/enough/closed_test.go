package enough

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// erlangC is the share of those who wait before n machines with an offered load of
// a, by Erlang's second formula (1917), term by term.
func erlangC(n int, a float64) float64 {
	sum, term := 0.0, 1.0
	for k := range n {
		sum += term
		term *= a / float64(k+1)
	}
	last := term / (1 - a/float64(n))
	return last / (sum + last)
}

// TestErlangByHand: one machine, load 0.6: C = 0.6; two with load 1: 1/3; three
// with load 2: 4/9 (by hand from the formula: 1 + 2 + 2 = 5, and 8/6/(1/3) = 4).
func TestErlangByHand(t *testing.T) {
	for _, c := range []struct {
		n       int
		a, want float64
	}{{1, 0.6, 0.6}, {2, 1, 1. / 3}, {3, 2, 4. / 9}} {
		near(t, erlangC(c.n, c.a), c.want, 1e-12)
	}
}

// TestShareWhoWait: as many find no machine free as Erlang's formula says.
func TestShareWhoWait(t *testing.T) {
	for _, c := range []struct {
		machines int
		load     float64
	}{{1, 0.6}, {2, 1}, {3, 2}} {
		d := even(c.load, exponential(time.Hour)...)
		people := d.people(begin(time.UTC), 800, time.UTC, newRandom(5))
		waited, n := 0, 0
		play(people, Case{Machines: c.machines}, newDoors(open), func(_ *person, w time.Duration) {
			n++
			if w > 0 {
				waited++
			}
		})
		near(t, float64(waited)/float64(n), erlangC(c.machines, c.load), 0.02)
	}
}

// TestPollaczekKhinchine: before one machine the mean wait is
// lambda E[S²] / 2 (1 - rho), whatever the lengths are (Pollaczek 1930, Khinchine
// 1932): here of two lengths, of an even spread, and of answers and delays besides.
func TestPollaczekKhinchine(t *testing.T) {
	spread := func(least, most int) (all []time.Duration) {
		for m := least; m <= most; m++ {
			all = append(all, time.Duration(m)*time.Minute)
		}
		return all
	}
	for name, d := range map[string]*Demand{
		"two lengths": even(0.6, 30*time.Minute, 90*time.Minute),
		"spread":      even(0.7, spread(20, 100)...),
	} {
		var first, second float64
		for _, c := range d.Cycles {
			first += c.Hours() / float64(len(d.Cycles))
			second += c.Hours() * c.Hours() / float64(len(d.Cycles))
		}
		perHour := d.Arrivals[0][0]
		a := ask(d, open, []Case{{Machines: 1}}, 1500)[0]
		want := perHour * second / (2 * (1 - perHour*first))
		near(t, a.All.Mean.Hours(), want, 1.5*a.Off.Hours())
		if a.Off.Hours() > 0.12*want {
			t.Errorf("%s: the interval of %v is too wide to prove anything", name, a.Off)
		}
	}
	// An answer of 6 minutes and a delay of 24 before and after 30 minutes are the
	// same hour as a cycle of 60.
	split := even(0.5, 30*time.Minute)
	split.Answers, split.Delays = []time.Duration{6 * time.Minute}, []time.Duration{24 * time.Minute}
	a, b := ask(split, open, []Case{{Machines: 1}}, 40)[0], ask(even(0.5, time.Hour), open, []Case{{Machines: 1}}, 40)[0]
	near(t, a.Busy, b.Busy, 1e-9)
	near(t, a.All.Mean.Hours(), b.All.Mean.Hours(), 3*(a.Off+b.Off).Hours())
}

// TestLittle: the people who wait at a time are those who come in an hour times
// how long they wait (Little 1961), counted along the time of the same play.
func TestLittle(t *testing.T) {
	d := even(1.5, exponential(time.Hour)...)
	from := begin(time.UTC)
	const weeks = 200
	people := d.people(from, weeks, time.UTC, newRandom(9))
	type change struct {
		at time.Time
		by int
	}
	var changes []change
	var sum time.Duration
	play(people, Case{Machines: 2}, newDoors(open), func(p *person, w time.Duration) {
		sum += w
		changes = append(changes, change{p.at, 1}, change{p.at.Add(w), -1})
	})
	slices.SortFunc(changes, func(a, b change) int { return a.at.Compare(b.at) })
	waiting, area, last := 0, 0.0, from
	for _, c := range changes {
		area += float64(waiting) * c.at.Sub(last).Hours()
		waiting, last = waiting+c.by, c.at
	}
	hours := float64(weeks * 7 * 24)
	perHour, each := float64(len(people))/hours, sum.Hours()/float64(len(people))
	near(t, area/hours, perHour*each, 0.001*perHour*each)
}

// TestArrivals: as many come as the week says, at the hours that it says, in local
// time also where the clocks change.
func TestArrivals(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	var d Demand
	d.Arrivals[time.Saturday][9], d.Arrivals[time.Sunday][20] = 3, 1
	d.Cycles = []time.Duration{time.Hour}
	const weeks = 520
	count := map[[2]int]float64{}
	var last time.Time
	for _, p := range d.people(begin(berlin), weeks, berlin, newRandom(7)) {
		local := p.at.In(berlin)
		count[[2]int{int(local.Weekday()), local.Hour()}]++
		if p.at.Before(last) || p.cycle != time.Hour || p.answer != 0 || p.delay != 0 {
			t.Fatalf("somebody came at %v after %v: %+v", p.at, last, p)
		}
		last = p.at
	}
	if len(count) != 2 {
		t.Fatalf("people came at %v", count)
	}
	near(t, count[[2]int{int(time.Saturday), 9}]/weeks, 3, 4*math.Sqrt(3./weeks))
	near(t, count[[2]int{int(time.Sunday), 20}]/weeks, 1, 4*math.Sqrt(1./weeks))
}

// TestPlayByHand: two machines, by hand. The first two are called at once; the
// third when the first machine is empty at 11:30, or at 11:10 where everybody
// collects within ten minutes.
func TestPlayByHand(t *testing.T) {
	day := func(hour, minute int) time.Time { return time.Date(2026, 3, 2, hour, minute, 0, 0, time.UTC) }
	people := []person{
		{at: day(10, 0), cycle: time.Hour, delay: 30 * time.Minute},
		{at: day(10, 5), answer: 5 * time.Minute, cycle: 2 * time.Hour},
		{at: day(10, 20), cycle: time.Hour},
		{at: day(12, 0), cycle: time.Hour},
	}
	for _, c := range []struct {
		is   Case
		want []time.Duration
	}{
		{Case{Machines: 2}, []time.Duration{0, 0, 70 * time.Minute, 10 * time.Minute}},
		{Case{Machines: 2, Collected: 10 * time.Minute}, []time.Duration{0, 0, 50 * time.Minute, 10 * time.Minute}},
		{Case{Machines: 3}, []time.Duration{0, 0, 0, 0}},
		{Case{Machines: 1}, []time.Duration{0, 85 * time.Minute, 195 * time.Minute, 155 * time.Minute}},
	} {
		var got []time.Duration
		play(people, c.is, newDoors(open), func(_ *person, w time.Duration) { got = append(got, w) })
		if !slices.Equal(got, c.want) {
			t.Errorf("%+v: waits %v, want %v", c.is, got, c.want)
		}
	}
}

// TestDoorsByHand: a room open from 7 to 22 in which loads must be over by then.
func TestDoorsByHand(t *testing.T) {
	var hours queue.Hours
	for d := range hours {
		hours[d] = queue.Day{Opens: 7 * 60, LastStart: queue.NoClock, EndedBy: 22 * 60}
	}
	hours[time.Sunday] = queue.Day{Opens: queue.NoClock, LastStart: queue.NoClock, EndedBy: queue.NoClock, Closed: true}
	d := newDoors(Room{Hours: hours, Zone: time.UTC})
	at := func(day, hour, minute int) time.Time { return time.Date(2026, 3, day, hour, minute, 0, 0, time.UTC) }
	for _, c := range []struct {
		at     time.Time
		length time.Duration
		want   time.Time
	}{
		{at(2, 9, 0), time.Hour, at(2, 9, 0)},
		{at(2, 21, 0), time.Hour, at(2, 21, 0)},
		{at(2, 21, 1), time.Hour, at(3, 7, 0)},
		{at(2, 3, 0), time.Hour, at(2, 7, 0)},
		{at(7, 21, 30), time.Hour, at(9, 7, 0)},    // Saturday evening; Sunday is closed
		{at(2, 9, 0), 16 * time.Hour, at(2, 9, 0)}, // fits no day: it would block all others
	} {
		if got := d.start(c.at, c.length); !got.Equal(c.want) {
			t.Errorf("%v at %v may start at %v, want %v", c.length, c.at, got, c.want)
		}
	}
}

// TestPercentiles: the 95th of a hundred is the 95th in order (the smallest that 95
// in a hundred do not exceed; common practice, no source), and shares are counted.
func TestPercentiles(t *testing.T) {
	var s sample
	for i := 100; i >= 1; i-- {
		s = append(s, time.Duration(i)*time.Minute)
	}
	if s.at(0.95) != 95*time.Minute || s.at(1) != 100*time.Minute || s.at(0.001) != time.Minute {
		t.Errorf("percentiles %v, %v, %v", s.at(0.95), s.at(1), s.at(0.001))
	}
	if s.mean() != 50*time.Minute+30*time.Second || s.over(30*time.Minute) != 0.7 || s.over(100*time.Minute) != 0 {
		t.Errorf("mean %v, over half an hour %v", s.mean(), s.over(30*time.Minute))
	}
	var none sample
	if none.mean() != 0 || none.at(0.95) != 0 || none.over(0) != 0 {
		t.Error("nobody waited for some time")
	}
}

// TestBusyByHand: 42 loads a week of 2 hours each before one machine are half of
// its 168 hours; the delay of an hour cut to a quarter makes 1.25 hours of it.
func TestBusyByHand(t *testing.T) {
	d := even(0.25, 50*time.Minute)
	d.Answers, d.Delays = []time.Duration{10 * time.Minute}, []time.Duration{30 * time.Minute, 90 * time.Minute}
	near(t, d.PerWeek(), 42, 1e-9)
	near(t, d.busy(Case{Machines: 1}), 0.5, 1e-9)
	near(t, d.busy(Case{Machines: 2}), 0.25, 1e-9)
	near(t, d.busy(Case{Machines: 1, Collected: 15 * time.Minute}), 42*1.25/168, 1e-9)
	near(t, d.busy(Case{Machines: 1, Collected: 12 * time.Hour}), 0.5, 1e-9)
}

// TestKnownFromThirty: thirty loads, a week, and somebody who came, are the least.
func TestKnownFromThirty(t *testing.T) {
	d := Demand{Cycles: make([]time.Duration, 30), Weeks: 1, Seen: 1}
	if !d.Known() {
		t.Error("thirty loads say nothing")
	}
	for name, less := range map[string]Demand{
		"a load less":  {Cycles: make([]time.Duration, 29), Weeks: 1, Seen: 1},
		"six days":     {Cycles: make([]time.Duration, 30), Weeks: 6. / 7, Seen: 1},
		"nobody comes": {Cycles: make([]time.Duration, 30), Weeks: 1},
	} {
		if less.Known() {
			t.Errorf("%s says enough", name)
		}
	}
}

// TestHistoryAnyTurns: whatever happens to turns, nobody is counted twice, no time
// is negative, and who came and who left are no more than those who joined or walked up.
func TestHistoryAnyTurns(t *testing.T) {
	kinds := []coordinator.FactKind{
		coordinator.FactJoined, coordinator.FactCalled, coordinator.FactStarted, coordinator.FactMissed, coordinator.FactTakenBack,
		coordinator.FactPassed, coordinator.FactLeft, coordinator.FactWalkUp, coordinator.FactCycle, coordinator.FactCollected, coordinator.FactClaimed,
	}
	rapid.Check(t, func(t *rapid.T) {
		var facts []coordinator.Fact
		now, came := 0.0, map[coordinator.TurnID]bool{}
		walked := 0
		for range rapid.IntRange(0, 60).Draw(t, "facts") {
			now += float64(rapid.IntRange(0, 300).Draw(t, "minutes")) / 60
			f := coordinator.Fact{
				Kind: rapid.SampledFrom(kinds).Draw(t, "kind"), At: at(now), Start: at(now - rapid.Float64Range(0, 3).Draw(t, "began")),
				Turn: coordinator.TurnID(rapid.IntRange(0, 8).Draw(t, "turn")), Machine: coordinator.MachineID(rapid.SampledFrom([]string{"w", "d", "gone"}).Draw(t, "machine")),
				Home: "12", Cycle: uint64(rapid.IntRange(1, 5).Draw(t, "cycle")), Note: rapid.SampledFrom([]string{queue.Wash.String(), queue.Dry.String(), cycle.Finished.String()}).Draw(t, "note"),
				Wait: time.Duration(rapid.IntRange(-5, 300).Draw(t, "wait")) * time.Minute,
			}
			f.End = f.At
			switch f.Kind {
			case coordinator.FactJoined, coordinator.FactCalled:
				f.Turn = coordinator.TurnID(len(facts) + 100) // a turn of its own
				came[f.Turn] = true
			case coordinator.FactWalkUp:
				walked++
			}
			facts = append(facts, f)
		}
		total := 0
		for kind, s := range tell(facts...) {
			total += s.Seen
			for _, times := range [][]time.Duration{s.Answers, s.Cycles, s.Delays} {
				for _, d := range times {
					if d < 0 {
						t.Fatalf("%v: a time of %v", kind, d)
					}
				}
			}
			near := math.Abs(s.PerWeek()*s.Weeks - float64(s.Seen))
			if near > 1e-6 || s.Left > len(came) || s.Waited.Long < 0 || s.Waited.Long > 1 {
				t.Fatalf("%v: %d came, %.3f a week of %v, %d left, %+v", kind, s.Seen, s.PerWeek(), s.Weeks, s.Left, s.Waited)
			}
		}
		if total > len(came)+walked {
			t.Fatalf("%d are counted of %d", total, len(came)+walked)
		}
	})
}
