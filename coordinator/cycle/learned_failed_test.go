package cycle

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// failedRead is what a meter says that could not be read.
func failedRead(at time.Time, i int) Reading {
	wrong := []float64{math.NaN(), math.Inf(1), math.Inf(-1)}
	return Reading{At: at, Watts: wrong[i%3], Wh: wrong[i/3%3]}
}

// TestAFailedReadIsATick: that a meter could not be read says no more than that time
// has passed, whatever is going on: it is neither 0 W nor a sign of life.
func TestAFailedReadIsATick(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawStory(t)
		newEngine := engines[rapid.SampledFrom([]string{"learned", "fixed"}).Draw(t, "engine")]
		a, b := newEngine(s.set), newEngine(s.set)
		for i, c := range s.ticked(newEngine) {
			x, y := say(a, c), say(b, c)
			if d := x.differs(y, 0); d != "" {
				t.Fatalf("call %d: %s differs:\n%+v\n%+v", i, d, x, y)
			}
			if rapid.IntRange(0, 4).Draw(t, "failed") > 0 {
				continue
			}
			tick := call{now: c.now.Add(time.Millisecond), tick: true}
			failed := call{now: tick.now, r: failedRead(tick.now, i)}
			x, y = say(a, tick), say(b, failed)
			if d := x.differs(y, 0); d != "" {
				t.Fatalf("failed read after call %d: %s differs:\n%+v\n%+v", i, d, x, y)
			}
		}
	})
}

// TestFailingAtWorkIsNoEnd: a machine that worked when its meter could be read last
// is not done because the meter fails from then on; soon nothing is known of it, and
// until it is heard again no energy is made up.
func TestFailingAtWorkIsNoEnd(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set, rs, cs := drawCourses(t)
		c := cs[rapid.IntRange(0, len(cs)-1).Draw(t, "cycle")]
		into := rapid.Float64Range(0.1, 0.9).Draw(t, "into")
		from := c.start.Add(time.Duration(into * float64(c.end.Sub(c.start))))
		n := 0
		for n < len(rs) && (rs[n].At.Before(from) || rs[n].Watts < 60) {
			n++
		}
		if n++; n >= len(rs) {
			t.Skip("no work after it")
		}
		e := New(set)
		watchAll(e, rs[:n])
		before := e.Status()
		if !before.Running {
			t.Skip("not running yet, or no more")
		}
		var failed []Reading
		for i := range 120 {
			failed = append(failed, failedRead(rs[n-1].At.Add(time.Duration(i+1)*time.Minute), i))
		}
		events := watchAll(e, failed)
		after := e.Status()
		for _, ev := range events {
			if ev.Kind.Ends() || ev.Kind == Withdrawn {
				t.Fatalf("%+v", ev)
			}
		}
		if !after.Running || !after.Silent || count(events, Silent) != 1 {
			t.Fatalf("%+v, %d times silent", after, count(events, Silent))
		}
		if more := after.EnergyWh - before.EnergyWh; more != 0 {
			t.Fatalf("%v Wh made up", more)
		}
	})
}
