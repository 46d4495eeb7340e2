package queue

import (
	"math"
	"testing"
	"time"
)

// closedHouse is a house of homes that come back some time after they were
// served, seen through the rounds of a forecast: every load is a turn of its own,
// asleep until the test wakes it.
type closedHouse struct {
	*play
	homes   int
	eager   float64 // rate at which an idle home comes, per mean service
	seed    uint64
	came    []time.Duration // when each turn wanted a machine
	next    []int           // of each home, how many turns it has taken
	arrived int
}

// closed makes such a house, with services of ten seconds on average.
func closed(servers, homes int, eager float64, seed uint64) *closedHouse {
	each := (warmUp+perBatch)/homes + 200 // some homes come more often than others
	line := make(Line, each*homes)
	for i := range line {
		line[i] = Turn{
			ID: TurnID(i + 1), Home: HomeID(rune('A' + i%homes)), Need: Wash, State: Waiting,
			NotBefore: noon.Add(farthest - time.Hour),
		}
	}
	supplies := make([]Supply, servers)
	for i := range supplies {
		supplies[i] = Supply{Machine: Machine{ID: MachineID(rune('a' + i)), Number: i, Kind: Washer}, Usable: true}
	}
	law := Sampled(exponential(cells, 10*time.Second), Span{})
	w := newWorld(line, supplies, nil, &Outlook{Cycle: func(Need) Spread { return law }, Seed: seed}, noon)
	w.lots.bits = 4
	return &closedHouse{play: newPlay(w), homes: homes, eager: eager, seed: seed, came: make([]time.Duration, len(line)), next: make([]int, homes)}
}

// thinks lets a home come again after a while that has no memory.
func (c *closedHouse) thinks(home int) {
	i := c.next[home]*c.homes + home
	c.next[home]++
	c.arrived++
	u := float64(mix64(c.seed<<32+uint64(i))>>11) / (1 << 53)
	c.came[i] = c.now + time.Duration(-math.Log(1-u)*10/c.eager*float64(time.Second))
	c.last += step
	c.roles[i].rank = c.last
	c.wait(i, c.came[i], false)
}

// run plays one round until enough have come, and returns the mean wait and the
// share that waited, of all but the first.
func (c *closedHouse) run(round int) (wait, delayed float64) {
	c.begin(round)
	for home := range c.homes {
		c.thinks(home)
	}
	for c.arrived < warmUp+perBatch {
		c.callReady()
		h := c.agenda.pop()
		c.now = h.at
		if h.what < 0 {
			c.wakes(-1-h.what, h.at)
			continue
		}
		home := c.stands[h.what].home
		c.opens(h.what)
		c.thinks(home)
	}
	n := 0.0
	for i, came := range c.came {
		called := c.called[i*c.w.lots.rounds()+round]
		if came == 0 || called == never || i < warmUp {
			continue
		}
		n++
		if late := time.Duration(called)*time.Millisecond - came; late > time.Millisecond {
			wait += late.Seconds() / 10
			delayed++
		}
	}
	return wait / n, delayed / n
}

// TestRoundsAgreeWithFinite: homes that come back, within the 99 % interval of 24
// independent runs, against values COMPUTED outside this project (R queueing
// 0.2.12; sums of another program agree), rates per mean service. A line that
// arrivals at random join as often would wait twice as long in the first row.
func TestRoundsAgreeWithFinite(t *testing.T) {
	for _, row := range []struct {
		servers, homes  int
		eager           float64
		wq, delayedSeen float64
	}{
		{1, 10, 0.1, 1.7320794385537415, 0.7267920561446256},
		{2, 20, 0.05, 0.2232529424933121, 0.2704885587379347},
		{3, 12, 0.2, 0.38171220492167746 / 2, 0.32007914061560183}, // services of two time units there
	} {
		var waits, shares [batches]float64
		for b := range batches {
			c := closed(row.servers, row.homes, row.eager, uint64(1000*row.servers+b))
			waits[b], shares[b] = c.run(b % c.w.lots.rounds())
		}
		wq, half := meanOf(waits[:])
		agrees(t, "mean wait", wq, half, row.wq, 0.12)
		delayed, share := meanOf(shares[:])
		agrees(t, "share delayed", delayed, share, row.delayedSeen, 0.05)
	}
}
