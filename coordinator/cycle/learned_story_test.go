package cycle

import (
	"math"
	"testing"
	"time"
)

// told is a cycle as an engine told it.
type told struct {
	start, end, said time.Time
	kind             Kind
}

// ends are the cycles in a list of events, in the order in which they ended.
func ends(events []Event) (out []told) {
	for _, ev := range events {
		if ev.Kind.Ends() {
			out = append(out, told{ev.Start, ev.End, ev.At, ev.Kind})
		}
	}
	return out
}

func count(events []Event, k Kind) (n int) {
	for _, ev := range events {
		if ev.Kind == k {
			n++
		}
	}
	return n
}

// TestEveryMachineOnEveryMeter: each of six cycles in a row is found, with its
// end to within the meter's resolution and declared in time; the first, of which
// nothing is known, later than the others.
func TestEveryMachineOnEveryMeter(t *testing.T) {
	for machine, k := range machineKinds {
		for meter, read := range meterKinds {
			t.Run(machine+"/"+meter, func(t *testing.T) {
				g := newProgrammes(11)
				e := New(k.set)
				at := t0
				for n := range 6 {
					c := k.course(g, at)
					got := ends(watchAll(e, read(c)))
					at = at.Add(c.length()).Add(time.Hour)
					if len(got) != 1 {
						t.Fatalf("cycle %d: %d cycles found: %v", n, len(got), got)
					}
					o := got[0]
					if off := o.start.Sub(c.start).Abs(); off > 150*time.Second {
						t.Errorf("cycle %d: start off by %v", n, o.start.Sub(c.start))
					}
					if off := o.end.Sub(c.end); off.Abs() > 2*time.Minute {
						t.Errorf("cycle %d: end off by %v", n, off)
					}
					late := o.said.Sub(c.end)
					if most := 7 * time.Minute; late > most || n >= 4 && late > 5*time.Minute {
						t.Errorf("cycle %d: declared %v after its end", n, late)
					}
					if o.kind != Finished {
						t.Errorf("cycle %d: %v", n, o.kind)
					}
				}
			})
		}
	}
}

// TestRemainingGetsBetter: of a machine's sixth wash the end is known to within
// a tenth of its length from its start on, and to two minutes near its end.
func TestRemainingGetsBetter(t *testing.T) {
	e, at := learnedWith(t, 5)
	c := newProgrammes(99).wash(at)
	for _, r := range sample(c, 5*time.Second) {
		watchAll(e, []Reading{r})
		if r.At.Before(c.start.Add(2*time.Minute)) || !r.At.Before(c.end.Add(-time.Minute)) {
			continue
		}
		est, ok := e.Remaining(r.At)
		if !ok {
			t.Fatalf("%v after the start it does not run", r.At.Sub(c.start))
		}
		left := c.end.Sub(r.At)
		allowed := 12 * time.Minute
		if left < 15*time.Minute {
			allowed = 150 * time.Second
		}
		if off := (est.Median - left).Abs(); off > allowed {
			t.Fatalf("%v before the end it says %v", left, est.Median)
		}
		if est.About {
			t.Fatal("it has history")
		}
	}
}

func TestBeforeAnyHistoryItSaysAbout(t *testing.T) {
	e := New(washer())
	c := newProgrammes(3).wash(t0)
	rs := sample(c, 5*time.Second)
	watchAll(e, rs[:len(rs)/3])
	est, ok := e.Remaining(rs[len(rs)/3].At)
	if !ok || !est.About || est.Median < 15*time.Minute || est.High-est.Low < 10*time.Minute {
		t.Errorf("%+v, %v", est, ok)
	}
}

// TestNoJumpWithoutAPhase: the expected end moves by less than ten minutes from
// one minute to the next, unless a phase has begun in between.
func TestNoJumpWithoutAPhase(t *testing.T) {
	e := New(washer())
	g := newProgrammes(5)
	at := t0
	var before time.Time
	phases := 0
	for n := range 5 {
		g.heatW = []float64{2050, 0}[n%2]
		c := g.wash(at)
		at = at.Add(c.length())
		before = time.Time{}
		for i, r := range sample(c, 5*time.Second) {
			phases += count(watchAll(e, []Reading{r}), PhaseBegan)
			if i%12 != 0 {
				continue
			}
			est, ok := e.Remaining(r.At)
			if !ok {
				before = time.Time{}
				continue
			}
			end := r.At.Add(est.Median)
			if !before.IsZero() && phases == 0 && est.Median > 0 && end.Sub(before).Abs() > 10*time.Minute {
				t.Fatalf("at %v the end jumps by %v", r.At, end.Sub(before))
			}
			before, phases = end, 0
		}
	}
}

