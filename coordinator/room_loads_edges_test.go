package coordinator

import (
	"reflect"
	"testing"
	"time"

	"drumturn/queue"
)

// TestWhoseALoadIs: a load is its owner's and their home's; where no home is known
// it is not that of everybody without one, and nobody's load is nobody's.
func TestWhoseALoadIs(t *testing.T) {
	for _, c := range []struct {
		owner  PersonID
		home   HomeID
		person PersonID
		of     HomeID
		want   bool
	}{
		{"anna", "home-anna", "anna", "home-anna", true},
		{"anna", "home-anna", "anna", "", true},
		{"anna", "home-anna", "sister", "home-anna", true},
		{"anna", "home-anna", "ben", "home-ben", false},
		{"anna", "", "ben", "", false},
		{"", "", "", "", false},
		{"", "home-anna", "sister", "home-anna", false},
	} {
		l := Load{Owner: c.owner, Home: c.home}
		if got := l.mine(c.person, c.of); got != c.want {
			t.Errorf("a load of %q of %q is %q's of %q: %v", c.owner, c.home, c.person, c.of, got)
		}
		on := TableLoad{Owner: c.owner, Home: c.home}
		if got := on.Of(c.person, c.of); got != c.want {
			t.Errorf("on the table, a load of %q of %q is %q's of %q: %v", c.owner, c.home, c.person, c.of, got)
		}
		shared := Load{Shared: []Sharer{{c.owner, c.home}}}
		if c.owner != "" && shared.SharedWith(c.person, c.of) != c.want {
			t.Errorf("a load shared with %q of %q is shared with %q of %q: %v", c.owner, c.home, c.person, c.of, !c.want)
		}
	}
}

// TestTestRunLength: five minutes, stopped early, are a test run; a moment more is none.
func TestTestRunLength(t *testing.T) {
	for _, c := range []struct {
		reason EndReason
		length time.Duration
		want   bool
	}{
		{EndStopped, 5 * time.Minute, true},
		{EndStopped, 5*time.Minute + 1, false},
		{EndDone, time.Minute, false},
		{EndPresumed, time.Minute, false},
		{"", 0, false},
	} {
		l := Load{Reason: c.reason, StartedAt: noon, ReadyAt: noon.Add(c.length)}
		if got := l.testRun(); got != c.want {
			t.Errorf("%s of %q is a test run: %v", c.length, c.reason, got)
		}
	}
}

// TestNotMeLeavesNothing of the person in the load: nor the neighbours whom they had
// invited, nor the offer.
func TestNotMeLeavesNothing(t *testing.T) {
	s := newScene(t, nil)
	both(called("anna"), power("w1", 300), sharedBy(1), event(OfferShare{Machine: "w1", Person: "anna", Hash: "h"}))(s)
	start := s.room.load(1).StartedAt
	s.do(NotMe{Machine: "w1", Person: "anna"})
	if got, want := *s.room.load(1), (Load{ID: 1, Machine: "w1", Cycle: 1, StartedAt: start, Past: 1, PastSince: s.now}); !reflect.DeepEqual(got, want) {
		t.Errorf("the load is\n%+v, want\n%+v", got, want)
	}
}

