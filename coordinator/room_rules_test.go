package coordinator

import (
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

func powerAt(at time.Time, w float64) cycle.Reading { return cycle.Power(at, w) }

func TestOutOfService(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:1] })
	s.join("anna", queue.Wash)
	s.do(ReportFault{Machine: "w1", Text: "Water on the floor."})
	s.wantTold(FaultTold, "managers")
	s.wantStatus("w1", Held)
	s.do(TakeOut{Machine: "w1", Person: "manager", Text: "Door seal"})
	s.wantTold(TurnReturned, "anna")
	s.wantStatus("w1", Out)
	s.wait(time.Hour)
	s.wantTold(TurnCalled, "anna")
	s.do(PutBack{Machine: "w1", Person: "manager"})
	s.wantTold(TurnCalled, "anna", "anna")
	if faults := s.room.Snapshot(s.now).Machine("w1").Faults; len(faults) != 0 {
		t.Fatalf("the faults are still on the board: %v", faults)
	}
}

func TestFaultNeedsWords(t *testing.T) {
	s := newScene(t, nil)
	s.refused(ReportFault{Machine: "w1", Text: "  "}, "fault.text")
	s.refused(ReportFault{Machine: "w9", Text: "It hums."}, "machine.unknown")
}

func TestLimits(t *testing.T) {
	s := newScene(t, func(p *Plan) {
		p.Seed.Limits = queue.Limits{TurnsPerHome: 2, LoadsPerHome: 1}
	})
	s.join("anna", queue.Wash)
	s.join("anna", queue.Wash)
	s.refused(Join{Person: "flatmate", Home: "home-anna", Need: queue.Dry}, "join.limit")
	s.wantTold(TurnCalled, "anna") // the second would be more than one load
	s.watts("w1", 300)
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.wantTold(TurnCalled, "anna")
	s.do(Collect{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wantTold(TurnCalled, "anna", "anna")
}

// TestLimitOfTheUntapped: a load that nobody says is collected does not keep its
// home from the other washer for longer than it keeps others from its own.
func TestLimitOfTheUntapped(t *testing.T) {
	s := newScene(t, func(p *Plan) {
		p.Seed.Limits = queue.Limits{TurnsPerHome: 2, LoadsPerHome: 1}
	})
	s.join("anna", queue.Wash)
	s.join("anna", queue.Wash)
	s.cycle("w1", time.Hour)
	s.idle()
	left := s.room.state.Loads[0].ToldAt.Add(s.room.state.Rules.CallWithLoadAfter()).Sub(s.now)
	s.wait(left - time.Second)
	s.wantTold(TurnCalled, "anna")
	s.wait(time.Second)
	s.wantTold(TurnCalled, "anna", "anna")
	if f := s.room.Snapshot(s.now).Machine("w1"); f.Load == nil {
		t.Error("the load was forgotten: it only counts no more")
	}
}

func TestJoinRefusals(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines[2].ReservedFor = []HomeID{"home-zoe"} })
	s.refused(Join{Need: queue.Wash}, "join.stranger")
	s.refused(Join{Person: "anna", Home: "home-anna", Need: queue.WashAndDry}, "join.impossible")
	s.refused(Join{Person: "anna", Home: "home-anna", Need: queue.Dry}, "join.impossible")
	s.refused(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, Wishes: queue.Wishes{Accessible: true}}, "join.impossible")
	s.join("zoe", queue.Dry)
	s.wantStatus("d3", Held)
}

func TestOnlyTheHomeActs(t *testing.T) {
	s := newScene(t, nil)
	id := s.join("anna", queue.Wash)
	s.refused(Leave{Turn: id, Person: "ben", Home: "home-ben"}, "turn.foreign")
	s.refused(Leave{Turn: 99, Person: "anna", Home: "home-anna"}, "turn.gone")
	s.do(Leave{Turn: id, Person: "flatmate", Home: "home-anna"})
	s.wantStatus("w1", Free)
	s.refused(Leave{Turn: id, Person: "anna", Home: "home-anna"}, "turn.gone")
}

func TestNotNow(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:1] })
	id := s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	s.refused(NotNow{Turn: id, Person: "anna", Until: s.now}, "turn.later-range")
	s.refused(NotNow{Turn: id, Person: "anna", Until: s.now.Add(25 * time.Hour)}, "turn.later-range")
	s.do(NotNow{Turn: id, Person: "anna", Until: s.now.Add(30 * time.Minute)})
	s.wantTold(TurnCalled, "anna", "ben")
	s.wait(30 * time.Minute) // ben misses twice meanwhile
	s.wantTold(TurnCalled, "anna", "ben", "ben", "anna")
}

func TestLetNextWithNobodyBehind(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:1] })
	id := s.join("anna", queue.Wash)
	s.join("dora", queue.Wash)
	dora := s.room.state.Turns[1].ID
	s.do(NotNow{Turn: dora, Person: "dora", Until: s.now.Add(time.Hour)})
	s.refused(LetNext{Turn: id, Person: "anna"}, "turn.nobody-next")
	s.wantStatus("w1", Held)
}

