package cycle

import (
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// checkEngine holds an engine to what every Engine promises, whatever it knows.
func checkEngine(t *testing.T, newEngine func(Settings) Engine) {
	for _, c := range []struct {
		name  string
		check func(*rapid.T, func(Settings) Engine)
	}{
		{"deterministic", checkDeterminism},
		{"order", checkOrder},
		{"checkpoint", checkCheckpoint},
		{"next", checkNext},
		{"shift", checkShift},
		{"stale", checkStale},
		{"remaining", checkRemaining},
	} {
		t.Run(c.name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) { c.check(t, newEngine) })
		})
	}
	t.Run("version", func(t *testing.T) { checkVersion(t, newEngine) })
	t.Run("memory", func(t *testing.T) { checkMemory(t, newEngine) })
}

// call is one call of an engine: a reading, or a tick when tick is set.
type call struct {
	now  time.Time
	r    Reading
	tick bool
}

func (c call) do(e Engine) []Event {
	if c.tick {
		return slices.Clone(e.Tick(c.now))
	}
	return slices.Clone(e.Read(c.now, c.r))
}

// story is what one machine and its meter might do: stretches of power, pauses,
// glow and holes, as one of several kinds of meter tells them.
type story struct {
	set   Settings
	calls []call
}

func drawStory(t *rapid.T) story {
	s := story{set: DefaultSettings()}
	s.set.Dryer = rapid.Bool().Draw(t, "dryer")
	s.set.Washer = !s.set.Dryer || rapid.Bool().Draw(t, "washer")
	period := time.Duration(rapid.SampledFrom([]int{1, 6, 10, 30, 60, 240}).Draw(t, "period")) * time.Second
	meter := rapid.SampledFrom([]string{"watts", "both", "register"}).Draw(t, "meter")
	lag := time.Duration(rapid.SampledFrom([]int{0, 0, 5, 900}).Draw(t, "lag")) * time.Second
	now, wh := energyEpoch, 1000.0
	for range rapid.IntRange(1, 8).Draw(t, "stretches") {
		level := rapid.SampledFrom([]float64{-1, 0, 1.8, 2.9, 3, 4.5, 60, 150, 700, 2000}).Draw(t, "W")
		n := rapid.IntRange(1, 40).Draw(t, "readings")
		noise := rapid.Float64Range(0, 0.3).Draw(t, "noise")
		if level < 0 { // a hole
			now = now.Add(time.Duration(n) * 2 * time.Minute)
			continue
		}
		for i := range n {
			now = now.Add(period + time.Duration(i%3)*100*time.Millisecond)
			w := level * (1 + noise*math.Sin(float64(i*i)))
			wh += w * period.Hours()
			s.calls = append(s.calls, call{now: now, r: meterSays(meter, now.Add(-lag), w, wh)})
		}
		if rapid.Bool().Draw(t, "tick") {
			now = now.Add(time.Duration(rapid.IntRange(1, 900).Draw(t, "wait")) * time.Second)
			s.calls = append(s.calls, call{now: now, tick: true})
		}
	}
	return s
}

func meterSays(meter string, at time.Time, w, wh float64) Reading {
	r := Reading{At: at, Watts: w, Wh: math.Floor(wh)}
	switch meter {
	case "watts":
		r.Wh = math.NaN()
	case "register":
		r.Watts = math.NaN()
	}
	return r
}

// ticked is the story with the ticks that a loop makes at Next put in.
func (s story) ticked(newEngine func(Settings) Engine) []call {
	e := newEngine(s.set)
	var calls []call
	add := func(c call) {
		c.do(e)
		calls = append(calls, c)
	}
	for _, c := range s.calls {
		for range 20 {
			next := e.Next()
			if next.IsZero() || !next.Before(c.now) {
				break
			}
			add(call{now: next, tick: true})
		}
		add(c)
	}
	return calls
}

// answered is everything that an engine tells after one call.
type answered struct {
	events    []Event
	status    Status
	next      time.Time
	remaining Estimate
	running   bool
}

func say(e Engine, c call) answered {
	s := answered{events: c.do(e), status: e.Status(), next: e.Next()}
	s.remaining, s.running = e.Remaining(c.now)
	return s
}

