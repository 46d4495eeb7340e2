package enough

import (
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/queue"
)

// even is a demand of so many an hour at all hours, for loads of these lengths.
func even(perHour float64, cycles ...time.Duration) *Demand {
	d := &Demand{Cycles: cycles, Weeks: 12, Seen: 100}
	for w := range d.Arrivals {
		for h := range d.Arrivals[w] {
			d.Arrivals[w][h] = perHour
		}
	}
	for len(d.Cycles) < leastCycles {
		d.Cycles = append(d.Cycles, d.Cycles...)
	}
	return d
}

// exponential are lengths that stand for the exponential law: its quantiles.
func exponential(mean time.Duration) (all []time.Duration) {
	const n = 20000
	for i := range n {
		all = append(all, time.Duration(-math.Log1p(-(float64(i)+0.5)/n)*float64(mean)))
	}
	return all
}

var open = Room{Hours: queue.AlwaysOpen(), Zone: time.UTC}

// TestAgreesWithMMc: arrivals at random and exponential lengths wait as the
// closed form says (Erlang's delay formula, itself checked in queue against
// published tables), within the confidence interval.
func TestAgreesWithMMc(t *testing.T) {
	for _, c := range []struct {
		machines      int
		perHour, each float64 // hours
	}{
		{1, 0.5, 1}, {2, 1.4, 1}, {3, 2.1, 1.1}, {5, 3.5, 1.2},
	} {
		want, err := queue.MMc(c.machines, c.perHour, 1/c.each)
		if err != nil {
			t.Fatal(err)
		}
		d := even(c.perHour, exponential(time.Duration(c.each*float64(time.Hour)))...)
		a := ask(d, open, []Case{{Machines: c.machines}}, 1200)[0]
		near(t, a.All.Mean.Hours(), want.Wq, 1.5*a.Off.Hours())
		if a.Off.Hours() > 0.1*want.Wq {
			t.Errorf("%+v: the interval of %v is too wide to prove anything", c, a.Off)
		}
		if over, ok := want.WaitOver(0.5); !ok || math.Abs(a.All.Long-over) > 0.03 {
			t.Errorf("%+v: %.3f wait half an hour, Erlang has %.3f", c, a.All.Long, over)
		}
		near(t, a.Busy, want.Busy, 0.01)
	}
}

// TestAgreesWithMD1: fixed lengths before one machine wait half as long (Pollaczek
// and Khinchine), rho/(2 mu (1-rho)).
func TestAgreesWithMD1(t *testing.T) {
	a := ask(even(0.7, time.Hour), open, []Case{{Machines: 1}}, 1200)[0]
	near(t, a.All.Mean.Hours(), 0.7/(2*0.3), 1.5*a.Off.Hours())
}

func near(t *testing.T, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("got %v, want %v within %v", got, want, tolerance)
	}
}

// TestAsksNothingOfLittle: too little history, or no machine, is said.
func TestAsksNothingOfLittle(t *testing.T) {
	d := even(1, time.Hour)
	d.Cycles = d.Cycles[:5]
	if _, err := Ask(d, open, []Case{{Machines: 2}}); err == nil || !strings.Contains(err.Error(), "5 loads") {
		t.Errorf("the error is %v", err)
	}
	if _, err := Ask(even(1, time.Hour), open, []Case{{}}); err == nil {
		t.Error("no machine is answered")
	}
}

func anyDemand(t *rapid.T) *Demand {
	minutes := func(name string, most int) (all []time.Duration) {
		for _, v := range rapid.SliceOfN(rapid.IntRange(0, most), 30, 40).Draw(t, name) {
			all = append(all, time.Duration(v)*time.Minute)
		}
		return all
	}
	d := &Demand{Weeks: 10, Seen: 1, Cycles: minutes("cycles", 150), Answers: minutes("answers", 12), Delays: minutes("delays", 200)}
	for h := 8; h < 20; h++ {
		for w := range d.Arrivals {
			d.Arrivals[w][h] = rapid.Float64Range(0, 1.5).Draw(t, "rate")
		}
	}
	return d
}