// TestClaimTakesTheRightTurn: a claim uses up the first turn of its owner that the
// machine serves and that could be called: a wash no dryer turn, another's turn never,
// and nothing that waits for a wash. A machine kept for it is free again.
func TestClaimTakesTheRightTurn(t *testing.T) {
	for _, c := range []struct {
		name string
		when func(*scene)
		want TurnID // 0: none
		held MachineID
	}{
		{"a turn that waits", both(power("w2", 300), called("anna")), 1, ""},
		{"a turn that is called elsewhere", called("anna"), 1, ""},
		{"the first of two", both(power("w2", 300), called("anna", "anna")), 1, ""},
		{"a dryer turn stays", func(s *scene) { s.join("anna", queue.Dry) }, 0, "d3"},
		{"a neighbour's stays", called("ben"), 0, "w2"},
		{"one of the same home stays", func(s *scene) {
			s.do(Join{Person: "sister", Home: "home-anna", Need: queue.Wash})
		}, 0, "w2"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, nil)
			s.watts("w1", 300)
			c.when(s)
			s.do(Claim{Machine: "w1", Person: "anna", Home: "home-anna"})
			l := s.room.Snapshot(s.now).Machine("w1").Load
			if l.Turn != c.want || l.Owner != "anna" || l.Home != "home-anna" {
				t.Errorf("the load is %+v, want it to have used turn %d", l, c.want)
			}
			for _, id := range []MachineID{"w2", "d3"} {
				if held := s.status(id) == Held; held != (id == c.held) {
					t.Errorf("%s is %s", id, s.status(id))
				}
			}
			for _, turn := range s.room.state.Turns {
				if started := turn.State == queue.Started; started != (turn.ID == c.want) {
					t.Errorf("turn %d is %s", turn.ID, turn.State)
				}
			}
		})
	}
}

// TestClaimBySharer: whoever shares a load and then claims it, since its owner has
// moved out, shares it with nobody of their own home.
func TestClaimBySharer(t *testing.T) {
	s := newScene(t, nil)
	both(called("anna"), power("w1", 300), sharedBy(2), event(MovedOut{Home: "home-anna"}))(s)
	s.do(Claim{Machine: "w1", Person: "na", Home: "home-na"})
	if l := s.room.load(1); l.Owner != "na" || len(l.Shared) != 1 || l.Shared[0].Person != "nb" {
		t.Errorf("the load is %+v, want na's, shared with nb", l)
	}
}

// TestStillInsideAgain: a load that was not taken out after all is where it was, as
// it was, with its turn, and its ladder waits for the time in between.
func TestStillInsideAgain(t *testing.T) {
	s := newScene(t, nil)
	both(called("anna"), func(s *scene) { s.cycle("w1", time.Hour) }, pass(4*time.Minute))(s)
	before, turn := *s.room.load(1), s.room.state.Turns[0]
	s.do(Collect{Machine: "w1", OnTable: true})
	s.wait(20 * time.Minute)
	s.do(StillInside{Machine: "w1", Person: "anna"})
	before.Pause = 20 * time.Minute
	got := *s.room.load(1)
	got.Pause = got.Pause.Round(time.Second)
	if !reflect.DeepEqual(got, before) {
		t.Errorf("the load is\n%+v, want\n%+v", got, before)
	}
	m := s.room.state.Machines[0]
	if m.Load != 1 || m.Emptied != nil || m.EmptiedTurn != nil || len(s.room.state.Table) != 0 {
		t.Errorf("the machine is %+v, the table %+v", m, s.room.state.Table)
	}
	if got := s.room.state.Turns[0]; !reflect.DeepEqual(got, turn) {
		t.Errorf("the turn is %+v, want %+v", got, turn)
	}
	s.do(Collect{Machine: "w1", Person: "anna"})
	if n := len(s.room.state.Turns); n != 0 {
		t.Errorf("%d turns are left", n)
	}
	s.cycle("w1", 30*time.Minute) // a walk-up's, which used no turn
	s.do(Collect{Machine: "w1"})
	if m := s.room.state.Machines[0]; m.EmptiedTurn != nil {
		t.Errorf("with the walk-up's load the machine remembers the turn %+v", m.EmptiedTurn)
	}
}

// TestEmptiedWhileHeld: when the load is taken out of a machine that somebody was
// called to, the machine is simply theirs; contradicted, it is inside again.
func TestEmptiedWhileHeld(t *testing.T) {
	s := newScene(t, oneWasher)
	both(called("anna", "ben"), func(s *scene) { s.cycle("w1", time.Hour) }, pass(46*time.Minute))(s)
	inside := func(want bool) {
		t.Helper()
		if h := s.room.state.Machines[0].Hold; h == nil || h.LoadInside != want {
			t.Fatalf("the hold is %+v, want a load inside: %v", h, want)
		}
	}
	inside(true)
	if l := s.room.load(1); l.Called != 1 {
		t.Errorf("%d were called with the load inside", l.Called)
	}
	s.do(Collect{Machine: "w1"})
	inside(false)
	s.wantStatus("w1", Held)
	s.do(StillInside{Machine: "w1", Person: "anna"})
	inside(true)
	s.wantStatus("w1", Overdue)
}

