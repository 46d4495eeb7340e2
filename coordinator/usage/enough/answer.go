package enough

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"
)

// Waits are how long people wait for a machine.
type Waits struct {
	// People is how many of them came in a week.
	People float64
	Mean   time.Duration
	// Most is what 95 in a hundred wait at most.
	Most time.Duration
	// Long is the share that waits longer than half an hour.
	Long float64
}

// Answer is what would be in one case.
type Answer struct {
	Case Case
	All  Waits
	// Off is half the 95 % confidence interval of All.Mean: how far chance may
	// have moved it.
	Off time.Duration
	// Hours are the waits of those who come within an hour of the day.
	Hours [24]Waits
	// Busy is the share of all time in which a machine is taken, by a call, a
	// cycle or a load that waits for its owner. Near 1 nothing helps but machines.
	Busy float64
}

const (
	// played is how many weeks are played, after one that fills the room.
	played = 104
	seed   = 20_260_101
	long   = 30 * time.Minute
)

// begin is a Monday, far from any change of the clocks.
func begin(zone *time.Location) time.Time { return time.Date(2026, 1, 5, 0, 0, 0, 0, zone) }

// Ask plays the demand in each case. The error says what is missing.
func Ask(d *Demand, room Room, cases []Case) ([]Answer, error) {
	if !d.Known() {
		return nil, fmt.Errorf("%d loads in %.0f weeks say too little: %d are needed", len(d.Cycles), d.Weeks, leastCycles)
	}
	for _, c := range cases {
		if c.Machines < 1 {
			return nil, fmt.Errorf("%d machines: nobody could wash", c.Machines)
		}
	}
	return ask(d, room, cases, played), nil
}

func ask(d *Demand, room Room, cases []Case, weeks int) []Answer {
	random := rand.New(rand.NewPCG(seed, 1))
	from := begin(room.Zone)
	people := d.people(from, weeks+1, room.Zone, random)
	doors := newDoors(room)
	counted := from.AddDate(0, 0, 7)
	answers := make([]Answer, len(cases))
	for i, c := range cases {
		t := newTally(counted, room.Zone, weeks)
		play(people, c, doors, t.add)
		answers[i] = t.answer(c)
		answers[i].Busy = d.busy(c)
	}
	return answers
}

// busy is the offered load by machine: what comes in a week, times how long it
// takes one, over all time of all machines (Little's law).
func (d *Demand) busy(c Case) float64 {
	taken := d.taken()
	if c.Collected > 0 {
		capped := Demand{Delays: make([]time.Duration, len(d.Delays))}
		for i, v := range d.Delays {
			capped.Delays[i] = min(v, c.Collected)
		}
		taken += mean(capped.Delays) - mean(d.Delays)
	}
	return d.PerWeek() * float64(taken) / float64(7*24*time.Hour) / float64(c.Machines)
}

// tally gathers what those who are counted waited.
type tally struct {
	from  time.Time
	zone  *time.Location
	weeks int
	all   sample
	hours [24]sample
	week  []sample
}

func newTally(from time.Time, zone *time.Location, weeks int) *tally {
	return &tally{from: from, zone: zone, weeks: weeks, week: make([]sample, weeks)}
}

func (t *tally) add(p *person, waited time.Duration) {
	if p.at.Before(t.from) {
		return
	}
	t.all = append(t.all, waited)
	hour := p.at.In(t.zone).Hour()
	t.hours[hour] = append(t.hours[hour], waited)
	w := min(int(p.at.Sub(t.from)/(7*24*time.Hour)), t.weeks-1)
	t.week[w] = append(t.week[w], waited)
}

func (t *tally) answer(c Case) Answer {
	a := Answer{Case: c, Off: t.off(), All: t.waits(t.all)}
	for h := range t.hours {
		a.Hours[h] = t.waits(t.hours[h])
	}
	return a
}

func (t *tally) waits(s sample) Waits {
	return Waits{People: float64(len(s)) / float64(t.weeks), Mean: s.mean(), Most: s.at(0.95), Long: s.over(long)}
}

// off is half the confidence interval of the mean, by batch means: weeks in
// groups of eight hardly depend on each other (A. Law, Simulation Modeling and
// Analysis, on batch means). 2.2 is Student's t for a dozen groups.
func (t *tally) off() time.Duration {
	const group = 8
	var sum, squares, n float64
	for w := 0; w+group <= len(t.week); w += group {
		var s sample
		for _, one := range t.week[w : w+group] {
			s = append(s, one...)
		}
		m := float64(s.mean())
		sum, squares, n = sum+m, squares+m*m, n+1
	}
	if n < 2 {
		return 0
	}
	variance := max(0, squares/n-(sum/n)*(sum/n)) * n / (n - 1)
	return time.Duration(2.2 * math.Sqrt(variance/n))
}
