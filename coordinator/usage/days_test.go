package usage

import (
	"reflect"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

// cycleOf is the fact of a cycle of machine w1, told at its end.
func cycleOf(number uint64, from, to string, wh float64) coordinator.Fact {
	return coordinator.Fact{
		At: local(to), Kind: coordinator.FactCycle, Machine: "w1", Cycle: number,
		Start: local(from), End: local(to), EnergyWh: wh, Note: cycle.Finished.String(),
	}
}

// machineOn is the one machine's summary of a day.
func machineOn(t *testing.T, day string, facts []coordinator.Fact, until string) Summary {
	t.Helper()
	all := summarised(dayOf(day, facts, local(until)))
	if len(all) != 2 || all[1].Machine != "w1" {
		t.Fatalf("summaries %+v", all)
	}
	if all[0].Running != all[1].Running || all[0].Blocked != all[1].Blocked || all[0].Cycles != all[1].Cycles || all[0].CycleWh != all[1].CycleWh {
		t.Errorf("the room's sums are not those of its one machine: %+v", all)
	}
	return all[1]
}

// TestClockChangeDays: a machine that runs from midnight to midnight ran 23 hours
// on the day that loses one and 25 on the day that gains one. In Berlin these
// are the last Sundays of March and October (directive 2000/84/EC, from memory).
func TestClockChangeDays(t *testing.T) {
	for _, c := range []struct {
		day, next string
		want      time.Duration
	}{
		{"2026-03-28", "2026-03-29", 24 * time.Hour},
		{"2026-03-29", "2026-03-30", 23 * time.Hour},
		{"2026-10-25", "2026-10-26", 25 * time.Hour},
	} {
		facts := []coordinator.Fact{cycleOf(1, c.day+" 00:00", c.next+" 00:00", 1000)}
		got := machineOn(t, c.day, facts, c.next+" 12:00")
		if got.Running != c.want || got.Cycles != 0 {
			t.Errorf("%s: ran %v in %d cycles, want %v; it ended the next day", c.day, got.Running, got.Cycles, c.want)
		}
	}
	// 01:30 to 03:30 is one hour when the clocks go forward and three when back.
	if got := machineOn(t, "2026-03-29", []coordinator.Fact{cycleOf(1, "2026-03-29 01:30", "2026-03-29 03:30", 500)}, "2026-03-30 00:00"); got.Running != time.Hour {
		t.Errorf("over the lost hour it ran %v", got.Running)
	}
	if got := machineOn(t, "2026-10-25", []coordinator.Fact{cycleOf(1, "2026-10-25 01:30", "2026-10-25 03:30", 500)}, "2026-10-26 00:00"); got.Running != 3*time.Hour {
		t.Errorf("over the gained hour it ran %v", got.Running)
	}
}

// TestOverMidnight: the running time is divided at midnight, the cycle and its
// energy count once, on the day of the end.
func TestOverMidnight(t *testing.T) {
	facts := []coordinator.Fact{cycleOf(1, "2026-06-09 23:10", "2026-06-10 00:40", 900)}
	first := machineOn(t, "2026-06-09", facts, "2026-06-10 12:00")
	second := machineOn(t, "2026-06-10", facts, "2026-06-10 01:00")
	if first.Running != 50*time.Minute || first.Cycles != 0 || first.CycleWh != 0 || first.Blocked != 0 {
		t.Errorf("the day it began: %+v", first)
	}
	if second.Running != 40*time.Minute || second.Cycles != 1 || second.CycleWh != 900 || second.Blocked != 20*time.Minute {
		t.Errorf("the day it ended: %+v", second)
	}
}

// TestACorrectedCycleCountsOnce: a later fact of the same number replaces the
// earlier; one without a number is a cycle of its own.
func TestACorrectedCycleCountsOnce(t *testing.T) {
	facts := []coordinator.Fact{
		cycleOf(1, "2026-06-10 10:00", "2026-06-10 11:00", 800),
		cycleOf(1, "2026-06-10 10:00", "2026-06-10 11:20", 850),
		cycleOf(0, "2026-06-10 12:00", "2026-06-10 12:30", 100),
	}
	got := machineOn(t, "2026-06-10", facts, "2026-06-10 12:45")
	if got.Cycles != 2 || got.CycleWh != 950 || got.Running != 110*time.Minute {
		t.Errorf("%d cycles, %g Wh, %v", got.Cycles, got.CycleWh, got.Running)
	}
	// From 11:00 the load was told of; the correction at 11:20 begins it anew.
	if want := 40*time.Minute + 15*time.Minute; got.Blocked != want {
		t.Errorf("blocked %v, want %v", got.Blocked, want)
	}
}

// TestACalledTurnCountsOnce: a turn called again after a miss waits once.
func TestACalledTurnCountsOnce(t *testing.T) {
	call := func(at string, turn coordinator.TurnID, wait time.Duration) coordinator.Fact {
		return coordinator.Fact{At: local(at), Kind: coordinator.FactCalled, Machine: "w1", Turn: turn, Wait: wait}
	}
	got := machineOn(t, "2026-06-10", []coordinator.Fact{
		call("2026-06-09 23:50", 1, time.Minute),
		call("2026-06-10 00:20", 1, 31*time.Minute),
		call("2026-06-10 09:00", 2, 20*time.Minute),
		{At: local("2026-06-10 09:10"), Kind: coordinator.FactMissed, Machine: "w1", Turn: 2},
		call("2026-06-10 09:30", 2, 50*time.Minute),
		call("2026-06-10 10:00", 3, 10*time.Minute),
	}, "2026-06-11 00:00")
	if want := SketchOf(10*time.Minute, 20*time.Minute); !reflect.DeepEqual(got.Waits, want) || got.Missed != 1 {
		t.Errorf("waits %v, missed %d", got.Waits, got.Missed)
	}
}

// TestEndsAtMidnight: a cycle that ends at the very midnight counts for its home on
// the day that begins then, as it does for the machine.
func TestEndsAtMidnight(t *testing.T) {
	start := local("2026-06-09 22:00")
	facts := []coordinator.Fact{
		{At: start, Kind: coordinator.FactStarted, Machine: "w1", Cycle: 1, Load: 1, Home: "12", Start: start},
		{At: start.Add(2 * time.Hour), Kind: coordinator.FactCycle, Machine: "w1", Cycle: 1, Load: 1, Start: start, End: start.Add(2 * time.Hour), EnergyWh: 700},
	}
	for day, want := range map[string]int{"2026-06-09": 0, "2026-06-10": 1} {
		sums, err := Summarise(dayOf(day, facts, local("2026-06-11 00:00")))
		must(t, err)
		if home := sums.Homes["12"]; sums.All[0].Cycles != want || home == nil || home.Cycles != want {
			t.Errorf("%s: the room has %d cycles, the home %+v", day, sums.All[0].Cycles, home)
		}
	}
}