// differs tells the first difference, with b moved by shift against a.
func (a answered) differs(b answered, shift time.Duration) string {
	same := func(x, y time.Time) bool { return x.IsZero() && y.IsZero() || x.Add(shift).Equal(y) }
	if len(a.events) != len(b.events) {
		return "number of events"
	}
	for i, x := range a.events {
		y := b.events[i]
		if x.Kind != y.Kind || x.Phase != y.Phase || x.EnergyWh != y.EnergyWh || x.PeakW != y.PeakW ||
			!same(x.At, y.At) || !same(x.Start, y.Start) || !same(x.End, y.End) {
			return "event " + x.Kind.String()
		}
	}
	p, q := a.status, b.status
	switch {
	case p.Running != q.Running || p.Silent != q.Silent || p.Phase != q.Phase || p.Stalled != q.Stalled:
		return "status"
	case !same(p.Start, q.Start) || !same(p.PhaseSince, q.PhaseSince) || !same(p.LastWork, q.LastWork):
		return "times of the status"
	case p.EnergyWh != q.EnergyWh || p.PeakW != q.PeakW:
		return "energy or peak"
	case !same(p.Last.At, q.Last.At) || !alike(p.Last.Watts, q.Last.Watts) || !alike(p.Last.Wh, q.Last.Wh):
		return "last reading"
	case !same(a.next, b.next):
		return "next"
	case a.remaining != b.remaining || a.running != b.running:
		return "remaining"
	}
	return ""
}

func alike(x, y float64) bool { return x == y || math.IsNaN(x) && math.IsNaN(y) }

func compare(t *rapid.T, a, b Engine, calls []call, shift time.Duration) {
	for i, c := range calls {
		moved := c
		moved.now, moved.r.At = c.now.Add(shift), c.r.At.Add(shift)
		x, y := say(a, c), say(b, moved)
		if d := x.differs(y, shift); d != "" {
			t.Fatalf("call %d (%v): %s differs:\n%+v\n%+v", i, c, d, x, y)
		}
	}
}

func checkDeterminism(t *rapid.T, newEngine func(Settings) Engine) {
	s := drawStory(t)
	compare(t, newEngine(s.set), newEngine(s.set), s.ticked(newEngine), 0)
}

func checkShift(t *rapid.T, newEngine func(Settings) Engine) {
	s := drawStory(t)
	shift := time.Duration(rapid.Int64Range(-1e17, 1e17).Draw(t, "shift"))
	compare(t, newEngine(s.set), newEngine(s.set), s.ticked(newEngine), shift)
}

func checkCheckpoint(t *rapid.T, newEngine func(Settings) Engine) {
	s := drawStory(t)
	calls := s.ticked(newEngine)
	cut := rapid.IntRange(0, len(calls)).Draw(t, "cut")
	a, b := newEngine(s.set), newEngine(s.set)
	for _, c := range calls[:cut] {
		c.do(a)
	}
	point, err := a.Checkpoint()
	if err != nil {
		t.Fatalf("checkpoint: %v", err)
	}
	if !point.At.Equal(a.Status().Last.At) {
		t.Fatalf("checkpoint at %v, newest reading at %v", point.At, a.Status().Last.At)
	}
	if err := b.Restore(point); err != nil {
		t.Fatalf("restore: %v", err)
	}
	compare(t, a, b, calls[cut:], 0)
}

// checkOrder holds the events to an order that a room can rely on.
func checkOrder(t *rapid.T, newEngine func(Settings) Engine) {
	s := drawStory(t)
	e := newEngine(s.set)
	running, silent := false, false
	var start, end time.Time
	for _, c := range s.ticked(newEngine) {
		for _, v := range c.do(e) {
			if !v.At.Equal(c.now) {
				t.Fatalf("%s said at %v by a call at %v", v.Kind, v.At, c.now)
			}
			switch {
			case v.Kind == Started:
				if running || v.Start.After(v.At) || v.Start.Before(end) {
					t.Fatalf("running %v, last end %v: %+v", running, end, v)
				}
				running, start = true, v.Start
			case v.Kind.Ends():
				if !running || v.End.Before(v.Start) || v.End.After(v.At) || !v.Start.Equal(start) ||
					v.EnergyWh < 0 || v.PeakW < 0 {
					t.Fatalf("running %v since %v: %+v", running, start, v)
				}
				running, end = false, v.End
			case v.Kind == Resumed:
				if running || end.IsZero() {
					t.Fatalf("resumed what was not over: %+v", v)
				}
				running, end = true, time.Time{}
			case v.Kind == Withdrawn:
				if !running || !v.Start.Equal(start) {
					t.Fatalf("running %v since %v: %+v", running, start, v)
				}
				running = false
			case v.Kind == PhaseBegan:
				if !running || v.Phase == NoPhase || e.Status().Running && !v.Start.Equal(start) {
					t.Fatalf("running %v: %+v", running, v)
				}
			case v.Kind == Silent, v.Kind == Heard:
				if silent == (v.Kind == Silent) || v.Start.After(v.At) {
					t.Fatalf("silent %v: %+v", silent, v)
				}
				silent = !silent
			}
		}
		if st := e.Status(); st.Running != running || st.Silent != silent {
			t.Fatalf("after %+v: events say running %v, silent %v; status %+v", c, running, silent, st)
		}
	}
}

