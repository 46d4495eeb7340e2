package coordinator

import (
	"strings"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

func oneWasher(p *Plan) { p.Machines = p.Machines[:1] }

// TestNotMeAfterAClaim: whoever claims a load and then says it was not theirs
// has their old place, and has overtaken nobody.
func TestNotMeAfterAClaim(t *testing.T) {
	s := newScene(t, oneWasher)
	s.watts("w1", 300)
	s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	s.do(Claim{Machine: "w1", Person: "ben", Home: "home-ben"})
	s.do(NotMe{Machine: "w1", Person: "ben", Home: "home-ben"})
	if turns := s.room.Snapshot(s.now).Turns; turns[0].Person != "anna" || turns[1].Person != "ben" || turns[1].State != queue.Waiting {
		t.Fatalf("the line is %+v, want anna before ben", turns)
	}
}

// TestHeldThoughAssumedEmpty: a machine that may hold a load and is kept for
// somebody is held, not free.
func TestHeldThoughAssumedEmpty(t *testing.T) {
	s := newScene(t, oneWasher)
	s.cycle("w1", time.Hour)
	s.wait(3 * time.Hour)
	s.wantStatus("w1", Free)
	s.join("ben", queue.Wash)
	s.wantTold(TurnCalled, "ben")
	s.wantStatus("w1", Held)
	if v := s.room.Snapshot(s.now).Machine("w1"); !v.MayHoldLoad || v.Until.IsZero() {
		t.Fatalf("may hold a load: %v, until %s", v.MayHoldLoad, v.Until)
	}
}

// TestAssumedEmptyIsCalledTo: what the board calls free is called to, though
// loads known to be inside must wait longer.
func TestAssumedEmptyIsCalledTo(t *testing.T) {
	s := newScene(t, func(p *Plan) {
		oneWasher(p)
		p.Seed.AssumeEmptyAfter, p.Seed.CallUncollectedAfter = time.Hour, 4*time.Hour
	})
	s.cycle("w1", time.Hour)
	s.wait(time.Hour)
	s.join("ben", queue.Wash)
	s.wantTold(TurnCalled, "ben")
}

// TestByHandIgnoresTheMeter: a broken meter takes no load away from whoever
// started the machine by hand.
func TestByHandIgnoresTheMeter(t *testing.T) {
	s := newScene(t, oneWasher)
	s.do(ByHand{Machine: "w1", On: true})
	s.do(StartByHand{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wait(time.Minute)
	s.watts("w1", 300)
	s.wait(time.Minute)
	s.watts("w1", 1)
	if v := s.room.Snapshot(s.now).Machine("w1"); v.Status != Running || v.Load.Owner != "anna" || v.Cycle != 1 {
		t.Fatalf("the machine is %s, cycle %d, load %+v", v.Status, v.Cycle, v.Load)
	}
}

// TestByHandOffEndsWhatTheMeterDoesNotSee: no cycle runs for ever.
func TestByHandOffEndsWhatTheMeterDoesNotSee(t *testing.T) {
	s := newScene(t, oneWasher)
	s.do(ByHand{Machine: "w1", On: true})
	s.do(StartByHand{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wait(10 * time.Minute)
	s.do(ByHand{Machine: "w1"})
	s.wantStatus("w1", Finished)
	s.wantTold(LoadReady, "anna")
}

// TestByHandOffTakesUpTheMeter: a cycle that the meter saw meanwhile is known.
func TestByHandOffTakesUpTheMeter(t *testing.T) {
	s := newScene(t, oneWasher)
	s.do(ByHand{Machine: "w1", On: true})
	s.watts("w1", 300)
	s.wantStatus("w1", Free)
	s.do(ByHand{Machine: "w1"})
	s.wantStatus("w1", Running)
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.wantStatus("w1", Finished)
}

// TestOutSince: what a machine does while out of service does not change since
// when it is out, nor the repair since when it runs.
func TestOutSince(t *testing.T) {
	s := newScene(t, oneWasher)
	s.watts("w1", 300)
	started := s.now
	s.wait(10 * time.Minute)
	s.do(TakeOut{Machine: "w1", Text: "Door seal"})
	out := s.now
	s.wait(30 * time.Minute)
	if v := s.room.Snapshot(s.now).Machine("w1"); v.Status != Out || !v.Since.Equal(out) {
		t.Fatalf("%s since %s, want out since %s", v.Status, v.Since, out)
	}
	s.do(PutBack{Machine: "w1"})
	if v := s.room.Snapshot(s.now).Machine("w1"); v.Status != Running || !v.Since.Equal(started) {
		t.Fatalf("%s since %s, want running since %s", v.Status, v.Since, started)
	}
}

// TestStillInsideIsNotNudgedAtOnce: the ladder stood still while the load was
// thought to be collected.
func TestStillInsideIsNotNudgedAtOnce(t *testing.T) {
	s := newScene(t, oneWasher)
	s.join("anna", queue.Wash)
	s.cycle("w1", time.Hour)
	s.wait(5 * time.Minute)
	s.do(Collect{Machine: "w1"})
	s.wait(time.Hour)
	s.do(StillInside{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wantTold(LoadNudge)
	s.wantTold(LoadLeft)
	s.wantStatus("w1", Finished)
	s.wait(5 * time.Minute)
	s.wantTold(LoadNudge, "anna")
	s.wait(20 * time.Minute)
	s.wantTold(LoadLeft, "managers")
}

// TestClaimedReadyWashFreesItsDryer: a dryer booked behind a load that is ready
// already is called at once.
func TestClaimedReadyWashFreesItsDryer(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = []Machine{p.Machines[0], p.Machines[2]} })
	s.watts("w1", 300)
	s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true})
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.do(Claim{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wantTold(TurnCalled, "anna")
	s.wantStatus("d3", Held)
}

// TestDryAfterNeedsADryer: no turn joins that can never be called.
func TestDryAfterNeedsADryer(t *testing.T) {
	s := newScene(t, oneWasher)
	s.refused(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true}, "join.impossible")
}

// TestForgottenWashFreesItsDryer: the dryer booked behind a load on a machine
// that left the building file does not wait for ever.
func TestForgottenWashFreesItsDryer(t *testing.T) {
	s := newScene(t, nil)
	s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true})
	s.watts("w1", 300)
	plan := s.room.plan
	plan.Machines = plan.Machines[2:]
	s.store.stored.Tail = nil // the dryer is heard only below
	room, err := Restore(plan, s.store.stored, newPlain)
	if err != nil {
		t.Fatal(err)
	}
	s.now = s.now.Add(time.Second)
	set := room.Measure(s.now, "d3", powerAt(s.now, 1))
	if len(set.Notices) != 1 || set.Notices[0].Kind != TurnCalled {
		t.Fatalf("after the washers left: %+v; want a call to the dryer", set.Notices)
	}
}

// TestForecastOfABookedDryer: it is called as its wash ends, a few minutes ahead.
func TestForecastOfABookedDryer(t *testing.T) {
	s := newScene(t, nil)
	s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true})
	s.watts("w1", 300)
	snap := s.foreseen()
	f := snap.Forecast(2)
	if ready := snap.Machine("w1").Until; f == nil || !f.Known || f.Median.Sub(ready.Add(-3*time.Minute)).Abs() > time.Minute {
		t.Fatalf("the dryer is forecast %+v, the wash is ready at %s", f, ready)
	}
}

