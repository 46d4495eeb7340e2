package coordinator

import (
	"reflect"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// TestWhichMachineIsCalledTo: of those that are open, the one that others can use
// least: empty before full, plain before accessible or combined, small before large,
// then by number.
func TestWhichMachineIsCalledTo(t *testing.T) {
	second := func(change func(*Machine)) func(*Plan) {
		return func(p *Plan) {
			p.Machines[0].CapacityKg, p.Machines[1].CapacityKg = 8, 8
			change(&p.Machines[1])
		}
	}
	first := func(change func(*Machine)) func(*Plan) {
		return func(p *Plan) {
			p.Machines[0].CapacityKg, p.Machines[1].CapacityKg = 8, 8
			change(&p.Machines[0])
		}
	}
	for _, c := range []struct {
		name string
		plan func(*Plan)
		when func(*scene)
		want MachineID
	}{
		{"both alike", second(func(*Machine) {}), nil, "w1"},
		{"the first has the greater number", first(func(m *Machine) { m.Number = 9 }), nil, "w2"},
		{"the first is large", first(func(m *Machine) { m.CapacityKg = 9 }), nil, "w2"},
		{"the second is large", second(func(m *Machine) { m.CapacityKg = 9 }), nil, "w1"},
		{"the first is accessible", first(func(m *Machine) { m.Accessible = true }), nil, "w2"},
		{"accessible counts for more than size", first(func(m *Machine) { m.Accessible, m.CapacityKg = true, 5 }), nil, "w2"},
		{"the first dries as well", first(func(m *Machine) { m.Kind = queue.WasherDryer }), nil, "w2"},
		{"that counts for more than access", func(p *Plan) { p.Machines[0].Kind, p.Machines[1].Accessible = queue.WasherDryer, true }, nil, "w2"},
		{"the first is full", second(func(m *Machine) { m.CapacityKg = 9 }), both(power("w1", 300), pass(time.Hour), power("w1", 1), pass(46*time.Minute)), "w2"},
		{"full counts for more than a second use", second(func(m *Machine) { m.Kind = queue.WasherDryer }), both(power("w1", 300), pass(time.Hour), power("w1", 1), pass(46*time.Minute)), "w2"},
		{"the empty one is out", nil, both(power("w1", 300), pass(time.Hour), power("w1", 1), event(TakeOut{Machine: "w2"}), pass(46*time.Minute)), "w1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, c.plan)
			if c.when != nil {
				c.when(s)
			}
			id := s.join("anna", queue.Wash)
			if turn := s.room.Snapshot(s.now).Turn(id); turn.Machine != c.want {
				t.Errorf("anna is called to %q, want %s", turn.Machine, c.want)
			}
		})
	}
}

// TestWhenAMachineIsOpen: others may be called to it, from exactly when on.
func TestWhenAMachineIsOpen(t *testing.T) {
	s := newScene(t, nil)
	washes(s)
	l := s.room.load(1)
	open := func(at time.Time, want bool) {
		t.Helper()
		if got := s.room.open(0, at); got != want {
			t.Errorf("%s after the end it is open: %v", at.Sub(l.ToldAt), got)
		}
	}
	open(l.ToldAt.Add(45*time.Minute-1), false)
	open(l.ToldAt.Add(45*time.Minute), true)
	l.MoreUntil = l.ToldAt.Add(50 * time.Minute)
	open(l.ToldAt.Add(50*time.Minute-1), false)
	open(l.ToldAt.Add(50*time.Minute), true)
	l.AssumedEmpty = true
	open(l.ToldAt, true)
	for name, change := range map[string]func(*machineState){
		"out": func(m *machineState) { m.Out = true }, "silent": func(m *machineState) { m.Silent = true },
		"running": func(m *machineState) { m.Running = true }, "held": func(m *machineState) { m.Hold = &Hold{} },
	} {
		before := s.room.state.Machines[0]
		change(&s.room.state.Machines[0])
		if s.room.open(0, noon.Add(9*time.Hour)) {
			t.Errorf("a machine that is %s is open", name)
		}
		s.room.state.Machines[0] = before
	}
}

