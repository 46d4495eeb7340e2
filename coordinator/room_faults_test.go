package coordinator

import (
	"slices"
	"strings"
	"testing"
	"time"

	"drumturn/queue"
)

func fault(home, text string) ReportFault {
	return ReportFault{Machine: "w1", Person: PersonID(home), Home: HomeID(home), Text: text}
}

// TestTwoHomes: what takes a machine out, and what does not.
func TestTwoHomes(t *testing.T) {
	for _, c := range []struct {
		name  string
		homes []string
		out   bool
	}{
		{"one home", []string{"a"}, false},
		{"one home, many times", []string{"a", "a", "a", "a"}, false},
		{"visitors without an account", []string{"", "", ""}, false},
		{"a home and visitors", []string{"", "a", "", "a"}, false},
		{"two homes", []string{"a", "b"}, true},
		{"two homes, late", []string{"a", "", "a", "b"}, true},
		{"one home that talks over another", append(append([]string{"b"}, slices.Repeat([]string{"a"}, 1)...), ""), true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, oneWasher)
			for _, h := range c.homes {
				s.do(fault(h, "It hums."))
			}
			if got := s.status("w1") == Out; got != c.out {
				t.Fatalf("out: %v, want %v", got, c.out)
			}
			if got := s.hasFact(FactOut, byHomes); got != c.out {
				t.Errorf("the fact says %v, want %v", got, c.out)
			}
			if n := len(s.told(MachineOut)); (n == 1) != c.out {
				t.Errorf("the managers were told %d times", n)
			}
		})
	}
}

// TestReportsOfOneHomeDoNotDisplace: many reports of one home leave another's in
// its place, so that the second home's still counts.
func TestReportsOfOneHomeDoNotDisplace(t *testing.T) {
	s := newScene(t, oneWasher)
	s.do(fault("b", "It smells."))
	s.room.state.Machines[0].Out = true // so that the machine stays as it is
	for range 3 * mostFaults {
		s.do(fault("a", "It hums."))
	}
	faults := s.room.Snapshot(s.now).Machine("w1").Faults
	if len(faults) != mostFaults || !slices.ContainsFunc(faults, func(f Fault) bool { return f.Home == "b" }) {
		t.Fatalf("%d reports: %+v", len(faults), faults)
	}
}

// TestFaultTellsTheOwnerInside: once, not for a report of their own, and again
// when the machine goes out.
func TestFaultTellsTheOwnerInside(t *testing.T) {
	s := newScene(t, oneWasher)
	s.join("anna", queue.Wash)
	s.watts("w1", 300)
	s.do(fault("home-anna", "It hums."))
	s.wantTold(LoadFault)
	s.do(fault("", "It hums."))
	s.do(fault("", "It still hums."))
	s.wantTold(LoadFault, "anna")
	s.do(TakeOut{Machine: "w1", Person: "manager", Text: "  Bearing  "})
	s.wantTold(LoadFault, "anna", "anna")
	if last := s.notices[len(s.notices)-1]; last.Reason != reasonOut || last.Subject.Load != 1 {
		t.Errorf("the notice is %+v", last)
	}
	if v := s.room.Snapshot(s.now).Machine("w1"); v.OutText != "Bearing" || v.Load == nil {
		t.Errorf("out for %q with load %+v", v.OutText, v.Load)
	}
	s.wait(time.Hour)
	s.watts("w1", 1)
	s.wantTold(LoadReady, "anna")
	s.do(Collect{Machine: "w1", Person: "anna", Home: "home-anna"})
	for key, n := range s.unsent {
		if n.Subject.Load != 0 {
			t.Errorf("%s is still to be sent", key)
		}
	}
}

// TestNobodyIsNextAtAMachineThatIsOut: the step of the ladder for the next in the
// queue tells nobody of a machine they cannot have.
func TestNobodyIsNextAtAMachineThatIsOut(t *testing.T) {
	s := doneFor(t, time.Minute, nil)
	s.join("ben", queue.Wash)
	s.do(TakeOut{Machine: "w1", Person: "manager"})
	s.wait(20 * time.Minute)
	s.wantTold(LoadWaiting)
	s.wantTold(LoadNudge, "anna")
}

func TestLongReasons(t *testing.T) {
	s := newScene(t, oneWasher)
	s.do(TakeOut{Machine: "w1", Text: strings.Repeat("ü", longestFault)})
	s.do(PutBack{Machine: "w1"})
	s.refused(TakeOut{Machine: "w1", Text: strings.Repeat("ü", longestFault+1)}, "out.text")
	s.refused(TakeOut{Machine: "w1", Text: "\xff"}, "out.text")
	s.refused(fault("a", strings.Repeat("x", longestFault+1)), "fault.text")
	s.refused(fault("a", "\xff"), "fault.text")
	s.wantStatus("w1", Free)
}

// TestPutBackForgetsReports: after the repair it takes two homes again.
func TestPutBackForgetsReports(t *testing.T) {
	s := newScene(t, oneWasher)
	s.do(fault("a", "It hums."))
	s.do(PutBack{Machine: "w1", Person: "manager"})
	s.do(fault("b", "It hums."))
	s.wantStatus("w1", Free)
	s.do(fault("a", "It hums."))
	s.wantStatus("w1", Out)
	s.reopen(time.Minute)
	s.wantStatus("w1", Out)
}

// TestReportsOfOneHome: two homes that a manager has found to be one have reported a
// machine once, so that it stays in service until another home does.
func TestReportsOfOneHome(t *testing.T) {
	s := newScene(t, nil)
	s.do(ReportFault{Machine: "w1", Person: "anna", Home: "12", Text: "It rattles."})
	board := s.room.Snapshot(s.now)
	s.do(Merged{Person: "anna", Into: "ann", IntoHome: "99"}) // a person's reports are their home's
	s.do(Merged{Home: "12", IntoHome: "flat 12"})
	s.do(ReportFault{Machine: "w1", Person: "anna", Home: "flat 12", Text: "It still rattles."})
	if m := s.room.Snapshot(s.now).Machine("w1"); m.Status == Out || len(m.Faults) != 2 || m.Faults[0].Home != "flat 12" {
		t.Errorf("the machine is %s, reports %+v", m.Status, m.Faults)
	}
	if got := board.Machine("w1").Faults[0].Home; got != "12" {
		t.Errorf("a board that was shown before says home %s", got)
	}
	s.do(ReportFault{Machine: "w1", Person: "ben", Home: "13", Text: "Mine too."})
	s.wantStatus("w1", Out)
}
