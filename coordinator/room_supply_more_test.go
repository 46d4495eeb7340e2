package coordinator

import (
	"testing"
	"time"

	"drumturn/queue"
)

// twoAtWork is a room in which anna washes on w1 and ben on w2, at 12:00.
func twoAtWork(t *testing.T, change func(*Plan)) *scene {
	s := newScene(t, change)
	s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	s.watts("w1", 300)
	s.watts("w2", 300)
	return s
}

// cut lets machines fall to 0 W, a little after each other.
func (s *scene) cut(apart time.Duration, ids ...MachineID) {
	s.Helper()
	for i, id := range ids {
		if i > 0 {
			s.now = s.now.Add(apart)
		}
		s.watts(id, 0)
	}
}

func (s *scene) interrupted() bool { return !s.room.Snapshot(s.now).SupplySince.IsZero() }

// quiet lets time pass in which only the given meters are heard.
func (s *scene) quiet(d time.Duration, heard ...MachineID) {
	s.Helper()
	for end := s.now.Add(d); s.now.Before(end); {
		s.now = s.now.Add(min(30*time.Second, end.Sub(s.now)))
		s.do(Tick{})
		for _, id := range heard {
			s.watts(id, s.room.engines[s.room.index(id)].Status().Last.Watts)
		}
	}
}

// TestWhatIsAnInterruption: several machines at 0 W within ten seconds, for
// longer than a pause of a programme.
func TestWhatIsAnInterruption(t *testing.T) {
	washers := []MachineID{"w1", "w2"}
	all := []MachineID{"w1", "w2", "d3"}
	for _, c := range []struct {
		name  string
		glow  bool // seen to draw standby power, so that 0 W means off
		ids   []MachineID
		apart time.Duration
		wait  time.Duration
		want  bool
	}{
		{"two that glow", true, washers, time.Second, 2 * time.Minute, true},
		{"two that glow, ten seconds apart", true, washers, 10 * time.Second, 2 * time.Minute, true},
		{"two that glow, eleven seconds apart", true, washers, 11 * time.Second, 2 * time.Minute, false},
		{"two that glow, for half a minute", true, washers, time.Second, 30 * time.Second, false},
		{"one that glows", true, washers[:1], 0, 2 * time.Minute, false},
		{"two that draw 0 W when they are done", false, washers, time.Second, 2 * time.Minute, false},
		{"three that draw 0 W when they are done", false, all, time.Second, 2 * time.Minute, true},
		{"three such, four seconds apart", false, all, 4 * time.Second, 2 * time.Minute, true},
		{"three such, ten seconds apart", false, all, 10 * time.Second, 63 * time.Second, true}, // the one in the middle is near both
	} {
		t.Run(c.name, func(t *testing.T) {
			s := twoAtWork(t, nil)
			s.watts("d3", 300)
			s.wait(25 * time.Minute)
			for i := range s.room.glows {
				s.room.glows[i] = c.glow
			}
			s.cut(c.apart, c.ids...)
			s.wait(c.wait)
			if got := s.interrupted(); got != c.want {
				t.Fatalf("an interruption: %v, want %v", got, c.want)
			}
		})
	}
}

// TestSilenceOfTwoAtWork: meters that fall silent together, behind the same fuse
// as their machines, are an interruption too; the cycles go on as the same.
func TestSilenceOfTwoAtWork(t *testing.T) {
	s := twoAtWork(t, nil)
	s.wait(20 * time.Minute)
	s.join("cleo", queue.Dry)
	since := s.now
	s.quiet(11*time.Minute, "d3")
	if snap := s.room.Snapshot(s.now); since.Sub(snap.SupplySince).Abs() > time.Minute {
		t.Fatalf("two silent meters: interrupted since %s, want %s", snap.SupplySince, since)
	}
	s.wantStatus("w1", Unknown)
	s.quiet(9*time.Minute, "d3")
	s.wantTold(MeterSilent) // the supply explains it
	s.watts("w1", 300)
	s.watts("w2", 300)
	if s.interrupted() {
		t.Fatal("both are heard again, but the supply is not back")
	}
	for id, owner := range map[MachineID]PersonID{"w1": "anna", "w2": "ben"} {
		if v := s.room.Snapshot(s.now).Machine(id); v.Status != Running || v.Cycle != 1 || v.Load.Owner != owner {
			t.Errorf("%s is %s in cycle %d, load %+v; want cycle 1 of %s to go on", id, v.Status, v.Cycle, v.Load, owner)
		}
	}
	s.wantTold(LoadReady)
}

// TestSilenceThatIsNone: one meter at work and one at rest, or two at different
// times, are broken meters; the managers are told.
func TestSilenceThatIsNone(t *testing.T) {
	t.Run("one at rest", func(t *testing.T) {
		s := newScene(t, nil)
		s.watts("w1", 300)
		s.quiet(11*time.Minute, "d3")
		if s.interrupted() {
			t.Fatal("it counts as an interruption")
		}
		s.wantTold(MeterSilent, "managers", "managers")
	})
	t.Run("five minutes apart", func(t *testing.T) {
		s := twoAtWork(t, nil)
		s.quiet(5*time.Minute, "w2", "d3")
		s.quiet(11*time.Minute, "d3")
		if s.interrupted() {
			t.Fatal("it counts as an interruption")
		}
		s.wantTold(MeterSilent, "managers", "managers")
	})
}

