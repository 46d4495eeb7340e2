package queue

import (
	"math"
	"testing"
	"time"
)

// The rounds of a forecast, fed arrivals at random, must agree with the closed
// forms and with exact values. An arrival is a turn that asks not to be called
// before it; everything else is the forecast's own course.

const (
	batches = 24
	// warmUp arrivals of each batch, which starts empty, do not count.
	warmUp, perBatch = 1_000, 6_000
	// student is the two-sided 99 % point of Student's t with 23 degrees of freedom
	// (handbook table, MEMORY).
	student = 2.807
)

// steadyRoom is a room with as many washers, so many arrivals at random that they
// are busy as given, and a service law with a mean of ten seconds.
func steadyRoom(servers int, busy float64, law Spread, seed uint64) *world {
	line := make(Line, warmUp+perBatch)
	at, gap := 0.0, 10/(busy*float64(servers))
	for i := range line {
		u := float64(mix64(seed<<32+uint64(i))>>11) / (1 << 53)
		at -= math.Log(1-u) * gap
		line[i] = Turn{ID: TurnID(i + 1), Need: Wash, State: Waiting, NotBefore: noon.Add(time.Duration(at * float64(time.Second)))}
	}
	supplies := make([]Supply, servers)
	for i := range supplies {
		supplies[i] = Supply{Machine: Machine{ID: MachineID(rune('a' + i)), Number: i, Kind: Washer}, Usable: true}
	}
	o := &Outlook{Cycle: func(Need) Spread { return law }, Seed: seed}
	w := newWorld(line, supplies, nil, o, noon)
	w.lots.bits = 4 // a batch plays one round only
	return w
}

// longRun plays as many batches and returns the mean wait, in mean services, the
// share that waits, and the 99 % half-widths of both.
func longRun(t *testing.T, servers int, busy float64, law Spread) (wq, wqHalf, delayed, delayedHalf float64) {
	var waits, shares [batches]float64
	for b := range batches {
		w := steadyRoom(servers, busy, law, uint64(1000*servers+b))
		p := newPlay(w)
		round := b % w.lots.rounds()
		p.play(round)
		for i := warmUp; i < warmUp+perBatch; i++ {
			called := p.called[i*w.lots.rounds()+round]
			if called == never {
				t.Fatal("a turn was never called")
			}
			if wait := time.Duration(called)*time.Millisecond - w.turns[i].later; wait > 0 {
				waits[b] += wait.Seconds() / 10 / perBatch
				shares[b] += 1. / perBatch
			}
		}
	}
	wq, wqHalf = meanOf(waits[:])
	delayed, delayedHalf = meanOf(shares[:])
	return wq, wqHalf, delayed, delayedHalf
}

func meanOf(list []float64) (mean, half float64) {
	n := float64(len(list))
	squares := 0.0
	for _, v := range list {
		mean += v / n
	}
	for _, v := range list {
		squares += (v - mean) * (v - mean)
	}
	return mean, student * math.Sqrt(squares/(n-1)/n)
}

// agrees fails unless got is want within the interval, which must itself be narrow
// enough to tell the models apart.
func agrees(t *testing.T, what string, got, half, want, narrow float64) {
	t.Helper()
	t.Logf("%s: %.4f +- %.4f, want %.4f", what, got, half, want)
	if math.Abs(got-want) > half {
		t.Errorf("%s is %.4f +- %.4f, want %.4f", what, got, half, want)
	}
	if half > narrow*want {
		t.Errorf("%s: the interval of +- %.4f says nothing", what, half)
	}
}