// TestLastStart: no call after last start, and none that would not be over in time.
func TestLastStart(t *testing.T) {
	s := newScene(t, func(p *Plan) {
		for i := range p.Seed.Hours {
			p.Seed.Hours[i] = queue.Day{Opens: 7 * 60, LastStart: 20 * 60, EndedBy: 21 * 60}
		}
	})
	s.now = time.Date(2026, 6, 10, 19, 50, 0, 0, time.UTC) // a wash of 75 minutes would end at 21:05
	s.idle()
	s.join("anna", queue.Wash)
	s.wantTold(TurnCalled)
	s.wait(11*time.Hour + 9*time.Minute)
	s.wantTold(TurnCalled)
	s.wait(time.Minute)
	s.wantTold(TurnCalled, "anna")
	if got := s.now.Format("15:04"); got != "07:00" {
		t.Fatalf("called at %s", got)
	}
}

// TestNightPausesTheLadder: at the room's night the ladder pauses for all but the manager.
func TestNightPausesTheLadder(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Seed.NightFrom, p.Seed.NightTo = 22*60, 7*60 })
	s.now = time.Date(2026, 6, 10, 20, 55, 0, 0, time.UTC)
	s.idle()
	s.join("anna", queue.Wash)
	s.cycle("w1", time.Hour) // told at 21:55
	s.wait(40 * time.Minute)
	s.wantTold(LoadNudge)
	s.wantTold(LoadLeft, "managers")
	s.wait(8*time.Hour + 24*time.Minute)
	s.wantTold(LoadNudge)
	s.wait(2 * time.Minute)
	s.wantTold(LoadNudge, "anna")
}

// TestNightEndsAtLocalTime: the night ends at seven by the clock on the wall on
// the days that summer time begins and ends (Europe: last Sundays of March and October).
func TestNightEndsAtLocalTime(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skip("no time zone data: ", err)
	}
	r := NewRoom(testPlan(), newPlain)
	r.plan.Zone = zone
	r.state.Rules.NightFrom, r.state.Rules.NightTo = 22*60, 7*60
	for _, day := range []time.Time{time.Date(2026, 3, 28, 23, 0, 0, 0, zone), time.Date(2026, 10, 24, 23, 0, 0, 0, zone)} {
		end := r.afterNight(day)
		if got := end.Format("02 15:04"); end.Hour() != 7 || end.Day() != day.Day()+1 {
			t.Errorf("the night of %s ends at %s", day, got)
		}
		if at := day.Add(4 * time.Hour); !r.afterNight(at).Equal(end) {
			t.Errorf("%s is not in that night", at)
		}
	}
	midday := time.Date(2026, 3, 29, 12, 0, 0, 0, zone)
	if !r.afterNight(midday).Equal(midday) {
		t.Error("midday is in the night")
	}
}

func TestRulesChange(t *testing.T) {
	s := newScene(t, nil)
	rules := s.room.state.Rules
	rules.Hold = 0
	s.refused(SetRules{Rules: rules}, "rules.invalid")
	rules.Hold = 5 * time.Minute
	s.do(SetRules{Person: "manager", Rules: rules})
	s.join("anna", queue.Wash)
	s.wait(5 * time.Minute)
	s.wantTold(TurnMissed, "anna")
	if v := s.room.Snapshot(s.now).RulesVersion; v != 2 {
		t.Fatalf("rules are at version %d, want 2", v)
	}
}

func TestMovedOut(t *testing.T) {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.watts("w1", 300)
	s.join("anna", queue.Wash)
	s.join("ben", queue.Wash)
	s.do(MovedOut{Person: "anna"})
	snap := s.room.Snapshot(s.now)
	if len(snap.Turns) != 1 || snap.Turns[0].Person != "ben" || snap.Turns[0].State != queue.Called {
		t.Fatalf("the turns left are %+v, want ben's, called", snap.Turns)
	}
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.wantTold(LoadReady)
}

// TestStoppedEarlyRestarted: a cycle that stopped early and is started again
// within minutes is one load.
func TestStoppedEarlyRestarted(t *testing.T) {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.cycle("w1", 5*time.Minute)
	s.wantTold(LoadReady, "anna")
	s.wait(4 * time.Minute)
	s.cycle("w1", time.Hour)
	s.wantTold(LoadReady, "anna", "anna")
	if l := s.room.Snapshot(s.now).Machine("w1").Load; l.ID != 1 || l.Cycle != 2 {
		t.Fatalf("load %d, cycle %d; want load 1, cycle 2", l.ID, l.Cycle)
	}
}

// TestLateReadingIsNotFolded: a reading older than the last is stored by the
// caller, but changes nothing.
func TestLateReadingIsNotFolded(t *testing.T) {
	s := newScene(t, nil)
	s.wait(time.Minute)
	s.take(s.room.Measure(s.now, "w1", powerAt(s.now.Add(-30*time.Second), 2000)))
	s.wantStatus("w1", Free)
}

func TestPrefersThePlainMachine(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines[0].Accessible = true })
	s.join("anna", queue.Wash)
	s.wantStatus("w1", Free)
	s.wantStatus("w2", Held)
	s.do(Join{Person: "ben", Home: "home-ben", Need: queue.Wash, Wishes: queue.Wishes{Accessible: true}})
	s.wantStatus("w1", Held)
}

func TestUnknownEvent(t *testing.T) {
	s := newScene(t, nil)
	s.refused(nil, "event.unknown")
}
