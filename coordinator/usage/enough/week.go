package enough

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"drumturn/queue"
)

// person is somebody who comes for a machine, and what their load will be like.
// The same people come in every case, so that cases differ by nothing else.
type person struct {
	at                   time.Time
	answer, cycle, delay time.Duration
}

// people draws those who come from an instant on, for so many weeks, in order.
// Within an hour they come at random (a Poisson process whose rate changes by
// the hour).
func (d *Demand) people(from time.Time, weeks int, zone *time.Location, random *rand.Rand) (all []person) {
	for at, end := from, from.AddDate(0, 0, 7*weeks); at.Before(end); at = at.Add(time.Hour) {
		local := at.In(zone)
		n := poisson(d.Arrivals[local.Weekday()][local.Hour()], random)
		first := len(all)
		for range n {
			all = append(all, person{
				at: at.Add(time.Duration(random.Float64() * float64(time.Hour))),
				// The draws stand in this order: answer, cycle, delay.
				answer: draw(d.Answers, random), cycle: draw(d.Cycles, random), delay: draw(d.Delays, random),
			})
		}
		slices.SortFunc(all[first:], func(a, b person) int { return a.at.Compare(b.at) })
	}
	return all
}

func draw(all []time.Duration, random *rand.Rand) time.Duration {
	if len(all) == 0 {
		return 0
	}
	return all[random.IntN(len(all))]
}

// poisson draws a count with a mean, by adding up exponential gaps (D. Knuth, The
// Art of Computer Programming, volume 2, 3.4.1).
func poisson(mean float64, random *rand.Rand) (n int) {
	for sum := random.ExpFloat64(); sum < mean && n < mostAnHour; sum += random.ExpFloat64() {
		n++
	}
	return n
}

const mostAnHour = 1000

// play lets the people have the machines in the order of coming, and calls fn
// with each and how long they waited for their call. That is the recursion of
// Kiefer and Wolfowitz (1955) for a line in front of several servers, with doors.
func play(all []person, c Case, doors *doors, fn func(p *person, waited time.Duration)) {
	free := make([]time.Time, c.Machines) // when each machine can be called to
	for i := range all {
		p := &all[i]
		m := 0
		for k := range free {
			if free[k].Before(free[m]) {
				m = k
			}
		}
		called := p.at
		if free[m].After(called) {
			called = free[m]
		}
		called = doors.start(called, p.answer+p.cycle)
		delay := p.delay
		if c.Collected > 0 && delay > c.Collected {
			delay = c.Collected
		}
		free[m] = called.Add(p.answer + p.cycle + delay)
		fn(p, called.Sub(p.at))
	}
}

// doors knows when a load may be started. What it found out is good until the
// next closing, for lengths that are not longer.
type doors struct {
	room   Room
	always bool
}

func newDoors(r Room) *doors {
	return &doors{room: r, always: r.Hours == queue.AlwaysOpen()}
}

// start is the first instant at or after at when a load of the length may be
// called; at itself when it never may, for such a load would block all others.
func (d *doors) start(at time.Time, length time.Duration) time.Time {
	if d.always || d.room.Hours.MayStart(at, length, d.room.Zone) {
		return at
	}
	if next := d.room.Hours.NextOpening(at, length, d.room.Zone); !next.IsZero() {
		return next
	}
	return at
}

// sample gathers waits of a class of people.
type sample []time.Duration

func (s sample) mean() time.Duration { return mean(s) }

// at is a percentile of what was gathered, which is sorted by it.
func (s sample) at(share float64) time.Duration {
	if len(s) == 0 {
		return 0
	}
	slices.Sort(s)
	return s[min(len(s)-1, int(math.Ceil(share*float64(len(s))))-1)]
}

// over is the share of waits longer than a time.
func (s sample) over(limit time.Duration) float64 {
	if len(s) == 0 {
		return 0
	}
	n := 0
	for _, d := range s {
		if d > limit {
			n++
		}
	}
	return float64(n) / float64(len(s))
}