// TestWhatCountsForAHome: loads at work, loads that keep others from the machine, and calls.
func TestWhatCountsForAHome(t *testing.T) {
	for _, c := range []struct {
		name string
		when func(*scene)
		want int
	}{
		{"nothing", nil, 0},
		{"a turn that waits", both(power("w1", 300), power("w2", 300), called("anna")), 0},
		{"a call", called("anna"), 1},
		{"two calls", called("anna", "anna"), 2},
		{"a load at work", both(called("anna"), power("w1", 300)), 1},
		{"one that is done", washes, 1},
		{"one that others may be called to", both(washes, pass(45*time.Minute)), 0},
		{"one that is thought to be gone", both(washes, pass(3*time.Hour+time.Second)), 0},
		{"one that was taken out", both(washes, event(Collect{Machine: "w1"})), 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, nil)
			if c.when != nil {
				c.when(s)
			}
			s.do(Tick{})
			house := s.room.house()
			if got := house.Loads["home-anna"]; got != c.want || house.Loads[""] != 0 {
				t.Errorf("%d count, want %d (%v)", got, c.want, house.Loads)
			}
			if l := s.room.load(1); l != nil && l.Owner == "anna" && (house.Whose(1) == "home-anna") != (c.want > 0) {
				t.Errorf("load 1 counts for %q", house.Whose(1))
			}
		})
	}
}

// TestForgiven: a start within a call that has lapsed, which is known only after it:
// the log says so, what was unsent of the miss is taken back, and it is forgotten that
// the call was missed.
func TestForgiven(t *testing.T) {
	late := func(s *scene) { s.room.engines[0] = &lateEngine{}; s.watts("w1", 1) }
	ready := both(late, called("anna", "ben"), func(s *scene) {
		s.now = s.now.Add(9*time.Minute + 30*time.Second)
		s.watts("w1", 300)
		s.now = s.now.Add(time.Minute)
		s.do(Tick{})
		s.now = s.now.Add(10 * time.Second)
	})
	checkLeaves(t, []leaves{{
		name: "the next one was called meanwhile", plan: oneWasher, when: ready, do: power("w1", 300),
		want: []string{
			"take back turn/2", "take back turn/1", "take back turn/1",
			"tell ben turn-returned of turn/2, washer 1, for 1h",
			"tell anna load-begun of load/1, washer 1, until 13:09:30, for 15m",
			"log taken-back w1 by ben of home-ben, turn 2: start known late",
			"log forgiven w1 by anna of home-anna, turn 1, from 12:09:30",
			"log started w1 by anna of home-anna, turn 1, load 1, cycle 1, from 12:09:30",
		},
	}})
	s := newScene(t, oneWasher)
	ready(s)
	if got := s.room.state.Learned.Answers; !reflect.DeepEqual(got, []time.Duration{noAnswer}) {
		t.Fatalf("before the answers are %v", got)
	}
	s.watts("w1", 300)
	if got := s.room.state.Learned.Answers; len(got) != 1 || got[0].Round(time.Second) != 9*time.Minute+30*time.Second {
		t.Errorf("the answers are %v, want that anna came after nine and a half minutes", got)
	}
	if turn := s.room.state.Turns[0]; turn.Person != "anna" || turn.State != queue.Started || !turn.HoldUntil.IsZero() || turn.Ways != nil {
		t.Errorf("anna's turn is %+v", turn)
	}
	if s.room.state.Machines[0].Lapsed != nil {
		t.Error("the miss is remembered")
	}
}