// TestRoundsAgreeWithMMc: exponential services, within the 99 % interval of 24
// independent runs of 6 000 arrivals each. The law has 1024 equally likely values,
// which makes its variance 0.6 % less than the exponential's.
func TestRoundsAgreeWithMMc(t *testing.T) {
	law := Sampled(exponential(cells, 10*time.Second), Span{})
	for _, c := range []struct {
		servers int
		busy    float64
	}{{1, 0.5}, {2, 0.5}, {3, 2. / 3}, {4, 0.75}, {8, 0.75}} {
		want := solved(t)(MMc(c.servers, c.busy*float64(c.servers), 1))
		wq, half, delayed, share := longRun(t, c.servers, c.busy, law)
		agrees(t, "mean wait", wq, half, want.Wq, 0.12)
		agrees(t, "share delayed", delayed, share, want.Delayed, 0.05)
	}
}

// TestRoundsAgreeWithMDc: fixed services against the exact values at mdc, within
// the same interval. M/M/c would be about twice as much.
func TestRoundsAgreeWithMDc(t *testing.T) {
	for _, row := range mdc {
		wq, half, delayed, share := longRun(t, row.servers, row.busy, Always(10*time.Second))
		agrees(t, "mean wait", wq, half, row.wq, 0.12)
		agrees(t, "share delayed", delayed, share, row.delayed, 0.05)
	}
}

// TestRoundsAgreeWithSimulation: services in between, lognormal of variation 0.3
// and 0.5, against simulations of 1.5 million arrivals COMPUTED outside this
// project, within both intervals together.
func TestRoundsAgreeWithSimulation(t *testing.T) {
	for _, c := range []struct {
		servers      int
		busy, cv     float64
		wq, half, pw float64
	}{
		{4, 0.75, 0.3, 0.291553191816014, 0.004954437098136372, 0.4939891891891892},
		{3, 0.7, 0.5, 0.3517244260873572, 0.005245404879930668, 0.48312094594594596},
		{8, 0.85, 0.3, 0.2748742825350893, 0.007995821135105743, 0.5548858108108108},
	} {
		wq, half, delayed, share := longRun(t, c.servers, c.busy, lognormal(c.cv))
		agrees(t, "mean wait", wq, half+c.half, c.wq, 0.18)
		agrees(t, "share delayed", delayed, share+0.005, c.pw, 0.07)
	}
}

// lognormal is a lognormal law with a mean of ten seconds, by inversion of the
// normal law (the standard library's inverse error function).
func lognormal(cv float64) Spread {
	sigma := math.Sqrt(math.Log(1 + cv*cv))
	list := make([]time.Duration, cells)
	for i := range list {
		z := math.Sqrt2 * math.Erfinv(2*share(i)-1)
		list[i] = time.Duration(10 * float64(time.Second) * math.Exp(sigma*z-sigma*sigma/2))
	}
	return Sampled(list, Span{})
}

// TestForecastPercentilesOfSums: one washer, loads one after the other: the k-th turn is
// called after k loads, whose median and spread are those of a sum of normal laws,
// k times the mean and the square root of k times the spread. With 256 rounds the
// percentiles are within a fifth of the spread.
func TestForecastPercentilesOfSums(t *testing.T) {
	normal := make([]time.Duration, cells)
	for i := range normal {
		normal[i] = time.Duration((60 + 5*math.Sqrt2*math.Erfinv(2*share(i)-1)) * float64(time.Minute))
	}
	law := Sampled(normal, Span{})
	o := &Outlook{Cycle: func(Need) Spread { return law }, Seed: 5}
	p := Forecast(waiting("wwwwwwwww"), []Supply{aWasher("1", 0)}, nil, o, noon)
	for k, g := range p.Turns {
		sd := 5 * math.Sqrt(float64(k))
		// 1.2816 is the normal law's 90 % point (handbook table).
		for _, c := range []struct {
			got  time.Duration
			want float64
		}{{g.In.Low, 60*float64(k) - 1.2816*sd}, {g.In.Median, 60 * float64(k)}, {g.In.High, 60*float64(k) + 1.2816*sd}} {
			if math.Abs(c.got.Minutes()-c.want) > 0.2*sd+0.01 {
				t.Errorf("turn %d: %.1f min, want %.1f of a spread of %.1f", k, c.got.Minutes(), c.want, sd)
			}
		}
	}
}
