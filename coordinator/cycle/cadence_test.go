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