// TestForgivenAtTheEdges: a start at the very begin or end of the call is within it,
// one a moment before or after is not.
func TestForgivenAtTheEdges(t *testing.T) {
	for _, c := range []struct {
		start time.Duration // after the call
		want  PersonID
	}{{-1, ""}, {0, "anna"}, {10 * time.Minute, "anna"}, {10*time.Minute + 1, ""}} {
		s := calmScene(t, oneWasher)
		s.now = s.now.Add(time.Minute)
		s.join("anna", queue.Wash)
		called := s.now
		s.now = s.now.Add(10 * time.Minute)
		s.do(Tick{})
		s.now = s.now.Add(time.Minute)
		s.room.begin(s.now)
		s.room.cycleStarted(0, cycle.Event{Kind: cycle.Started, At: s.now, Start: called.Add(c.start)}, s.now)
		if l := s.room.load(1); l.Owner != c.want {
			t.Errorf("%s after the call: the load is %q's, want %q", c.start, l.Owner, c.want)
		}
	}
}

// TestForgivenElsewhere: whoever missed a call and has been called elsewhere keeps
// that call; the start is not theirs.
func TestForgivenElsewhere(t *testing.T) {
	s := calmScene(t, nil)
	s.watts("w2", 300)
	s.join("anna", queue.Wash)
	s.sleep(10 * time.Minute)
	s.do(TakeOut{Machine: "w1"})
	s.watts("w2", 1)
	s.do(Collect{Machine: "w2"})
	s.sleep(11 * time.Minute)
	if turn := s.room.state.Turns[0]; turn.State != queue.Called || turn.Machine != "w2" {
		t.Fatalf("anna's turn is %+v", turn)
	}
	s.room.begin(s.now)
	s.room.cycleStarted(0, cycle.Event{Kind: cycle.Started, At: s.now, Start: noon.Add(9 * time.Minute)}, s.now)
	if l := s.room.Snapshot(s.now).Machine("w1").Load; l.Owner != "" || s.status("w2") != Held {
		t.Errorf("the load is %q's, w2 is %s", l.Owner, s.status("w2"))
	}
}

// TestHoldOfWhoIsOnTheWay: a call ahead that becomes a hold keeps what was added for
// who had said that they were coming.
func TestHoldOfWhoIsOnTheWay(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Seed.OnMyWayAdds = 5 * time.Minute })
	s.join("anna", queue.Wash)
	if got := s.room.holdFor(1); got != 10*time.Minute {
		t.Errorf("the machine is kept for %s", got)
	}
	s.do(OnMyWay{Turn: 1, Person: "anna"})
	if got := s.room.holdFor(1); got != 15*time.Minute {
		t.Errorf("for who is on the way it is kept for %s", got)
	}
}

// TestNoticesAreNumbered: each notice of a kind about one subject has a number of its
// own, so that one that was sent does not hide the next: calls by their count, steps by
// the round of the load.
func TestNoticesAreNumbered(t *testing.T) {
	s := newScene(t, oneWasher)
	s.join("anna", queue.Wash)
	s.wait(20 * time.Minute) // missed, and called again
	s.watts("w1", 300)
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.wait(11 * time.Minute)
	says(s, cycle.Event{Kind: cycle.Resumed})
	s.watts("w1", 300)
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.wait(31 * time.Minute)
	got := map[NoticeKind][]int{}
	for _, n := range s.notices {
		got[n.Kind] = append(got[n.Kind], n.Step)
	}
	for kind, want := range map[NoticeKind][]int{
		TurnCalled: {1, 2}, TurnMissed: {1}, LoadNudge: {1, maxSteps + 1}, LoadLeft: {maxSteps + 3},
	} {
		if !reflect.DeepEqual(got[kind], want) {
			t.Errorf("%s has the numbers %v, want %v", kind, got[kind], want)
		}
	}
	if ready := got[LoadReady]; len(ready) != 2 || ready[0] == ready[1] {
		t.Errorf("%s has the numbers %v", LoadReady, ready)
	}
}