// TestLadderPauses for as long as power is away, for a load that was ready
// before, and each step by the same time.
func TestLadderPauses(t *testing.T) {
	s := twoAtWork(t, nil)
	s.wait(20 * time.Minute)
	s.watts("d3", 300)
	s.do(Claim{Machine: "d3", Person: "cleo", Home: "home-cleo"})
	s.wait(30 * time.Minute)
	s.watts("d3", 1)
	s.wantTold(LoadReady, "cleo")
	told := s.now
	s.wait(4 * time.Minute)
	cut := s.now
	s.cut(time.Second, "w1", "w2")
	s.wait(20 * time.Minute)
	s.wantTold(LoadNudge)
	s.wantStatus("d3", Finished)
	s.watts("w1", 300)
	s.watts("w2", 300)
	away := s.now.Sub(cut)
	s.wait(40 * time.Minute)
	for _, n := range s.notices {
		after := map[NoticeKind]time.Duration{LoadNudge: 10 * time.Minute, LoadLeft: 30 * time.Minute}[n.Kind]
		if got := n.Made.Sub(told) - away; after > 0 && (got-after).Abs() > 2*time.Second {
			t.Errorf("%s came %s after the ready notice, power away not counted; want %s", n.Kind, got, after)
		}
	}
	s.wantTold(LoadNudge, "cleo")
	s.wantTold(LoadLeft, "managers")
}

// TestRestartWithinAnInterruption: the program goes down with the power, or
// later; the interruption and what hangs on it are remembered.
func TestRestartWithinAnInterruption(t *testing.T) {
	s := twoAtWork(t, nil)
	s.join("cleo", queue.Dry)
	left := s.room.Snapshot(s.now).Machine("d3").Hold.Until.Sub(s.now)
	s.cut(time.Second, "w1", "w2")
	s.wait(2 * time.Minute)
	s.reopen(5 * time.Minute)
	if !s.interrupted() {
		t.Fatal("after the restart the interruption is forgotten")
	}
	s.watts("d3", 1)
	s.watts("w1", 300)
	s.watts("w2", 300)
	if s.interrupted() {
		t.Fatal("work is seen again, but the supply is not back")
	}
	if h := s.room.Snapshot(s.now).Machine("d3").Hold; h == nil || (h.Until.Sub(s.now)-left).Abs() > 2*time.Second {
		t.Fatalf("the hold is %+v at %s, want %s left", h, s.now, left)
	}
	s.wantTold(TurnMissed)
	s.wantTold(LoadReady)
	for id, n := range map[MachineID]LoadID{"w1": 1, "w2": 2} {
		if v := s.room.Snapshot(s.now).Machine(id); v.Cycle != 1 || v.Load.ID != n || v.Load.Ready() {
			t.Errorf("%s is in cycle %d with load %+v; want cycle 1 and load %d going on", id, v.Cycle, v.Load, n)
		}
	}
}

// TestGoesOnWithinHalfAnHour: at 29 minutes it is the same cycle and load, at 31
// another one, and the load before was stopped early.
func TestGoesOnWithinHalfAnHour(t *testing.T) {
	for _, c := range []struct {
		after time.Duration
		cycle uint64
		ready []string
	}{{29 * time.Minute, 1, nil}, {31 * time.Minute, 2, []string{"anna", "ben"}}} {
		s := twoAtWork(t, nil)
		s.wait(25 * time.Minute)
		s.cut(time.Second, "w1", "w2")
		s.wait(c.after)
		s.watts("w1", 300)
		s.wantTold(LoadReady, c.ready...)
		v := s.room.Snapshot(s.now).Machine("w1")
		if v.Cycle != c.cycle || v.Status != Running {
			t.Errorf("on again after %s it is %s in cycle %d, want cycle %d running", c.after, v.Status, v.Cycle, c.cycle)
		}
		if v.Load.ID != 1 && c.cycle == 1 {
			t.Errorf("on again after %s it is load %d", c.after, v.Load.ID)
		}
	}
}

// TestOneGoesOnAnotherDoesNot: half an hour after the cut the load of the one
// that stayed off is told as stopped early, with the end of its work.
func TestOneGoesOnAnotherDoesNot(t *testing.T) {
	s := twoAtWork(t, nil)
	s.wait(25 * time.Minute)
	cut := s.now
	s.cut(time.Second, "w1", "w2")
	s.wait(10 * time.Minute)
	s.watts("w1", 300)
	s.wait(19 * time.Minute)
	s.wantTold(LoadReady)
	s.wait(2 * time.Minute)
	s.wantTold(LoadReady, "ben")
	snap := s.room.Snapshot(s.now)
	if l := snap.Machine("w2").Load; l.Reason != EndStopped || l.ReadyAt.Sub(cut).Abs() > 2*time.Second {
		t.Errorf("ben's load is %+v; want it stopped early at %s", l, cut)
	}
	if v := snap.Machine("w1"); v.Status != Running || v.Load.Owner != "anna" {
		t.Errorf("anna's machine is %s, load %+v", v.Status, v.Load)
	}
}

// TestTwoInterruptions one after the other each give back their own time.
func TestTwoInterruptions(t *testing.T) {
	s := twoAtWork(t, nil)
	s.join("cleo", queue.Dry)
	until := s.room.Snapshot(s.now).Machine("d3").Hold.Until
	var away time.Duration
	for range 2 {
		cut := s.now
		s.cut(time.Second, "w1", "w2")
		s.wait(5 * time.Minute)
		s.watts("w1", 300)
		away += s.now.Sub(cut)
		s.watts("w2", 300)
		s.wait(2 * time.Minute)
	}
	if got := s.room.Snapshot(s.now).Machine("d3").Hold.Until.Sub(until); (got - away).Abs() > time.Second {
		t.Fatalf("the hold was made longer by %s, power was away for %s", got, away)
	}
	s.wantTold(LoadReady)
}
