package enough

import (
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// monday is the begin of the histories here, a Monday at midnight.
var monday = time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)

func at(hours float64) time.Time { return monday.Add(time.Duration(hours * float64(time.Hour))) }

// tell is a history of two weeks in a room with a washer and a dryer.
func tell(facts ...coordinator.Fact) map[queue.Kind]*Seen {
	h := History{
		Facts: facts, From: monday, To: monday.AddDate(0, 0, 14), Zone: time.UTC, CallAfter: 20 * time.Minute,
		Kinds: map[coordinator.MachineID]queue.Kind{"w": queue.Washer, "d": queue.Dryer},
	}
	return h.Demands()
}

func joined(h float64, turn coordinator.TurnID, need queue.Need) coordinator.Fact {
	return coordinator.Fact{Kind: coordinator.FactJoined, At: at(h), Turn: turn, Home: "12", Note: need.String()}
}

func called(h float64, turn coordinator.TurnID, m coordinator.MachineID, since float64) coordinator.Fact {
	return coordinator.Fact{Kind: coordinator.FactCalled, At: at(h), Turn: turn, Home: "12", Machine: m, Wait: at(h).Sub(at(since))}
}

func started(h float64, turn coordinator.TurnID, m coordinator.MachineID, number uint64) coordinator.Fact {
	return coordinator.Fact{Kind: coordinator.FactStarted, At: at(h), Start: at(h), Turn: turn, Home: "12", Machine: m, Cycle: number}
}

func ended(start, told float64, m coordinator.MachineID, number uint64, kind cycle.Kind) coordinator.Fact {
	return coordinator.Fact{Kind: coordinator.FactCycle, At: at(told), Start: at(start), End: at(told - 0.02), Machine: m, Cycle: number, Note: kind.String()}
}

func wantTimes(t *testing.T, what string, got []time.Duration, want ...float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %v, want %v hours", what, got, want)
	}
	for i, w := range want {
		if (got[i] - time.Duration(w*float64(time.Hour))).Abs() > time.Second {
			t.Errorf("%s: %v, want %v hours", what, got, want)
		}
	}
}

// TestDemandOfATurn: joined at ten, called at eleven, started a quarter later,
// known to be over at half past twelve, collected after another half hour of
// which twenty minutes kept others away.
func TestDemandOfATurn(t *testing.T) {
	seen := tell(
		joined(10, 1, queue.Wash), called(11, 1, "w", 10), started(11.25, 1, "w", 1), ended(11.25, 12.5, "w", 1, cycle.Finished),
		coordinator.Fact{Kind: coordinator.FactCollected, At: at(13), Machine: "w", Wait: 30 * time.Minute},
	)
	w := seen[queue.Washer]
	if w == nil || w.Seen != 1 || w.Left != 0 || w.Arrivals[time.Monday][10] != 0.5 || w.PerWeek() != 0.5 || w.Weeks != 2 {
		t.Fatalf("seen %+v", w)
	}
	wantTimes(t, "answers", w.Answers, 0.25)
	wantTimes(t, "cycles", w.Cycles, 1.25)
	wantTimes(t, "delays", w.Delays, 1./3)
	wantTimes(t, "waited", []time.Duration{w.Waited.Mean}, 1)
	if seen[queue.Dryer] != nil {
		t.Error("a dryer was wanted")
	}
}

// TestDemandOfAMiss: a missed call keeps the machine too; the turn came once.
func TestDemandOfAMiss(t *testing.T) {
	w := tell(
		joined(10, 1, queue.Wash), called(10, 1, "w", 10),
		coordinator.Fact{Kind: coordinator.FactMissed, At: at(10.25), Turn: 1, Machine: "w"},
		called(11, 1, "w", 10), started(11.1, 1, "w", 1), ended(11.1, 12, "w", 1, cycle.Finished),
	)[queue.Washer]
	wantTimes(t, "answers", w.Answers, 0.35)
	if w.Seen != 1 || w.Waited.Mean != 0 {
		t.Errorf("seen %+v", w)
	}
}

// TestDemandBehindAWash: who booked a dryer came for it when the wash was over.
func TestDemandBehindAWash(t *testing.T) {
	facts := []coordinator.Fact{
		joined(10, 1, queue.Wash), joined(10, 2, queue.Dry), called(10, 1, "w", 10), started(10.1, 1, "w", 1),
		ended(10.1, 11.5, "w", 1, cycle.Finished), called(12, 2, "d", 10),
	}
	d := tell(facts...)[queue.Dryer]
	if d.Arrivals[time.Monday][11] != 0.5 || d.Arrivals[time.Monday][10] != 0 {
		t.Errorf("came at %v", d.Arrivals[time.Monday])
	}
	wantTimes(t, "waited", []time.Duration{d.Waited.Mean}, 0.5)
	// Once history has forgotten who it was, the wait counts from joining.
	for i := range facts {
		facts[i].Home = ""
	}
	wantTimes(t, "waited", []time.Duration{tell(facts...)[queue.Dryer].Waited.Mean}, 2)
}

// TestDemandOfOthers: a walk-up came when it started; who left uncalled is
// counted as such; what ended unheard has no length; a correction counts once.
func TestDemandOfOthers(t *testing.T) {
	seen := tell(
		coordinator.Fact{Kind: coordinator.FactWalkUp, At: at(30.1), Start: at(30), Machine: "w", Cycle: 1},
		ended(30, 31, "w", 1, cycle.Finished), ended(30, 31.5, "w", 1, cycle.Finished),
		coordinator.Fact{Kind: coordinator.FactWalkUp, At: at(40), Start: at(40), Machine: "w", Cycle: 2},
		ended(40, 43, "w", 2, cycle.Presumed),
		joined(50, 7, queue.Wash), coordinator.Fact{Kind: coordinator.FactLeft, At: at(51), Turn: 7},
		joined(52, 8, queue.Dry), coordinator.Fact{Kind: coordinator.FactLeft, At: at(53), Turn: 8},
		coordinator.Fact{Kind: coordinator.FactWalkUp, At: at(60), Start: at(60), Machine: "gone", Cycle: 2},
	)
	w := seen[queue.Washer]
	wantTimes(t, "cycles", w.Cycles, 1.5)
	if w.Seen != 2 || w.Left != 1 || w.Arrivals[time.Tuesday][6] != 0.5 || seen[queue.Dryer].Left != 1 {
		t.Errorf("seen %+v", w)
	}
}

// TestNothingKnown: no history, no answer.
func TestNothingKnown(t *testing.T) {
	if seen := tell(); len(seen) != 0 {
		t.Errorf("seen %+v", seen)
	}
	var d Demand
	if d.Known() || d.PerWeek() != 0 || d.taken() != 0 {
		t.Error("something is known of nothing")
	}
}
