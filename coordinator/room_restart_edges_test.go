package coordinator

import (
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// restart kills the room and opens it again after a time, with readings that were
// stored and of which no step was; since is when it was last alive.
func (s *scene) restart(down time.Duration, tail ...MachineReading) {
	s.Helper()
	s.store.stored.Tail = append(s.store.stored.Tail, tail...)
	s.reopen(down)
}

// read is a stored reading of a machine, some time after noon.
func read(id MachineID, after time.Duration, watts float64) MachineReading {
	return MachineReading{Machine: id, Reading: cycle.Power(noon.Add(after), watts)}
}

// TestWhatARestartLeaves: what the readings say that were stored and not yet acted on.
func TestWhatARestartLeaves(t *testing.T) {
	checkLeaves(t, []leaves{
		{name: "nothing has happened", do: func(s *scene) { s.restart(5 * time.Minute) }, want: []string{}},
		{
			name: "a start that was stored with nothing else", when: called("anna"),
			do: func(s *scene) { s.restart(5*time.Minute, read("w1", 2*time.Minute, 300)) },
			want: []string{
				"take back turn/1",
				"tell anna load-begun of load/1, washer 1, until 13:02, for 15m",
				"log started w1 by anna of home-anna, turn 1, load 1, cycle 1, from 12:02",
			},
		},
		{
			name: "an end that was stored with nothing else", when: both(called("anna"), power("w1", 300), pass(50*time.Minute)),
			do: func(s *scene) { s.restart(5*time.Minute, read("w1", 52*time.Minute, 1)) },
			want: []string{
				"take back load/1",
				"tell anna load-ready of load/1, washer 1, ready 12:52, 10m more if asked, presumed, for 2h",
				"log cycle w1, load 1, cycle 1, from 12:00 to 12:52: presumed",
			},
		},
		{
			name: "a meter that was heard again", plan: oneWasher, when: both(pass(time.Minute), silence(15*time.Minute)),
			do:   func(s *scene) { s.restart(time.Minute, read("w1", 15*time.Minute, 1)) },
			want: []string{"take back machine/w1", "log heard w1, from 12:01"},
		},
		{
			name: "a machine that is run by hand does what its taps say", when: event(ByHand{Machine: "w1", On: true}),
			do: func(s *scene) { s.restart(5*time.Minute, read("w1", 2*time.Minute, 300)) }, want: []string{},
		},
		{
			name: "a reading older than the last one", when: both(power("w1", 300), pass(5*time.Minute)),
			do: func(s *scene) { s.restart(time.Minute, read("w1", 4*time.Minute, 1)) }, want: []string{},
		},
		{
			name: "a machine that is not there", do: func(s *scene) { s.restart(time.Minute, read("w9", 4*time.Minute, 300)) }, want: []string{},
		},
	})
}

// TestWhatAForgottenMemoryLeaves: an engine that was made anew finds a machine that
// had been at work, and sees nothing of it for ten minutes, or sees it work.
func TestWhatAForgottenMemoryLeaves(t *testing.T) {
	forgets := func(s *scene) { // as a new version of the program may
		s.store.stored.Checkpoints, s.store.stored.Tail = nil, nil
		s.reopen(time.Minute)
	}
	running := both(called("anna"), power("w1", 300), pass(30*time.Minute))
	checkLeaves(t, []leaves{
		{
			name: "it stands still", when: both(running, forgets, power("w1", 1), pass(9*time.Minute)), do: pass(2 * time.Minute),
			want: []string{
				"take back load/1",
				"tell anna load-ready of load/1, washer 1, ready 12:31, 10m more if asked, presumed, for 2h",
				"log cycle w1, load 1, cycle 1, from 12:00 to 12:31: presumed",
			},
		},
		{name: "it works", plan: oneWasher, when: both(running, forgets), do: both(power("w1", 300), pass(15*time.Minute)), want: []string{
			"log heard w1",
		}},
		{
			name: "it is run by hand meanwhile", plan: oneWasher, when: both(running, forgets, event(ByHand{Machine: "w1", On: true})),
			do: both(power("w1", 1), pass(15*time.Minute)), want: []string{"log heard w1"},
		},
	})
}

// TestHoldsOverARestart: a hold that would have ended while the program was down has
// its full time again, once; one that ended before, or ends later, is as it was.
func TestHoldsOverARestart(t *testing.T) {
	const since, now = 30 * time.Minute, 40 * time.Minute // after noon
	for _, c := range []struct {
		name     string
		until    time.Duration
		before   bool // it was restarted before
		restarts bool
	}{
		{"it ended as the program stopped", since, false, false},
		{"it ended a moment later", since + 1, false, true},
		{"it ends as the program starts", now, false, true},
		{"it ends a moment later", now + 1, false, false},
		{"it was restarted before", since + 5*time.Minute, true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, func(p *Plan) { p.Seed.LongerHold, p.Seed.LongerHoldHomes = 20*time.Minute, []HomeID{"home-anna"} })
			s.join("anna", queue.Wash)
			h := s.room.state.Machines[0].Hold
			h.Until, h.Restarted = noon.Add(c.until), c.before
			s.room.restartHolds(noon.Add(now), noon.Add(since))
			want := noon.Add(c.until)
			if c.restarts {
				want = noon.Add(now + 20*time.Minute)
			}
			if !h.Until.Equal(want) || h.Restarted != (c.restarts || c.before) {
				t.Errorf("it ends %s after noon (restarted: %v), want %s", h.Until.Sub(noon), h.Restarted, want.Sub(noon))
			}
			if turn := s.room.state.Turns[0]; c.restarts && !turn.HoldUntil.Equal(want) {
				t.Errorf("its turn thinks it ends at %s", turn.HoldUntil)
			}
		})
	}
}