// TestMoreTimeIsOffered: with the notice, where asking would give something.
func TestMoreTimeIsOffered(t *testing.T) {
	for _, c := range []struct {
		name string
		plan func(*Plan)
		when func(*scene)
		want time.Duration
	}{
		{"nothing is inside", nil, nil, 0},
		{"it runs", nil, both(called("anna"), power("w1", 300)), 0},
		{"nobody waits", nil, washes, 10 * time.Minute},
		{"somebody waits, and the house gives them half", func(p *Plan) { oneWasher(p); p.Seed.MoreTimeWaiting = 5 * time.Minute }, both(called("anna", "ben"), func(s *scene) { s.cycle("w1", time.Hour) }), 5 * time.Minute},
		{"somebody waits", oneWasher, both(called("anna", "ben"), func(s *scene) { s.cycle("w1", time.Hour) }), 0},
		{"it was asked for", nil, both(washes, event(MoreTime{Machine: "w1", Person: "anna"})), 0},
		{"somebody was called", func(p *Plan) { oneWasher(p); p.Seed.MoreTimeWaiting = 5 * time.Minute }, both(called("anna", "ben"), func(s *scene) { s.cycle("w1", time.Hour) }, pass(46*time.Minute)), 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, c.plan)
			if c.when != nil {
				c.when(s)
			}
			if got := s.room.Snapshot(s.now).Machine("w1").MoreTime; got != c.want {
				t.Errorf("%s more is offered, want %s", got, c.want)
			}
		})
	}
}

// TestWhoIsNext for a load that stays: whoever waits for the machine, could use it and
// be called now, and is not of the load's home.
func TestWhoIsNext(t *testing.T) {
	for _, c := range []struct {
		name string
		when func(*scene)
		want PersonID
	}{
		{"nobody", nil, ""},
		{"ben", called("ben"), "ben"},
		{"not the same home", func(s *scene) { s.do(Join{Person: "sister", Home: "home-anna", Need: queue.Wash}) }, ""},
		{"ben behind the same home", both(func(s *scene) { s.do(Join{Person: "sister", Home: "home-anna", Need: queue.Wash}) }, called("ben")), "ben"},
		{"not who wants a dryer", func(s *scene) { s.join("ben", queue.Dry) }, ""},
		{"not who asked to be called later", func(s *scene) {
			id := s.join("ben", queue.Wash)
			s.do(NotNow{Turn: id, Person: "ben", Until: s.now.Add(time.Hour)})
		}, ""},
		{"who asked for it until now", func(s *scene) {
			id := s.join("ben", queue.Wash)
			s.do(NotNow{Turn: id, Person: "ben", Until: s.now.Add(time.Minute)})
			s.now = s.now.Add(time.Minute)
		}, "ben"},
		{"nobody, at a machine that is out", both(called("ben"), event(TakeOut{Machine: "w1"})), ""},
		{"whoever, of nobody's load", both(event(MovedOut{Home: "home-anna"}), func(s *scene) {
			s.do(Join{Person: "sister", Home: "home-anna", Need: queue.Wash})
		}), "sister"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, func(p *Plan) { p.Machines = []Machine{p.Machines[0], p.Machines[2]} })
			both(power("d3", 300), washes)(s)
			if c.when != nil {
				c.when(s)
			}
			if got := s.room.nextFor(0, s.room.load(2), s.now); got != c.want {
				t.Errorf("the next one is %q, want %q", got, c.want)
			}
		})
	}
}
