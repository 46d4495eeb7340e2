package cycle

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestCadenceOfOneReading(t *testing.T) {
	var c cadence
	c.add(7 * time.Second)
	if c.Usual != 7*time.Second || c.Long != 7*time.Second {
		t.Errorf("%+v", c)
	}
}

// TestCadenceSettles: of a meter that reports evenly the distance becomes known
// from wherever the estimate was, and Long is never below Usual.
func TestCadenceSettles(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := cadence{}
		c.add(time.Duration(rapid.IntRange(1, 300).Draw(t, "first")) * time.Second)
		d := time.Duration(rapid.IntRange(1, 300).Draw(t, "s")) * time.Second
		for range 4000 {
			c.add(d)
			if c.Long < c.Usual || c.Usual <= 0 {
				t.Fatalf("%+v", c)
			}
		}
		if off := (c.Usual - d).Abs(); off > d/20 {
			t.Fatalf("%v for a meter of %v", c.Usual, d)
		}
		if c.Long > d+d/10 {
			t.Fatalf("the long distance is %v for a meter of %v", c.Long, d)
		}
	})
}

// TestCadenceBalances: Usual has as many distances above as below, Long one in twenty above.
func TestCadenceBalances(t *testing.T) {
	g := newProgrammes(4)
	var c cadence
	longer, beyond, n := 0, 0, 0
	for i := range 20000 {
		d := time.Duration((1 + 19*g.rnd.Float64()) * float64(time.Second))
		c.add(d)
		if i > 1000 {
			n++
			if d > c.Usual {
				longer++
			}
			if d > c.Long {
				beyond++
			}
		}
	}
	if share := float64(longer) / float64(n); share < 0.45 || share > 0.55 {
		t.Errorf("%.2f are longer than usual", share)
	}
	if share := float64(beyond) / float64(n); share < 0.02 || share > 0.09 {
		t.Errorf("%.2f are longer than long", share)
	}
}

func TestCadenceHolds(t *testing.T) {
	for _, c := range []struct{ long, most, want time.Duration }{
		{time.Second, 10 * time.Minute, 20 * time.Second},
		{30 * time.Second, 10 * time.Minute, 90 * time.Second},
		{5 * time.Minute, 10 * time.Minute, 10 * time.Minute},
		{time.Second, 10 * time.Second, 10 * time.Second},
		{0, 10 * time.Minute, 20 * time.Second},
	} {
		if got := (&cadence{Usual: c.long, Long: c.long}).hold(c.most); got != c.want {
			t.Errorf("%v and at most %v: held for %v, want %v", c.long, c.most, got, c.want)
		}
	}
}

// TestSteady: a meter that reports by the clock is one also when a fifth of its
// readings is lost; one that reports changes, at once or after minutes, is not.
func TestSteady(t *testing.T) {
	g := newProgrammes(6)
	var clock, changes cadence
	for i := range 3000 {
		d := 10 * time.Second
		for g.rnd.Float64() < 0.2 {
			d += 10 * time.Second
		}
		clock.add(d)
		d = 2 * time.Second
		if i%8 == 0 {
			d = time.Duration(60+g.rnd.IntN(240)) * time.Second
		}
		changes.add(d)
	}
	if got := clock.steady(); got < 9*time.Second || got > 15*time.Second {
		t.Errorf("every 10 s, with some lost: %v", got)
	}
	if got := changes.steady(); got != 0 {
		t.Errorf("on change: %v", got)
	}
	if got := new(cadence).steady(); got != 0 {
		t.Errorf("of a new meter: %v", got)
	}
}

// TestATurningDrumOnAMeterThatReportsChanges: the drum's steady 110 W are reported at
// once and then not again until they end, which is no missing reading.
func TestATurningDrumOnAMeterThatReportsChanges(t *testing.T) {
	for seed := range uint64(40) {
		k := machineKinds["cold washer"]
		c := k.course(newProgrammes(360+seed), t0)
		got := ends(watchAll(New(k.set), meterKinds["on change"](c)))
		if len(got) != 1 || got[0].end.Sub(c.end).Abs() > 2*time.Minute {
			t.Errorf("seed %d: %v, its end is at %v", 360+seed, got, c.end)
		}
	}
}