// TestLaddersOverARestart: a step that would have been due while the program was down
// waits its time again, and those behind it with it; so does the time that was asked for.
func TestLaddersOverARestart(t *testing.T) {
	for _, c := range []struct {
		name        string
		since, down time.Duration // since the load was told of
		taken       uint64
		before      bool
		more        time.Duration // the end of the time asked for; 0: none was
		pause       time.Duration // what the ladder then stands behind
		moreUntil   time.Duration
	}{
		{name: "the first lapsed five minutes ago", since: 8 * time.Minute, down: 7 * time.Minute, pause: 15 * time.Minute},
		{name: "it lapses as the program starts", since: 8 * time.Minute, down: 2 * time.Minute, pause: 10 * time.Minute},
		{name: "it lapses a moment later", since: 8 * time.Minute, down: 2*time.Minute - 1},
		{name: "it lapsed as the program stopped", since: 10 * time.Minute, down: 2 * time.Minute},
		{name: "it lapsed a moment later", since: 10*time.Minute - 1, down: 2 * time.Minute, pause: 12*time.Minute - 1},
		{name: "it was taken before; the second lapsed", since: 14 * time.Minute, down: 6 * time.Minute, taken: 1, pause: 10 * time.Minute},
		{name: "it was restarted before", since: 8 * time.Minute, down: 7 * time.Minute, before: true},
		{name: "the time asked for lapsed", since: 50 * time.Minute, down: 9 * time.Minute, taken: 7, more: 55 * time.Minute, moreUntil: 69 * time.Minute},
		{name: "it lapses as the program starts", since: 50 * time.Minute, down: 5 * time.Minute, taken: 7, more: 55 * time.Minute, moreUntil: 65 * time.Minute},
		{name: "it lapsed as the program stopped", since: 55 * time.Minute, down: 5 * time.Minute, taken: 7, more: 55 * time.Minute, moreUntil: 55 * time.Minute},
		{name: "it lapses later", since: 50 * time.Minute, down: 5*time.Minute - 1, taken: 7, more: 55 * time.Minute, moreUntil: 55 * time.Minute},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, nil)
			washes(s)
			l := s.room.load(1)
			l.Taken, l.Restarted = c.taken, c.before
			if c.more != 0 {
				l.MoreUntil = l.ToldAt.Add(c.more)
			}
			told := l.ToldAt
			now := told.Add(c.since + c.down)
			s.room.restartLadders(now, told.Add(c.since))
			if l.Pause.Round(time.Second) != c.pause.Round(time.Second) {
				t.Errorf("the ladder stands back by %s, want %s", l.Pause, c.pause)
			}
			if c.more != 0 && l.MoreUntil.Sub(told) != c.moreUntil {
				t.Errorf("the time asked for ends after %s, want %s", l.MoreUntil.Sub(told), c.moreUntil)
			}
			restarted := c.before || c.pause != 0 || c.moreUntil != c.more
			if l.Restarted != restarted {
				t.Errorf("restarted: %v, want %v", l.Restarted, restarted)
			}
		})
	}
}

// TestNoStopNoRestart: a program that was not down restarts nothing.
func TestNoStopNoRestart(t *testing.T) {
	s := newScene(t, nil)
	set, _, _ := s.room.Step(s.now, Reopened{Since: s.now})
	if set.Moves() || !s.room.state.QuietUntil.IsZero() {
		t.Errorf("it changes %+v", set)
	}
	s.now = s.now.Add(time.Second)
	set, _, _ = s.room.Step(s.now, Reopened{Since: noon})
	if !set.Moves() || !s.room.state.QuietUntil.Equal(s.now.Add(10*time.Minute)) {
		t.Errorf("silent meters are spared until %s", s.room.state.QuietUntil)
	}
}

// TestMachinesThatAreGone: after a change of the building a machine takes its loads
// along and lets its turns go on; everybody else's stay as they were.
func TestMachinesThatAreGone(t *testing.T) {
	s := newScene(t, nil)
	s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true})
	s.watts("w1", 300)
	called("ben")(s)
	s.do(OnMyWay{Turn: 3, Person: "ben"})
	s.join("cleo", queue.Dry)
	plan := testPlan()
	plan.Machines = plan.Machines[2:]
	room, err := Restore(plan, s.store.stored, newPlain)
	if err != nil {
		t.Fatal(err)
	}
	turns := room.state.Turns
	if len(turns) != 3 || len(room.state.Loads) != 0 || len(room.state.Machines) != 1 {
		t.Fatalf("%d turns, %d loads, %d machines are left, want 3, 0 and 1", len(turns), len(room.state.Loads), len(room.state.Machines))
	}
	if d := turns[0]; d.ID != 2 || d.Behind != 0 || d.State != queue.Waiting {
		t.Errorf("anna's dryer is %+v, want it to wait for nothing", d)
	}
	b := turns[1]
	if b.State != queue.Waiting || b.Machine != "" || !b.CalledAt.IsZero() || !b.HoldUntil.IsZero() || !b.OnWay.IsZero() {
		t.Errorf("ben's turn is %+v, want it to wait", b)
	}
	if c := turns[2]; c.State != queue.Called || c.Machine != "d3" || c.CalledAt.IsZero() {
		t.Errorf("cleo's call is %+v, want it as it was", c)
	}
}