// TestRelearningKeepsTheLoad: an engine that forgot a running cycle and finds
// it again takes the load away from nobody, and says nothing.
func TestRelearningKeepsTheLoad(t *testing.T) {
	s := newScene(t, oneWasher)
	s.join("anna", queue.Wash)
	s.watts("w1", 300)
	s.wait(30 * time.Minute)
	for i := range s.store.stored.Checkpoints {
		s.store.stored.Checkpoints[i].Version = 99
	}
	told := len(s.notices)
	s.reopen(time.Minute)
	s.watts("w1", 300)
	if v := s.room.Snapshot(s.now).Machine("w1"); v.Status != Running || v.Load.ID != 1 || v.Load.Owner != "anna" || v.Cycle != 1 {
		t.Fatalf("%s, cycle %d, load %+v; want load 1 of anna running on", v.Status, v.Cycle, v.Load)
	}
	if len(s.notices) != told {
		t.Fatalf("it told %+v", s.notices[told:])
	}
}

func TestDamagedStateNamesTheRoom(t *testing.T) {
	for name, stored := range map[string]Stored{
		"state":      {Rows: []Row{{Table: "room", Key: "state", Value: []byte(`{"Turns":7}`)}}},
		"cut short":  {Rows: []Row{{Table: "room", Key: "state", Value: []byte(`{"Tur`)}}},
		"checkpoint": {Checkpoints: []MachineCheckpoint{{Machine: "w1", Checkpoint: cycle.Checkpoint{Version: 1, Data: []byte("?")}}}},
	} {
		_, err := Restore(testPlan(), stored, newPlain)
		if err == nil || !strings.Contains(err.Error(), `"cellar"`) {
			t.Errorf("%s: %v, want an error that names the room", name, err)
		}
	}
}

