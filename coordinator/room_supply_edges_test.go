package coordinator

import (
	"math"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// darkAt is a room in which all three machines fell to 0 W at once, and a minute
// later that was seen to be an interruption.
func darkAt(t *testing.T, when func(*scene)) (*scene, time.Time) {
	s := calmScene(t, nil)
	s.now = noon.Add(time.Hour)
	if when != nil {
		when(s)
	}
	since := s.now.Add(time.Second)
	s.now = since
	for _, id := range []MachineID{"w1", "w2", "d3"} {
		s.take(s.room.Measure(s.now, id, cycle.Power(since, 0)))
	}
	s.now = since.Add(time.Minute)
	s.take(s.room.Measure(s.now, "w1", cycle.Power(s.now, 0)))
	if !s.room.supplyOut() || !s.room.state.Supply.Since.Equal(since) {
		t.Fatalf("the interruption is %+v, want one since %s", s.room.state.Supply, since)
	}
	return s, since
}

// TestWhichEndsAreTheSupplys: an end within the interruption, or in the ten seconds
// before it was seen, may be all that it means.
func TestWhichEndsAreTheSupplys(t *testing.T) {
	r := newScene(t, nil).room
	over := noon.Add(5 * time.Minute)
	for _, c := range []struct {
		supply supplyState
		end    time.Time
		want   bool
	}{
		{supplyState{}, noon, false},
		{supplyState{Over: over}, noon, false}, // the last one is over and done with
		{supplyState{Since: noon}, noon.Add(-10 * time.Second), true},
		{supplyState{Since: noon}, noon.Add(-10*time.Second - 1), false},
		{supplyState{Since: noon}, noon.Add(time.Hour), true},
		{supplyState{Since: noon, Over: over}, over, true},
		{supplyState{Since: noon, Over: over}, over.Add(1), false},
	} {
		r.state.Supply = c.supply
		if got := r.cutBySupply(c.end); got != c.want {
			t.Errorf("%+v: an end at %s is the supply's: %v", c.supply, c.end.Format("15:04:05.000"), got)
		}
	}
}

// TestWhatBeginsAnInterruption: nothing that is older than half an hour, or that fell
// before the last one was over, or while one is on.
func TestWhatBeginsAnInterruption(t *testing.T) {
	for _, c := range []struct {
		name  string
		have  supplyState
		since time.Time
		want  bool
	}{
		{"just now", supplyState{}, noon, true},
		{"half an hour ago", supplyState{}, noon.Add(-30 * time.Minute), true},
		{"longer ago", supplyState{}, noon.Add(-30*time.Minute - 1), false},
		{"one is on", supplyState{Since: noon.Add(-time.Minute)}, noon, false},
		{"when the last one was over", supplyState{Over: noon.Add(-time.Minute)}, noon.Add(-time.Minute), false},
		{"a moment later", supplyState{Over: noon.Add(-time.Minute)}, noon.Add(-time.Minute + 1), true},
		{"while cycles may still go on", supplyState{Since: noon.Add(-9 * time.Minute), Over: noon.Add(-time.Minute)}, noon, true},
	} {
		r := newScene(t, nil).room
		r.state.Supply = c.have
		r.beginSupply(c.since, noon)
		if began := r.state.Supply.Since.Equal(c.since) && r.state.Supply.Over.IsZero(); began != c.want {
			t.Errorf("%s: it is %+v, want it to begin: %v", c.name, r.state.Supply, c.want)
		}
	}
}

// TestWhatComesBackWithTheSupply: holds and ladders have the time that they had left;
// what began in the dark had lost only what passed since.
func TestWhatComesBackWithTheSupply(t *testing.T) {
	s, since := darkAt(t, func(s *scene) {
		s.join("anna", queue.Wash)
		s.cycle("w1", time.Hour)
		s.join("ben", queue.Wash)
	})
	l, h := s.room.load(1), s.room.state.Machines[1].Hold
	until, told := h.Until, l.ToldAt
	l.MoreUntil = since.Add(4 * time.Minute)
	s.now = since.Add(3 * time.Minute)
	late := &Hold{Turn: 99, Since: s.now, Until: s.now.Add(10 * time.Minute)}
	s.room.state.Machines[2].Hold = late
	s.now = since.Add(8 * time.Minute)
	set := s.room.Measure(s.now, "w2", cycle.Power(s.now, 1))
	if s.room.supplyOut() || len(set.Rows) == 0 {
		t.Fatal("power is not seen to be back")
	}
	if got := h.Until.Sub(until); got != 8*time.Minute || !s.room.state.Turns[1].HoldUntil.Equal(h.Until) {
		t.Errorf("the hold is longer by %s, want 8 minutes, and its turn's until %s", got, s.room.state.Turns[1].HoldUntil)
	}
	if got := late.Until.Sub(since); got != 18*time.Minute {
		t.Errorf("the hold that began in the dark ends after %s, want 18 minutes", got)
	}
	if l.Pause != 8*time.Minute || !l.ToldAt.Equal(told) || !l.MoreUntil.Equal(since.Add(12*time.Minute)) {
		t.Errorf("the load is %+v", l)
	}
}

// TestTimeAskedForBeforeTheDark: what was over when the power went stays over.
func TestTimeAskedForBeforeTheDark(t *testing.T) {
	s, since := darkAt(t, washes)
	l := s.room.load(1)
	l.MoreUntil = since
	s.now = since.Add(5 * time.Minute)
	s.room.Measure(s.now, "w2", cycle.Power(s.now, 1))
	if !l.MoreUntil.Equal(since) {
		t.Errorf("it is over at %s, want %s", l.MoreUntil, since)
	}
}

// TestWhoShowsPowerToBeBack: a machine that fell with the others, not one that was at
// 0 W long before and is switched on.
func TestWhoShowsPowerToBeBack(t *testing.T) {
	for _, c := range []struct {
		before time.Duration // how long before the others d3 fell
		back   bool
	}{{0, true}, {10 * time.Second, true}, {10*time.Second + 1, false}, {time.Hour, false}} {
		s, since := darkAt(t, nil)
		s.room.zeroAt[2] = since.Add(-c.before)
		s.now = since.Add(5 * time.Minute)
		s.room.Measure(s.now, "d3", cycle.Power(s.now, 300))
		if back := !s.room.supplyOut(); back != c.back {
			t.Errorf("fallen %s before the others, it shows power to be back: %v", c.before, back)
		}
		if !s.room.zeroAt[2].IsZero() {
			t.Error("it counts as being at 0 W still")
		}
	}
}

// TestWhatGlows: a machine at rest that draws something, but no more than when idle.
func TestWhatGlows(t *testing.T) {
	idle := testPlan().Machines[0].Power.IdleBelowW
	for _, c := range []struct {
		watts   float64
		running bool
		want    bool
	}{{1, false, true}, {0, false, false}, {idle, false, false}, {idle - 0.1, false, true}, {1, true, false}, {math.NaN(), false, false}} {
		s := calmScene(t, nil)
		s.room.glows[0] = false
		s.room.state.Machines[0].Running = c.running
		s.room.noticeZero(0, cycle.Power(s.now, c.watts), s.now)
		if s.room.glows[0] != c.want {
			t.Errorf("at %g W (running: %v) it glows: %v", c.watts, c.running, s.room.glows[0])
		}
		if math.IsNaN(c.watts) && s.room.watts[0] != 1 {
			t.Errorf("a reading without power counts as %g W", s.room.watts[0])
		}
	}
}

// TestZeroIsFollowed over the readings that were stored before a restart.
func TestZeroIsFollowed(t *testing.T) {
	at := func(m int) time.Time { return noon.Add(time.Duration(m) * time.Minute) }
	for _, c := range []struct {
		name  string
		watts []float64 // one a minute, from 12:00
		want  time.Time
		last  float64
	}{
		{"it fell", []float64{300, 0, 0}, at(1), 0},
		{"it fell and rose", []float64{300, 0, 5}, time.Time{}, 5},
		{"it was at 0 W all along", []float64{0, 0}, time.Time{}, 0},
		{"it fell twice", []float64{300, 0, 5, 0}, at(3), 0},
		{"a reading had no power", []float64{300, 0, math.NaN()}, at(1), 0},
	} {
		r := NewRoom(testPlan(), newPlain)
		for m, w := range c.watts {
			r.followZero(0, cycle.Power(at(m), w))
		}
		if !r.zeroAt[0].Equal(c.want) || r.watts[0] != c.last {
			t.Errorf("%s: at %g W, at 0 W since %s, want %g W since %s", c.name, r.watts[0], r.zeroAt[0], c.last, c.want)
		}
	}
}

// TestDarkIsFollowed: after a restart in the dark whatever was at work and is at 0 W
// may show power to be back.
func TestDarkIsFollowed(t *testing.T) {
	s, since := darkAt(t, func(s *scene) { s.watts("w1", 300); s.watts("w2", 300) })
	r := s.room
	own := since.Add(-2 * time.Second)
	r.zeroAt = []time.Time{{}, own, {}}
	r.followDark()
	if !r.zeroAt[0].Equal(since) || !r.zeroAt[1].Equal(own) || !r.zeroAt[2].IsZero() {
		t.Errorf("at 0 W since %v, want since the interruption, since its own fall, and never", r.zeroAt)
	}
	r.zeroAt[0], r.watts[0] = time.Time{}, 300
	r.followDark()
	if !r.zeroAt[0].IsZero() {
		t.Error("a machine that draws power counts as being at 0 W")
	}
}

// TestSilenceTogether: two meters of machines at work that were heard last within two
// minutes of each other.
func TestSilenceTogether(t *testing.T) {
	for _, c := range []struct {
		name  string
		apart time.Duration
		other machineState
		want  bool
	}{
		{"together", 0, machineState{Running: true, Silent: true}, true},
		{"two minutes apart", 2 * time.Minute, machineState{Running: true, Silent: true}, true},
		{"more than two minutes apart", 2*time.Minute + 1, machineState{Running: true, Silent: true}, false},
		{"the other is at rest", 0, machineState{Silent: true}, false},
		{"the other is heard", 0, machineState{Running: true}, false},
	} {
		for _, before := range []bool{true, false} {
			s := calmScene(t, nil)
			r := s.room
			own, other := noon, noon.Add(c.apart)
			if before {
				other = noon.Add(-c.apart)
			}
			r.state.Machines[0].Running, r.state.Machines[0].Silent, r.state.Machines[0].SilentSince = true, true, own
			c.other.SilentSince = other
			r.state.Machines[1] = c.other
			r.silentTogether(0, noon.Add(10*time.Minute))
			if r.supplyOut() != c.want {
				t.Errorf("%s: an interruption: %v", c.name, r.supplyOut())
			}
			if c.want && !r.state.Supply.Since.Equal(earlier(own, other)) {
				t.Errorf("%s: it began at %s", c.name, r.state.Supply.Since)
			}
		}
	}
}

// TestHalfAnHourInTheDark: then cycles that were cut are over: what their engine took
// for an end by itself was none, and what stopped early stays so.
func TestHalfAnHourInTheDark(t *testing.T) {
	for _, c := range []struct{ said, want cycle.Kind }{
		{cycle.Finished, cycle.StoppedEarly}, {cycle.StoppedEarly, cycle.StoppedEarly}, {cycle.Presumed, cycle.Presumed},
	} {
		s, since := darkAt(t, func(s *scene) { s.join("anna", queue.Wash); s.watts("w1", 300) })
		s.room.begin(s.now)
		s.room.cycleEnded(0, cycle.Event{Kind: c.said, At: s.now, Start: noon, End: since}, s.now)
		s.take(s.room.end(s.now))
		if m := s.room.state.Machines[0]; m.Deferred == nil || !m.Running {
			t.Fatalf("the end is believed at once: %+v", m)
		}
		s.now = since.Add(30*time.Minute - 1)
		s.do(Tick{})
		if s.room.state.Machines[0].Deferred == nil {
			t.Fatal("the end is believed too soon")
		}
		s.now = since.Add(30 * time.Minute)
		s.do(Tick{})
		m, l := s.room.state.Machines[0], s.room.load(1)
		if m.Deferred != nil || m.Running || l.Reason != endReason(c.want) || !l.ReadyAt.Equal(since) {
			t.Errorf("%s: the load is %+v in %+v", c.said, l, m)
		}
		if sup := s.room.state.Supply; !sup.Since.IsZero() || !sup.Over.Equal(s.now) {
			t.Errorf("the interruption is %+v, want it over", sup)
		}
		if len(s.told(LoadReady)) != 1 {
			t.Errorf("ready is told to %v", s.told(LoadReady))
		}
	}
}
