package cycle

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestPausesLearn(t *testing.T) {
	h := habitOf(washer())
	end := place{Near: 0.95, After: true}
	var p pauses
	before := p.need(0.02, end, h, 1)
	for range 10 {
		for range 30 {
			p.add(8*time.Second, place{})
		}
		p.add(40*time.Second, end)
		p.ended()
	}
	after := p.need(0.02, end, h, 1)
	if after <= 40*time.Second || after >= before {
		t.Errorf("with a pause of 40 s before each end: %v, and %v before anything was known", after, before)
	}
	if away := p.need(0.02, place{}, h, 1); away < 2*after {
		t.Errorf("away from the end %v, at it %v", away, after)
	}
	p.add(200*time.Second, end)
	longer := p.need(0.02, end, h, 1)
	p.forget(200*time.Second, end)
	if longer <= after || p.need(0.02, end, h, 1) != after {
		t.Errorf("a pause of 200 s: %v; taken back: %v", longer, p.need(0.02, end, h, 1))
	}
}

// TestPausesAreOrderly: the chance that a lull goes on falls with its length, and
// less doubt takes longer.
func TestPausesAreOrderly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var p pauses
		s := washer()
		s.Washer = rapid.Bool().Draw(t, "washer")
		s.Dryer = !s.Washer
		h := habitOf(s)
		h.cadence = time.Duration(rapid.IntRange(1, 60).Draw(t, "cadence")) * time.Second
		at := place{Near: rapid.Float64Range(0, 1).Draw(t, "near"), After: rapid.Bool().Draw(t, "after")}
		for range rapid.IntRange(0, 60).Draw(t, "pauses") {
			p.add(time.Duration(rapid.IntRange(1, 300).Draw(t, "s"))*time.Second, place{Near: rapid.Float64Range(0, 1).Draw(t, "n")})
			if rapid.IntRange(0, 9).Draw(t, "end") == 0 {
				p.ended()
			}
		}
		last := 1.0
		for d := 10 * time.Second; d < 30*time.Minute; d += 20 * time.Second {
			v := p.goesOn(d, at, h, 1)
			if v < 0 || v > 1 || v > last+1e-9 {
				t.Fatalf("after %v: %v, before %v", d, v, last)
			}
			last = v
		}
		if sure, quick := p.need(0.02, at, h, 1), p.need(0.2, at, h, 1); sure < quick {
			t.Fatalf("2 %% takes %v, 20 %% takes %v", sure, quick)
		}
	})
}

func TestPauseBins(t *testing.T) {
	if pauseBin(0) != 0 || pauseBin(pauseLeast-1) != 0 || pauseBin(pauseLeast) != 0 || pauseBin(100*time.Hour) != pauseBins-1 {
		t.Error("the ends of the scale")
	}
	last := 0
	for d := pauseLeast; d < time.Hour; d += time.Second {
		b := pauseBin(d)
		if b < last || b > last+1 {
			t.Fatalf("%v is in bin %d after %d", d, b, last)
		}
		last = b
	}
	var p pauses
	p.add(pauseLeast-1, place{})
	if p != (pauses{}) {
		t.Errorf("a stop of less than %v is counted: %+v", pauseLeast, p)
	}
}

// TestPausesForget: what is taken back was never there.
func TestPausesForget(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var p pauses
		draw := func() (time.Duration, place) {
			return time.Duration(rapid.IntRange(1, 900).Draw(t, "s")) * time.Second,
				place{Near: rapid.Float64Range(0, 1).Draw(t, "near"), After: rapid.Bool().Draw(t, "after")}
		}
		for range rapid.IntRange(0, 20).Draw(t, "pauses") {
			p.add(draw())
		}
		before := p
		d, at := draw()
		p.add(d, at)
		p.forget(d, at)
		if p != before {
			t.Fatalf("%+v, before %+v", p, before)
		}
		if sum := p.Away + p.After + p.Close; math.Abs(sum-tail(&p.Seen, 0)) > 1e-9 {
			t.Fatalf("%v pauses by place, %v by length", sum, tail(&p.Seen, 0))
		}
	})
}

