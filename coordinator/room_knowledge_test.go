package coordinator

import (
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// wiseEngine is a plainEngine that has learned something.
type wiseEngine struct {
	plainEngine
	know      cycle.Knowledge
	forgotten bool
}

func (e *wiseEngine) Knowledge() cycle.Knowledge { return e.know }
func (e *wiseEngine) Forget()                    { e.know, e.forgotten = cycle.Knowledge{}, true }

func TestKnowledgeIsShownAndForgotten(t *testing.T) {
	s := newScene(t, nil)
	wise := &wiseEngine{know: cycle.Knowledge{Cycles: 4}}
	s.room.engines[0] = wise
	if k := s.room.Snapshot(s.now).Machine("w1").Learned; k == nil || k.Cycles != 4 {
		t.Fatalf("shown is %+v", k)
	}
	if k := s.room.Snapshot(s.now).Machine("w2").Learned; k != nil {
		t.Fatalf("an engine that does not learn shows %+v", k)
	}
	s.refused(ForgetLearned{Machine: "w2"}, "learned.none")
	s.watts("w1", 300)
	s.refused(ForgetLearned{Machine: "w1"}, "learned.running")
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.do(ForgetLearned{Machine: "w1", Person: "boss"})
	if k := s.room.Snapshot(s.now).Machine("w1").Learned; !wise.forgotten || k.Cycles != 0 {
		t.Fatalf("after forgetting, shown is %+v", k)
	}
	if !s.hasFact(FactLevels, "forgotten") {
		t.Fatal("the log does not say that it was forgotten")
	}
}

// TestChangedLevelsAreTold once for each change.
func TestChangedLevelsAreTold(t *testing.T) {
	s := newScene(t, nil)
	wise := &wiseEngine{}
	s.room.engines[0] = wise
	s.watts("w1", 1)
	s.cycle("w1", time.Hour)
	s.wantTold(LevelsChanged)
	wise.know.Changed = s.now
	s.cycle("w1", time.Hour)
	s.cycle("w1", time.Hour)
	s.wantTold(LevelsChanged, "managers")
	wise.know.Changed = s.now
	s.cycle("w1", time.Hour)
	s.wantTold(LevelsChanged, "managers", "managers")
}

// TestFreshEngineOnARunningMachine: a detector that relearns and sees no work
// does not leave the machine running for ever.
func TestFreshEngineOnARunningMachine(t *testing.T) {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.watts("w1", 300)
	s.wait(30 * time.Minute)
	s.store.stored.Checkpoints, s.store.stored.Tail = nil, nil
	s.reopen(0)
	if m := s.room.state.Machines[0]; !m.Running || m.Unsure.IsZero() {
		t.Fatalf("after the restart: running %v, unsure since %s", m.Running, m.Unsure)
	}
	s.now = s.now.Add(time.Second)
	s.watts("w1", 1)
	s.wait(9 * time.Minute)
	s.wantTold(LoadReady)
	s.wait(2 * time.Minute)
	s.wantTold(LoadReady, "anna")
	if l := s.room.Snapshot(s.now).Machine("w1").Load; l.Reason != EndPresumed {
		t.Fatalf("it ended as %q", l.Reason)
	}
}

// TestFreshEngineSeesWork: a detector that relearns and sees work goes on.
func TestFreshEngineSeesWork(t *testing.T) {
	s := newScene(t, nil)
	s.join("anna", queue.Wash)
	s.watts("w1", 300)
	s.wait(30 * time.Minute)
	s.store.stored.Checkpoints = nil
	s.reopen(0)
	s.now = s.now.Add(time.Second)
	s.watts("w1", 300)
	s.wait(30 * time.Minute)
	s.wantTold(LoadReady)
	if l := s.room.Snapshot(s.now).Machine("w1").Load; l == nil || l.Owner != "anna" || l.Ready() {
		t.Fatalf("the load is %+v, want anna's, running", l)
	}
	s.watts("w1", 1)
	s.wantTold(LoadReady, "anna")
}

// TestNextIsSomebodyElse: the ladder tells of a load only somebody who waits for
// the machine and is not of the home whose load it is.
func TestNextIsSomebodyElse(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:1] })
	s.join("anna", queue.Wash)
	s.watts("w1", 300)
	s.join("anna", queue.Wash)
	late := s.join("ben", queue.Wash)
	s.do(NotNow{Turn: late, Person: "ben", Home: "home-ben", Until: s.now.Add(5 * time.Hour)})
	s.join("cleo", queue.Wash)
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.wait(16 * time.Minute)
	s.wantTold(LoadWaiting, "cleo")
}

// TestClaimIsNotAskedAbout: who claims a load knows whose it is.
func TestClaimIsNotAskedAbout(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines = p.Machines[:1] })
	s.watts("w1", 300)
	s.join("anna", queue.Wash)
	s.do(Claim{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wantTold(LoadBegun)
}

func TestFaultsAreBounded(t *testing.T) {
	s := newScene(t, nil)
	for i := range mostFaults + 5 {
		s.do(ReportFault{Machine: "w1", Text: string(rune('a' + i))})
	}
	faults := s.room.Snapshot(s.now).Machine("w1").Faults
	if len(faults) != mostFaults || faults[mostFaults-1].Text != string(rune('a'+mostFaults+4)) {
		t.Fatalf("kept are %+v", faults)
	}
}