// TestSnapshotSharesNothing: whoever writes into a snapshot, or into rules that
// were handed in, does not change the room.
func TestSnapshotSharesNothing(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines[2].ReservedFor = []HomeID{"home-zoe"} })
	rules := s.room.state.Rules
	rules.Ladder = []LadderStep{{time.Hour, TellOwner}}
	s.do(SetRules{Rules: rules})
	rules.Ladder[0].After = 1
	s.join("anna", queue.Wash)
	s.watts("w2", 300)
	s.do(ReportFault{Machine: "w1", Text: "It hums."})
	snap := s.room.Snapshot(s.now)
	snap.Rules.Ladder[0].After = 2
	snap.Turns[0].Person = "eve"
	snap.Machine("w1").Hold.Until = time.Time{}
	snap.Machine("w1").Faults[0].Text = "no"
	snap.Machine("w2").Load.Owner = "eve"
	snap.Machine("d3").ReservedFor[0] = "home-eve"
	again := s.room.Snapshot(s.now)
	if again.Rules.Ladder[0].After != time.Hour || again.Turns[0].Person != "anna" || again.Machine("w1").Hold.Until.IsZero() ||
		again.Machine("w1").Faults[0].Text != "It hums." || again.Machine("w2").Load.Owner != "" || again.Machine("d3").ReservedFor[0] != "home-zoe" {
		t.Fatalf("the room was changed from outside: %+v", again)
	}
	s.do(Leave{Turn: 1, Person: "anna"})
	if again.Turns[0].State != queue.Called || again.Machine("w1").Hold == nil {
		t.Fatal("a snapshot changed with its room")
	}
}

// TestNightStepThatLapsedWhileDown restarts as any other: due at seven, the
// program down from half past six to half past seven.
func TestNightStepThatLapsedWhileDown(t *testing.T) {
	s := newScene(t, func(p *Plan) {
		oneWasher(p)
		p.Seed.NightFrom, p.Seed.NightTo = 22*60, 7*60
	})
	s.now = time.Date(2026, 6, 10, 20, 55, 0, 0, time.UTC)
	s.idle()
	s.join("anna", queue.Wash)
	s.cycle("w1", time.Hour)
	s.wait(8*time.Hour + 35*time.Minute)
	s.reopen(time.Hour)
	s.idle()
	s.wantTold(LoadNudge)
	s.wait(9 * time.Minute)
	s.wantTold(LoadNudge)
	s.wait(time.Minute)
	s.wantTold(LoadNudge, "anna")
}