// checkNext: a tick before Next says nothing, and a tick at Next moves on.
func checkNext(t *rapid.T, newEngine func(Settings) Engine) {
	s := drawStory(t)
	e := newEngine(s.set)
	for i, c := range s.calls {
		c.do(e)
		until := c.now.Add(time.Hour)
		if i+1 < len(s.calls) {
			until = s.calls[i+1].now
		}
		now := c.now
		for range 50 {
			next := e.Next()
			if next.IsZero() || next.After(until) {
				if said := e.Tick(until.Add(-1)); len(said) > 0 && until.Add(-1).After(now) {
					t.Fatalf("call %d: Next is %v, but a tick at %v says %+v", i, next, until.Add(-1), said)
				}
				break
			}
			if next.Before(now) {
				t.Fatalf("call %d: Next %v is in the past at %v", i, next, now)
			}
			if before := next.Add(-1); before.After(now) {
				if said := e.Tick(before); len(said) > 0 {
					t.Fatalf("call %d: Next is %v, but a tick just before says %+v", i, next, said)
				}
			}
			now = next
			if said := e.Tick(now); len(said) == 0 && !e.Next().After(now) && !e.Next().IsZero() {
				t.Fatalf("call %d: a tick at Next %v says nothing, and Next stays", i, next)
			}
		}
		if n := e.Next(); !n.IsZero() && !n.After(now) {
			t.Fatalf("call %d: Next does not come to rest", i)
		}
	}
}

// checkStale: readings that are not newer than the last change nothing.
func checkStale(t *rapid.T, newEngine func(Settings) Engine) {
	s := drawStory(t)
	e := newEngine(s.set)
	for i, c := range s.calls {
		c.do(e)
		if c.tick {
			continue
		}
		before := answered{status: e.Status(), next: e.Next()}
		old := Reading{At: c.r.At.Add(-time.Duration(i%3) * time.Second), Watts: 777, Wh: 1}
		after := answered{events: e.Read(c.now, old), status: e.Status(), next: e.Next()}
		if d := before.differs(after, 0); d != "" {
			t.Fatalf("call %d: a reading at %v after one at %v: %s differs", i, old.At, c.r.At, d)
		}
	}
}

func checkRemaining(t *rapid.T, newEngine func(Settings) Engine) {
	s := drawStory(t)
	e := newEngine(s.set)
	for i, c := range s.ticked(newEngine) {
		c.do(e)
		for _, ahead := range []time.Duration{0, time.Minute, 12 * time.Hour} {
			r, ok := e.Remaining(c.now.Add(ahead))
			if ok != e.Status().Running {
				t.Fatalf("call %d: remaining says %v, status %+v", i, ok, e.Status())
			}
			if r.Low < 0 || r.Median < r.Low || r.High < r.Median {
				t.Fatalf("call %d: %+v", i, r)
			}
		}
	}
}

func checkVersion(t *testing.T, newEngine func(Settings) Engine) {
	e := newEngine(DefaultSettings())
	e.Read(energySecond(0), Power(energySecond(0), 2000))
	good, err := e.Checkpoint()
	if err != nil {
		t.Fatal(err)
	}
	name, version, garbage := good, good, good
	name.Engine, version.Version, garbage.Data = "other", good.Version+1, []byte("{nonsense")
	for _, bad := range []Checkpoint{name, version, garbage} {
		other := bad.Engine != good.Engine || bad.Version != good.Version
		err := e.Restore(bad)
		if err == nil || other && !errors.Is(err, ErrVersion) {
			t.Errorf("restore of %s %d gave %v", bad.Engine, bad.Version, err)
		}
		if s := e.Status(); !s.Last.At.IsZero() || s.Running || !e.Next().IsZero() {
			t.Errorf("after a refused checkpoint the engine is not as new: %+v", s)
		}
	}
	if err := e.Restore(good); err != nil {
		t.Errorf("its own checkpoint: %v", err)
	}
}

// checkMemory: after years a machine's memory is no larger than a bound.
func checkMemory(t *testing.T, newEngine func(Settings) Engine) {
	e := newEngine(DefaultSettings())
	at := energyEpoch
	for n := range 400 {
		for i := range 60 + n%7 {
			w := []float64{150, 2000, 400}[i/20%3]
			at = at.Add(time.Minute)
			e.Read(at, Power(at, w))
		}
		for range 8 {
			at = at.Add(time.Minute)
			e.Read(at, Power(at, 0))
		}
	}
	c, err := e.Checkpoint()
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Data) > 64<<10 {
		t.Errorf("the memory of one machine takes %d bytes", len(c.Data))
	}
}