func TestPausesByPlace(t *testing.T) {
	var p pauses
	p.add(time.Minute, place{Near: 0.5})
	p.add(time.Minute, place{Near: 0.6, After: true})
	p.add(time.Minute, place{After: true})
	p.add(time.Minute, place{Near: 0.49})
	if p.Close != 2 || p.After != 1 || p.Away != 1 || tail(&p.Near, 0) != 2 || p.Sum != 240 {
		t.Errorf("%+v", p)
	}
	p.ended()
	if p.Cycles != 1 || p.Close >= 2 || p.Close < 1.9 || p.Sum >= 240 {
		t.Errorf("after a cycle: %+v", p)
	}
	for range 1000 {
		p.ended()
	}
	if p.Cycles > 34 || p.Sum > 1e-6 {
		t.Errorf("after a thousand cycles without a pause: %+v", p)
	}
}

func TestTail(t *testing.T) {
	var p pauses
	for _, s := range []int{10, 20, 40, 80} {
		p.add(time.Duration(s)*time.Second, place{})
	}
	for _, c := range []struct {
		d    time.Duration
		want float64
	}{{0, 4}, {15 * time.Second, 3}, {60 * time.Second, 1}, {2 * time.Minute, 0}} {
		if got := tail(&p.Seen, c.d); got != c.want {
			t.Errorf("%v lasted %v and more, want %v", got, c.d, c.want)
		}
	}
}

// TestUsualPauses: the tail of a kind of machine begins at one and falls.
func TestUsualPauses(t *testing.T) {
	for _, s := range []Settings{washer(), dryer()} {
		h := habitOf(s)
		last := 1.0
		if h.usual(0) != 1 || h.usual(pauseLeast) != 1 {
			t.Error("all pauses last as long as the shortest")
		}
		for d := pauseLeast + time.Second; d < time.Hour; d += 7 * time.Second {
			v := h.usual(d)
			if v <= 0 || v >= last {
				t.Fatalf("after %v: %v, before %v", d, v, last)
			}
			last = v
		}
	}
}

// TestPlaceTells: where the end is expected, a lull is sooner taken for it; where
// pauses of its length are usual, later; and less doubt never takes less time.
func TestPlaceTells(t *testing.T) {
	h := habitOf(washer())
	var p pauses
	for range 20 {
		for range 10 {
			p.add(12*time.Second, place{})
		}
		p.ended()
	}
	if on, near := p.goesOn(time.Minute, place{}, h, 1), p.goesOn(time.Minute, place{Near: 0.95, After: true}, h, 1); on < 2*near {
		t.Errorf("goes on with %v far from the end, with %v near it", on, near)
	}
	long := p
	for range 20 {
		long.add(3*time.Minute, place{})
	}
	if a, b := long.goesOn(2*time.Minute, place{}, h, 1), p.goesOn(2*time.Minute, place{}, h, 1); a <= b {
		t.Errorf("with pauses of 3 minutes %v, without %v", a, b)
	}
	last := time.Duration(0)
	for _, doubt := range []float64{0.2, 0.1, 0.05, 0.02, 0.001, 0} {
		n := p.need(doubt, place{Near: 0.9, After: true}, h, 1)
		if n < last || n < pauseLeast || n > needMost+time.Second {
			t.Errorf("doubt %v: %v, after %v", doubt, n, last)
		}
		last = n
	}
}

// TestSlowMetersSeeLongerRests: a meter that looks every 30 s sees a turning drum
// at rest by chance, so there the same lull says less.
func TestSlowMetersSeeLongerRests(t *testing.T) {
	var p pauses
	for range 50 {
		p.add(40*time.Second, place{})
	}
	quick, slow := habitOf(washer()), habitOf(washer())
	quick.cadence, slow.cadence = 5*time.Second, 30*time.Second
	seen := tail(&p.Seen, pauseLeast)
	if a, b := p.drawn(3*time.Minute, seen, quick), p.drawn(3*time.Minute, seen, slow); a <= 0 || a >= 1 || a == b {
		t.Errorf("longer than 3 minutes: %v for a quick meter, %v for a slow one", a, b)
	}
}