func TestAbortedHeatIsStoppedEarly(t *testing.T) {
	e := New(dryer())
	g := newProgrammes(1)
	at := t0
	for range 4 {
		at = feed(t, e, g.dry(at, 2500, 220, true), 5*time.Second)
	}
	c := g.course(at)
	c.add(piece{d: 5 * time.Minute, on: 1}, piece{d: 12 * time.Minute, on: 2500}, piece{d: 20 * time.Minute, on: 0})
	got := ends(watchAll(e, sample(c, 5*time.Second)))
	if len(got) != 1 || got[0].kind != StoppedEarly {
		t.Fatalf("%v", got)
	}
	if k := e.Knowledge(); k.Cycles != 5 {
		t.Errorf("%d cycles", k.Cycles)
	}
}

func TestWashWithoutItsSpinIsStoppedEarly(t *testing.T) {
	e, at := learnedWith(t, 5)
	g := newProgrammes(8)
	c := g.wash(at)
	c.pieces = append(c.pieces[:5:5], piece{d: time.Hour, on: 0}) // up to the middle of the main wash
	got := ends(watchAll(e, sample(c, 5*time.Second)))
	if len(got) != 1 || got[0].kind != StoppedEarly {
		t.Fatalf("%v", got)
	}
}

func TestSoakIsNoEnd(t *testing.T) {
	e, at := learnedWith(t, 4)
	g := newProgrammes(8)
	c := g.wash(at)
	c.pieces[4] = piece{d: 4 * time.Minute, on: 1} // a soak in place of tumbling
	c.pieces = append(c.pieces[:5:5], append([]piece{g.tumble(25 * time.Minute)}, c.pieces[5:]...)...)
	events := watchAll(e, sample(c, 5*time.Second))
	if got := ends(events); len(got) != 1 || count(events, Resumed) > 0 {
		t.Fatalf("%v", got)
	}
}

// TestBackToBack: a second load four and two minutes after the first is another
// cycle, whether the first was declared over in time or not.
func TestBackToBack(t *testing.T) {
	for _, gap := range []time.Duration{4 * time.Minute, 2 * time.Minute} {
		for _, step := range []time.Duration{5 * time.Second, 30 * time.Second} {
			e, at := learnedWith(t, 5)
			g := newProgrammes(21)
			g.glowFor = 0
			a := g.wash(at)
			a.pieces[len(a.pieces)-1] = piece{d: gap, on: 1.5}
			b := g.wash(at.Add(a.length()))
			b.pieces[0].d = 0
			events := watchAll(e, append(sample(a, step), sample(b, step)...))
			got := ends(events)
			if len(got) != 2 || count(events, Resumed) > 0 {
				t.Errorf("gap %v, step %v: %v", gap, step, got)
				continue
			}
			if off := got[0].end.Sub(a.end).Abs(); off > 2*time.Minute {
				t.Errorf("gap %v, step %v: first end off by %v", gap, step, off)
			}
		}
	}
}

// TestArtefactsAreNoCycles: single readings of 500 to 1200 W at night, and
// somebody pressing buttons.
func TestArtefactsAreNoCycles(t *testing.T) {
	e, at := learnedWith(t, 2)
	var rs []Reading
	for i := range 2000 {
		w := 2.0
		if i%97 == 50 {
			w = 500 + float64(i%8)*100
		}
		if i >= 1500 && i < 1506 {
			w = 14 // half a minute of a lit display
		}
		rs = append(rs, Power(at.Add(time.Duration(i)*5*time.Second), w))
	}
	events := watchAll(e, rs)
	if n := len(ends(events)); n > 0 {
		t.Errorf("%d cycles", n)
	}
	if s, w := count(events, Started), count(events, Withdrawn); s != w {
		t.Errorf("%d starts, %d of them withdrawn", s, w)
	}
	if e.Status().Running {
		t.Error("it runs")
	}
}

