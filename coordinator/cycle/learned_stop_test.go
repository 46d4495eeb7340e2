package cycle

import (
	"fmt"
	"slices"
	"testing"
	"time"
)

// stoppedAt is a course that stands still for d, at 1 W, in the midst of its piece k.
func stoppedAt(c *course, k int, d time.Duration) *course {
	p := c.pieces[k]
	a, b := p, p
	a.d, b.d = p.d/2, p.d-p.d/2
	c.pieces = slices.Concat(c.pieces[:k:k], []piece{a, {d: d, on: 1}, b}, c.pieces[k+1:])
	c.end = c.end.Add(d)
	return c
}

// TestDoorOpenedWhileItDries: somebody opens the door of a dryer for five minutes and
// lets it go on: one cycle, whether the machine is known or new. No programme ends out
// of a heat, so where the machine is known its end is not even declared.
func TestDoorOpenedWhileItDries(t *testing.T) {
	for _, runs := range []int{0, 1, 5} {
		for _, meter := range []string{"1 s", "10 s", "30 s"} {
			e, g, at := New(dryer()), newProgrammes(4), t0
			for range runs {
				c := g.dry(at, 2500, 220, true)
				watchAll(e, meterKinds[meter](c))
				at = at.Add(c.length())
			}
			c := stoppedAt(g.dry(at, 2500, 220, true), 1, 5*time.Minute)
			events := watchAll(e, meterKinds[meter](c))
			got := closed(events)
			if len(got) != 1 || got[0].kind != Finished || got[0].end.Sub(c.end).Abs() > 2*time.Minute {
				t.Errorf("%d runs, %s: %+v, want one to %v", runs, meter, got, c.end)
			}
			if n := len(ends(events)); n > 1 && runs > 0 && meter != "30 s" {
				t.Errorf("%d runs, %s: declared over %d times", runs, meter, n)
			}
		}
	}
}

// TestCutOffAndStartedAnew: what starts within minutes after a heat was cut off is the
// same load, whichever programme it is; what starts after half an hour is another one.
func TestCutOffAndStartedAnew(t *testing.T) {
	for gap, want := range map[time.Duration]int{9 * time.Minute: 1, 30 * time.Minute: 2} {
		e, g, at := New(dryer()), newProgrammes(4), t0
		for range 3 {
			at = feed(t, e, g.dry(at, 2500, 220, true), 5*time.Second)
		}
		c := g.course(at)
		c.add(piece{d: 5 * time.Minute, on: 1}, piece{d: 20 * time.Minute, on: 2500}, piece{d: gap, on: 1})
		next := g.dry(at.Add(c.length()), 2500, 220, true)
		next.pieces[0].d = 0
		got := closed(watchAll(e, slices.Concat(sample(c, 5*time.Second), sample(next, 5*time.Second))))
		if len(got) != want || got[0].kind != map[int]Kind{1: Finished, 2: StoppedEarly}[want] {
			t.Errorf("after %v: %+v", gap, got)
		}
	}
}

// TestFirstLoadsBackToBack: of a machine never seen, with a bright display, a second
// load four minutes after the first is another cycle: its heat tells.
func TestFirstLoadsBackToBack(t *testing.T) {
	for _, glow := range []float64{1.5, 5, 7} {
		g := newProgrammes(5)
		g.glowW, g.glowFor = glow, 4*time.Minute
		a := g.wash(t0)
		a.pieces = a.pieces[:len(a.pieces)-1]
		b := g.wash(t0.Add(a.length()))
		b.pieces[0].d = 0
		got := closed(watchAll(New(washer()), slices.Concat(sample(a, 5*time.Second), sample(b, 5*time.Second))))
		if len(got) != 2 || got[0].end.Sub(a.end).Abs() > 2*time.Minute {
			t.Errorf("glow of %v W: %+v, want an end at %v", glow, got, a.end)
		}
	}
}

// TestWrongEndDoesNotSpeakForItself: an end that was declared must not count among
// the ends when it is asked whether it was one.
func TestWrongEndDoesNotSpeakForItself(t *testing.T) {
	for _, runs := range []int{0, 1, 4} {
		e, at := learnedWith(t, runs)
		c := newProgrammes(9).wash(at)
		k := len(c.pieces) - 10 // the tumbling between two rinses
		for c.pieces[k].offFor == 0 {
			k--
		}
		c = stoppedAt(c, k, 3*time.Minute)
		events := watchAll(e, sample(c, 10*time.Second))
		if got := closed(events); len(got) != 1 {
			t.Errorf("after %d runs: %s", runs, fmt.Sprint(got))
		}
	}
}

// TestGlowOutlivesAChangeOfLevels: that a heater takes more says nothing of the display.
func TestGlowOutlivesAChangeOfLevels(t *testing.T) {
	e, g, at := New(washer()), newProgrammes(6), t0
	g.glowW, g.glowFor = 12, 40*time.Minute
	var last *course
	for i := range 14 {
		if i == 5 {
			g.heatW, g.drumW, g.spinW = 3300, 180, 700
		}
		last = g.wash(at)
		got := ends(watchAll(e, sample(last, 30*time.Second)))
		at = at.Add(last.length())
		if i > 5 && (len(got) != 1 || got[0].end.Sub(last.end).Abs() > 2*time.Minute) {
			t.Errorf("cycle %d: %+v, want an end at %v", i, got, last.end)
		}
	}
	if e.Knowledge().Changed.IsZero() {
		t.Fatal("no change was noticed: the test does not test what it says")
	}
}