// TestMovedOutCannotContradict: a load that was collected before its owner left
// does not come back.
func TestMovedOutCannotContradict(t *testing.T) {
	s := newScene(t, oneWasher)
	s.join("anna", queue.Wash)
	s.cycle("w1", time.Hour)
	s.do(Collect{Machine: "w1"})
	s.do(MovedOut{Home: "home-anna"})
	s.refused(StillInside{Machine: "w1", Person: "anna", Home: "home-anna"}, "still.none")
}

// saysEngine says what a test wants it to.
type saysEngine struct {
	plainEngine
	say []cycle.Event
}

func (e *saysEngine) Read(now time.Time, r cycle.Reading) []cycle.Event {
	if out := e.say; len(out) > 0 {
		e.say, e.S.Last = nil, r
		e.S.Running = out[0].Kind == cycle.Resumed
		return out
	}
	return e.plainEngine.Read(now, r)
}

// TestWithdrawnStart: a start that was none gives the turn back its call.
func TestWithdrawnStart(t *testing.T) {
	s := newScene(t, oneWasher)
	e := &saysEngine{plainEngine: *s.room.engines[0].(*plainEngine)}
	s.room.engines[0] = e
	s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash})
	s.watts("w1", 300)
	s.wantStatus("w1", Running)
	e.say = []cycle.Event{{Kind: cycle.Withdrawn}}
	s.wait(time.Minute)
	s.wantStatus("w1", Held)
	s.wantTold(TurnCalled, "anna", "anna")
	s.wantTold(LoadReady)
}

// TestWithdrawnStartOnce: the second such start counts as a missed call, so that
// nobody keeps a machine for ever by starting nothing in it.
func TestWithdrawnStartOnce(t *testing.T) {
	s := newScene(t, oneWasher)
	e := &saysEngine{plainEngine: *s.room.engines[0].(*plainEngine)}
	s.room.engines[0] = e
	anna := s.join("anna", queue.Wash)
	ben := s.join("ben", queue.Wash)
	nothing := func() {
		e.S.Running = false
		s.watts("w1", 300)
		e.say = []cycle.Event{{Kind: cycle.Withdrawn}}
		s.wait(time.Minute)
		e.S.Last.Watts = 1
	}
	nothing()
	if turn := s.room.Snapshot(s.now).Turn(anna); turn.State != queue.Called || !turn.Tried || len(s.told(TurnMissed)) != 0 {
		t.Fatalf("after the first test run the turn is %+v, want it called again", turn)
	}
	if len(s.factsOf(FactTestRun)) != 1 {
		t.Error("the test run is not written down")
	}
	nothing()
	s.wantTold(TurnMissed, "anna")
	snap := s.room.Snapshot(s.now)
	if a, b := snap.Turn(anna), snap.Turn(ben); a.State != queue.Waiting || a.Misses != 1 || b.State != queue.Called {
		t.Fatalf("after the second the turns are %+v and %+v, want ben's called", a, b)
	}
}

// TestResumed: an end declared too soon is taken back, whoever collected meanwhile.
func TestResumed(t *testing.T) {
	for _, collected := range []bool{false, true} {
		s := newScene(t, oneWasher)
		e := &saysEngine{plainEngine: *s.room.engines[0].(*plainEngine)}
		s.room.engines[0] = e
		s.join("anna", queue.Wash)
		s.cycle("w1", time.Hour)
		s.wantTold(LoadReady, "anna")
		if collected {
			s.do(Collect{Machine: "w1", Person: "anna"})
		}
		e.say = []cycle.Event{{Kind: cycle.Resumed, Start: s.now}}
		s.watts("w1", 300)
		s.wantStatus("w1", Running)
		if load := s.room.Snapshot(s.now).Machine("w1").Load; load.Ready() || (load.ID == 1) == collected {
			t.Fatalf("collected %v: the load is %+v", collected, load)
		}
	}
}
