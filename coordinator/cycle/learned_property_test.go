package cycle

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// drawCourses draws a machine and some of its cycles, read every few seconds.
func drawCourses(t *rapid.T) (Settings, []Reading, []*course) {
	names := []string{"washer", "cold washer", "glow of 7 W", "condenser dryer", "heat pump", "gas dryer"}
	k := machineKinds[rapid.SampledFrom(names).Draw(t, "machine")]
	g := newProgrammes(rapid.Uint64Range(1, 1000).Draw(t, "seed"))
	step := time.Duration(rapid.SampledFrom([]int{2, 5, 8, 10}).Draw(t, "step")) * time.Second
	at := t0
	var rs []Reading
	var cs []*course
	for range rapid.IntRange(2, 4).Draw(t, "cycles") {
		c := k.course(g, at)
		cs = append(cs, c)
		rs = append(rs, sample(c, step)...)
		at = at.Add(c.length())
	}
	return k.set, rs, cs
}

// alikeEnds fails unless both engines found the same cycles, their ends within off.
func alikeEnds(t *rapid.T, a, b []told, off time.Duration) {
	if len(a) != len(b) {
		t.Fatalf("%d cycles and %d: %v, %v", len(a), len(b), a, b)
	}
	for i := range a {
		if d := a[i].end.Sub(b[i].end).Abs(); d > off {
			t.Fatalf("cycle %d: ends differ by %v", i, d)
		}
		if d := a[i].start.Sub(b[i].start).Abs(); d > off {
			t.Fatalf("cycle %d: starts differ by %v", i, d)
		}
	}
}

func TestCyclesOfEverySeedAreFound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set, rs, cs := drawCourses(t)
		got := ends(watchAll(New(set), rs))
		if len(got) != len(cs) {
			t.Fatalf("%d cycles of %d found: %v", len(got), len(cs), got)
		}
		for i, c := range cs {
			if off := got[i].end.Sub(c.end).Abs(); off > 2*time.Minute {
				t.Fatalf("cycle %d: end off by %v", i, off)
			}
		}
	})
}

// TestRestartChangesNothing: an engine that is written and read back at any
// reading says what one without a restart says.
func TestRestartChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set, rs, _ := drawCourses(t)
		cut := rapid.IntRange(0, len(rs)-1).Draw(t, "cut")
		a, b := New(set), New(set)
		watchAll(a, rs[:cut])
		c, err := a.Checkpoint()
		if err != nil {
			t.Fatal(err)
		}
		if err := b.Restore(c); err != nil {
			t.Fatal(err)
		}
		for _, r := range rs[cut:] {
			x, y := watchAll(a, []Reading{r}), watchAll(b, []Reading{r})
			if len(x) != len(y) {
				t.Fatalf("at %v: %v and %v", r.At, x, y)
			}
			p, ok := a.Remaining(r.At)
			if q, also := b.Remaining(r.At); p != q || ok != also {
				t.Fatalf("at %v: %+v and %+v", r.At, p, q)
			}
		}
	})
}

func FuzzRestore(f *testing.F) {
	e := New(washer())
	c := newProgrammes(1).wash(t0)
	rs := sample(c, 30*time.Second)
	watchAll(e, rs[:len(rs)*2/3])
	good, err := e.Checkpoint()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good.Data)
	f.Add([]byte(`{"Running":true,"Start":"2025-01-01T00:00:00Z","Levels":{"WorkW":8},"Past":{"Runs":[{"Codes":"AQID","Marks":[9]}]}}`))
	f.Add([]byte(`{"Levels":{"WorkW":8},"Profile":{"Filled":-5}}`))
	f.Add([]byte(`[]`))
	f.Fuzz(func(t *testing.T, data []byte) {
		e := New(washer())
		point := good
		point.Data = data
		if err := e.Restore(point); err != nil {
			if s := e.Status(); s.Running || !s.Last.At.IsZero() {
				t.Fatalf("after %v it is not as new: %+v", err, s)
			}
		}
		at := t0.Add(24 * time.Hour)
		for i := range 200 {
			e.Read(at, Power(at, float64(i%7)*300))
			if r, ok := e.Remaining(at); ok && (r.Median < 0 || r.High < r.Median || r.Low > r.Median) {
				t.Fatalf("%+v", r)
			}
			at = at.Add(20 * time.Second)
		}
		if _, err := e.Checkpoint(); err != nil {
			t.Fatal(err)
		}
	})
}

// FuzzReadings lets any sequence of readings and ticks pass: nothing breaks, ends
// come after starts, and answers are never negative.
func FuzzReadings(f *testing.F) {
	f.Add([]byte{0, 10, 200, 200, 200, 200, 0, 0, 0, 0, 255, 1, 0}, true)
	f.Add([]byte{100, 100, 7, 7, 7, 7, 254, 253, 0, 3, 99}, false)
	f.Fuzz(func(t *testing.T, data []byte, wash bool) {
		data = data[:min(len(data), 3000)]
		s := washer()
		if !wash {
			s = dryer()
		}
		e := New(s)
		now := t0
		running := false
		for i, b := range data {
			now = now.Add(time.Duration(1+int(b)*int(b)/7*(i%3)) * time.Second)
			r := Power(now, wattsOf(b))
			switch {
			case b == 255:
				r.Watts = math.NaN()
			case b == 254:
				r.Watts = math.Inf(-1)
			case b == 253:
				r = Reading{At: now.Add(-time.Hour), Watts: 5, Wh: 1e300}
			case b == 252:
				r = Reading{At: now, Watts: []float64{5, 1e300, -1e300, 4e4}[i%4], Wh: []float64{1e300, -7, 1e14}[i%3]}
			case b%16 == 3:
				r.Wh = float64(i)
			}
			events := slices.Clone(e.Tick(now))
			events = append(events, e.Read(now, r)...)
			for _, ev := range events {
				switch {
				case ev.Kind == Started, ev.Kind == Resumed:
					running = true
				case ev.Kind.Ends(), ev.Kind == Withdrawn:
					running = false
				}
				if ev.Kind.Ends() && (ev.End.Before(ev.Start) || ev.EnergyWh < 0 || math.IsNaN(ev.EnergyWh)) {
					t.Fatalf("%+v", ev)
				}
			}
			if est, ok := e.Remaining(now); ok != running || est.Low < 0 || est.Median < est.Low || est.High < est.Median {
				t.Fatalf("%+v", est)
			}
		}
		c, err := e.Checkpoint()
		if err != nil {
			t.Fatal(err)
		}
		if err := New(s).Restore(c); err != nil {
			t.Fatalf("its own checkpoint: %v", err)
		}
	})
}