// TestMoreNeverHurts: nobody waits longer where there is one more machine, or
// where loads are collected sooner: the same people come in each case.
func TestMoreNeverHurts(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		d := anyDemand(rt)
		n := rapid.IntRange(1, 4).Draw(rt, "machines")
		all := ask(d, open, []Case{{Machines: n}, {Machines: n + 1}, {Machines: n, Collected: 15 * time.Minute}}, 3)
		for _, better := range all[1:] {
			if better.All.Mean > all[0].All.Mean || better.All.Most > all[0].All.Most || better.Busy > all[0].Busy {
				rt.Fatalf("%+v waits %v, %+v waits %v", all[0].Case, all[0].All, better.Case, better.All)
			}
		}
	})
}

// TestNobodyPasses: calls come in the order of coming, a machine is called to by
// one at a time, and nobody waits while one is free and the room open.
func TestNobodyPasses(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		d := anyDemand(rt)
		n := rapid.IntRange(1, 4).Draw(rt, "machines")
		people := d.people(begin(time.UTC), 1, time.UTC, newRandom(rapid.Uint64().Draw(rt, "seed")))
		var ends []time.Time
		last := time.Time{}
		play(people, Case{Machines: n}, newDoors(open), func(p *person, waited time.Duration) {
			called := p.at.Add(waited)
			if called.Before(last) || waited < 0 {
				rt.Fatalf("called at %v after a call at %v", called, last)
			}
			taken, before := 0, 0
			for _, e := range ends {
				if e.After(called) {
					taken++
				}
				if e.After(called.Add(-time.Nanosecond)) {
					before++
				}
			}
			if taken >= n {
				rt.Fatalf("%d machines are taken of %d", taken, n)
			}
			if waited > 0 && before < n {
				rt.Fatalf("waited %v while %d of %d machines were taken", waited, before, n)
			}
			last = called
			ends = append(ends, called.Add(p.answer+p.cycle+p.delay))
		})
	})
}

// TestDoors: nobody is called when a load would not be over in time; they wait
// for the morning.
func TestDoors(t *testing.T) {
	var hours queue.Hours
	for d := range hours {
		hours[d] = queue.Day{Opens: 7 * 60, LastStart: 20 * 60, EndedBy: 22 * 60}
	}
	room := Room{Hours: hours, Zone: time.UTC}
	d := even(0, 90*time.Minute)
	for w := range d.Arrivals {
		d.Arrivals[w][19] = 2
	}
	a := ask(d, room, []Case{{Machines: 1}}, 60)[0]
	if a.All.Mean < 4*time.Hour || a.Hours[19].People < 10 || a.Hours[18].People != 0 {
		t.Errorf("the answer is %+v", a.All)
	}
	if many := ask(d, room, []Case{{Machines: 9}}, 60)[0]; many.All.Mean > 15*time.Minute {
		t.Errorf("with nine machines they wait %v", many.All.Mean)
	}
}

// TestRepeats: the same demand gives the same answer.
func TestRepeats(t *testing.T) {
	d := even(1, time.Hour, 70*time.Minute, 30*time.Minute)
	cases := []Case{{Machines: 2}, {Machines: 3}}
	a, err := Ask(d, open, cases)
	if err != nil {
		t.Fatal(err)
	}
	b, _ := Ask(d, open, cases)
	if !reflect.DeepEqual(a, b) {
		t.Error("asked twice, answered differently")
	}
}

// TestPoisson: mean and variance of the counts are the rate.
func TestPoisson(t *testing.T) {
	random := newRandom(3)
	for _, rate := range []float64{0, 0.05, 0.8, 4} {
		var sum, squares float64
		const n = 40000
		for range n {
			v := float64(poisson(rate, random))
			sum, squares = sum+v, squares+v*v
		}
		mean := sum / n
		near(t, mean, rate, 4*math.Sqrt(rate/n)+1e-12)
		near(t, squares/n-mean*mean, rate, 0.1*rate+1e-12)
	}
}

func newRandom(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 1)) }

func BenchmarkAsk(b *testing.B) {
	d := even(1.2, 50*time.Minute, 70*time.Minute, 90*time.Minute)
	cases := []Case{{Machines: 3}, {Machines: 4}, {Machines: 2}, {Machines: 3, Collected: 15 * time.Minute}}
	for b.Loop() {
		if _, err := Ask(d, open, cases); err != nil {
			b.Fatal(err)
		}
	}
}