func TestShortPumpingIsWithdrawn(t *testing.T) {
	e, at := learnedWith(t, 3)
	c := newProgrammes(1).course(at)
	c.add(piece{d: 5 * time.Minute, on: 0}, piece{d: 3 * time.Minute, on: 30}, piece{d: 30 * time.Minute, on: 0})
	events := watchAll(e, sample(c, 5*time.Second))
	if count(events, Started) != 1 || count(events, Withdrawn) != 1 || len(ends(events)) != 0 {
		t.Errorf("%v", events)
	}
}

func TestHoles(t *testing.T) {
	cut := func(rs []Reading, from, to time.Time) (out []Reading) {
		for _, r := range rs {
			if r.At.Before(from) || r.At.After(to) {
				out = append(out, r)
			}
		}
		return out
	}
	for _, c := range []struct {
		name     string
		from, to time.Duration // after the start
		cycles   int
		presumed bool
	}{
		{"two minutes", 20 * time.Minute, 22 * time.Minute, 1, false},
		{"quarter of an hour", 20 * time.Minute, 35 * time.Minute, 1, false},
		{"over the end", 40 * time.Minute, 5 * time.Hour, 1, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			e, at := learnedWith(t, 4)
			w := newProgrammes(31).wash(at)
			w.add(piece{d: 5 * time.Hour, on: 0})
			events := watchAll(e, cut(sample(w, 5*time.Second), w.start.Add(c.from), w.start.Add(c.to)))
			got := ends(events)
			if len(got) != c.cycles || (got[0].kind == Presumed) != c.presumed {
				t.Fatalf("%v", got)
			}
			long := c.to-c.from >= 10*time.Minute
			// The hour between the cycles is a hole, too.
			if s, h := count(events, Silent), count(events, Heard); s != h || (s == 2) != long {
				t.Errorf("silent %d times, heard again %d times", s, h)
			}
		})
	}
}

func TestStalled(t *testing.T) {
	e, at := learnedWith(t, 3)
	g := newProgrammes(4)
	c := g.course(at)
	c.add(piece{d: 5 * time.Minute, on: 0}, piece{d: 2 * time.Minute, on: 11}, g.tumble(5*time.Hour))
	events := watchAll(e, sample(c, 10*time.Second))
	if count(events, Stalled) != 1 || !e.Status().Stalled || !e.Status().Running {
		t.Errorf("stalled %d times, %+v", count(events, Stalled), e.Status())
	}
	if est, ok := e.Remaining(at.Add(5 * time.Hour)); !ok || est.Median < 0 || est.High < est.Median {
		t.Errorf("%+v", est)
	}
}

func TestFailedReadsAreUnknown(t *testing.T) {
	e := New(washer())
	c := newProgrammes(6).wash(t0)
	rs := sample(c, 5*time.Second)
	for i := range rs {
		if i%3 == 1 {
			rs[i].Watts = math.NaN()
		}
		if i%50 == 2 {
			rs[i].Watts = math.Inf(1)
		}
	}
	got := ends(watchAll(e, rs))
	if len(got) != 1 || got[0].end.Sub(c.end).Abs() > time.Minute {
		t.Errorf("%v", got)
	}
}

// TestTurnsAgainstCreasesAfterAWash: half an hour of them is after the end, while
// the two minutes of loosening turns in any wash belong to it.
func TestTurnsAgainstCreasesAfterAWash(t *testing.T) {
	e := New(washer())
	g := newProgrammes(12)
	at := t0
	for n := range 4 {
		c := g.wash(at)
		last := len(c.pieces) - 3 // the loosening turns
		c.pieces[last] = piece{d: 30 * time.Minute, on: 3, off: 90, onFor: 50 * time.Second, offFor: 10 * time.Second}
		var d time.Duration
		for _, p := range c.pieces[:last] {
			d += p.d
		}
		events := watchAll(e, sample(c, 5*time.Second))
		got := ends(events)
		at = at.Add(c.length())
		if len(got) != 1 || count(events, Started) != 1 {
			t.Fatalf("wash %d: %v", n, got)
		}
		if off := got[0].end.Sub(c.from.Add(d)); off > 90*time.Second || off < -2*time.Minute {
			t.Errorf("wash %d: end off by %v", n, off)
		}
	}
}
