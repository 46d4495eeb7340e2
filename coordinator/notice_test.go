package coordinator

import (
	"slices"
	"testing"
)

// TestThreads: all about one load or turn is one thread, in which the newer takes
// the older's place; a fault is one beside it, and each kind about a machine too.
func TestThreads(t *testing.T) {
	load, turn, machine := Subject{Room: "a", Load: 7}, Subject{Room: "a", Turn: 7}, Subject{Room: "a", Machine: "w1"}
	for _, c := range []struct {
		one, other Notice
		same       bool
	}{
		{Notice{Subject: load, Kind: LoadReady}, Notice{Subject: load, Kind: LoadNudge, Step: 3}, true},
		{Notice{Subject: load, Kind: LoadReady}, Notice{Subject: load, Kind: LoadTaken}, true},
		{Notice{Subject: load, Kind: LoadReady}, Notice{Subject: load, Kind: LoadFault}, false},
		{Notice{Subject: load, Kind: LoadReady}, Notice{Subject: Subject{Room: "a", Load: 8}, Kind: LoadReady}, false},
		{Notice{Subject: load, Kind: LoadReady}, Notice{Subject: Subject{Room: "b", Load: 7}, Kind: LoadReady}, false},
		{Notice{Subject: load, Kind: LoadReady}, Notice{Subject: turn, Kind: TurnCalled}, false},
		{Notice{Subject: turn, Kind: TurnCalled}, Notice{Subject: turn, Kind: TurnMissed}, true},
		{Notice{Subject: machine, Kind: MeterSilent}, Notice{Subject: machine, Kind: FaultTold}, false},
		{Notice{Subject: machine, Kind: FaultTold, Step: 1}, Notice{Subject: machine, Kind: FaultTold, Step: 2}, true},
	} {
		if got := c.one.Thread() == c.other.Thread(); got != c.same {
			t.Errorf("%s and %s: one thread %v, want %v", c.one.Thread(), c.other.Thread(), got, c.same)
		}
	}
}

// TestSameAddressee: a person is no role, and nobody else.
func TestSameAddressee(t *testing.T) {
	anna, ben, managers := Notice{To: "anna"}, Notice{To: "ben"}, Notice{Role: Managers}
	if !anna.SameAddressee(&Notice{To: "anna", Kind: LoadReady}) || !managers.SameAddressee(&Notice{Role: Managers}) {
		t.Error("the same are told apart")
	}
	if anna.SameAddressee(&ben) || anna.SameAddressee(&managers) || managers.SameAddressee(&Notice{To: "managers"}) {
		t.Error("others count as the same")
	}
}

// TestKindsOfNotice: every kind is a resident's or a manager's, once, and quiet
// hours delay all but what a person asked for by standing in the queue.
func TestKindsOfNotice(t *testing.T) {
	all := append(ResidentKinds(), ManagerKinds()...)
	if sorted := slices.Compact(slices.Sorted(slices.Values(all))); len(sorted) != len(all) {
		t.Errorf("%d kinds, %d of them different", len(all), len(sorted))
	}
	var atOnce []NoticeKind
	for _, kind := range all {
		if !kind.Waits() {
			atOnce = append(atOnce, kind)
		}
	}
	if want := []NoticeKind{TurnCalled, TurnMissed, TurnEnded, TurnReturned, TurnClosed, LoadBegun}; !slices.Equal(atOnce, want) {
		t.Errorf("quiet hours do not delay %v, want %v", atOnce, want)
	}
}
