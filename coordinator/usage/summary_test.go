package usage

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
)

// ran is the fact of a cycle, told of three minutes after its end.
func ran(m coordinator.MachineID, number uint64, start, end string, wh float64, note string) coordinator.Fact {
	return coordinator.Fact{
		At: local(end).Add(3 * time.Minute), Kind: coordinator.FactCycle, Machine: m, Cycle: number,
		Start: local(start), End: local(end), EnergyWh: wh, Note: note,
	}
}

func fact(kind coordinator.FactKind, m coordinator.MachineID, at string, load coordinator.LoadID, wait time.Duration) coordinator.Fact {
	return coordinator.Fact{At: local(at), Kind: kind, Machine: m, Load: load, Wait: wait}
}

func TestSummarise(t *testing.T) {
	const (
		collected = coordinator.FactCollected
		assumed   = coordinator.FactAssumed
		called    = coordinator.FactCalled
	)
	for _, c := range []struct {
		name  string
		date  string
		facts []coordinator.Fact
		want  Figures // of w1
	}{
		{"nothing but a name", "2026-11-25", []coordinator.Fact{fact(coordinator.FactFault, "w1", "2026-11-25 09:00", 0, 0)}, Figures{}},
		{"one wash, collected", "2026-11-25", []coordinator.Fact{
			ran("w1", 1, "2026-11-25 09:00", "2026-11-25 10:30", 812.5, "finished"),
			fact(collected, "w1", "2026-11-25 10:53", 1, 20*time.Minute),
		}, Figures{Cycles: 1, Running: 90 * time.Minute, CycleWh: 812.5, Blocked: 20 * time.Minute, Collected: 1}},
		{"how cycles ended", "2026-11-25", []coordinator.Fact{
			ran("w1", 1, "2026-11-25 09:00", "2026-11-25 09:10", 1, "stopped_early"),
			ran("w1", 2, "2026-11-25 09:20", "2026-11-25 09:30", 2, "presumed"),
			fact(coordinator.FactStarted, "w1", "2026-11-25 09:40", 0, 0), // the next load is in: nothing blocks
		}, Figures{Cycles: 2, StoppedEarly: 1, Presumed: 1, Running: 20 * time.Minute, CycleWh: 3, Blocked: 14 * time.Minute}},
		{"a correction replaces", "2026-11-25", []coordinator.Fact{
			ran("w1", 1, "2026-11-25 09:00", "2026-11-25 09:10", 100, "stopped_early"),
			ran("w1", 1, "2026-11-25 09:00", "2026-11-25 10:00", 700, "finished"),
			fact(collected, "w1", "2026-11-25 10:03", 1, 0),
		}, Figures{Cycles: 1, Running: time.Hour, CycleWh: 700, Collected: 1}},
		{"over midnight, the day it began", "2026-11-24", []coordinator.Fact{
			ran("w1", 1, "2026-11-24 23:30", "2026-11-25 00:40", 900, "finished"),
		}, Figures{Running: 30 * time.Minute}},
		{"over midnight, the day it ended", "2026-11-25", []coordinator.Fact{
			ran("w1", 1, "2026-11-24 23:30", "2026-11-25 00:40", 900, "finished"),
			fact(collected, "w1", "2026-11-25 01:43", 1, time.Hour),
		}, Figures{Cycles: 1, Running: 40 * time.Minute, CycleWh: 900, Blocked: time.Hour, Collected: 1}},
		{"blocked since the day before", "2026-11-25", []coordinator.Fact{
			ran("w1", 1, "2026-11-24 21:00", "2026-11-24 22:00", 900, "finished"),
			fact(collected, "w1", "2026-11-25 08:00", 1, 9*time.Hour+57*time.Minute),
		}, Figures{Blocked: 8 * time.Hour, Collected: 1}},
		{"never collected", "2026-11-25", []coordinator.Fact{
			ran("w1", 1, "2026-11-25 21:00", "2026-11-25 21:57", 900, "finished"),
		}, Figures{Cycles: 1, Running: 57 * time.Minute, CycleWh: 900, Blocked: 2 * time.Hour}},
		{"assumed empty, found later", "2026-11-25", []coordinator.Fact{
			ran("w1", 1, "2026-11-25 09:00", "2026-11-25 09:57", 900, "finished"),
			fact(assumed, "w1", "2026-11-25 13:00", 1, 0),
			fact(collected, "w1", "2026-11-25 19:00", 1, 9*time.Hour),
		}, Figures{Cycles: 1, Running: 57 * time.Minute, CycleWh: 900, Blocked: 3 * time.Hour, Collected: 1}},
		{"a report contradicted", "2026-11-25", []coordinator.Fact{
			fact(collected, "w1", "2026-11-25 10:00", 1, time.Hour),
			fact(coordinator.FactStillIn, "w1", "2026-11-25 10:30", 1, 0),
			fact(collected, "w1", "2026-11-25 11:00", 1, 0),
		}, Figures{Blocked: 90 * time.Minute, Collected: 1}},
		{"calls", "2026-11-25", []coordinator.Fact{
			fact(called, "w1", "2026-11-24 23:59", 0, time.Hour),
			fact(called, "w1", "2026-11-25 00:00", 0, 9*time.Minute),
			fact(called, "w1", "2026-11-25 08:00", 0, 2*time.Minute),
			fact(coordinator.FactMissed, "w1", "2026-11-25 08:10", 0, 0),
			fact(coordinator.FactMissed, "w1", "2026-11-26 00:00", 0, 0),
		}, Figures{Missed: 1, Waits: SketchOf(2*time.Minute, 9*time.Minute)}},
		{"a turn called again", "2026-11-25", []coordinator.Fact{
			{At: local("2026-11-24 23:50"), Kind: called, Machine: "w1", Turn: 1, Wait: time.Minute},
			{At: local("2026-11-25 00:05"), Kind: called, Machine: "w1", Turn: 1, Wait: 16 * time.Minute},
			{At: local("2026-11-25 00:06"), Kind: called, Machine: "w1", Turn: 2, Wait: 2 * time.Minute},
			{At: local("2026-11-25 00:30"), Kind: called, Machine: "w1", Turn: 2, Wait: 26 * time.Minute},
		}, Figures{Waits: SketchOf(2 * time.Minute)}},
		{"the short day: 01:30 to 03:30 is one hour", "2026-03-29", []coordinator.Fact{
			ran("w1", 1, "2026-03-29 01:30", "2026-03-29 03:30", 500, "finished"),
			fact(collected, "w1", "2026-03-29 03:33", 1, 0),
		}, Figures{Cycles: 1, Running: time.Hour, CycleWh: 500, Collected: 1}},
		{"the long day: all of it is 25 hours", "2026-10-25", []coordinator.Fact{
			ran("w1", 1, "2026-10-24 23:00", "2026-10-26 01:00", 500, "finished"),
		}, Figures{Running: 25 * time.Hour}},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := date(c.date)
			all := summarised(dayOf(c.date, c.facts, d.Add(1).End(berlin)))
			if len(all) != 2 {
				t.Fatalf("%d summaries: %+v", len(all), all)
			}
			if text(all[1].Figures) != text(c.want) {
				t.Errorf("\n got %s\nwant %s", text(all[1].Figures), text(c.want))
			}
			if all[1].Machine != "w1" || all[1].Room != "cellar" || all[1].Date != d || text(all[0].Figures) != text(c.want) { // the room has one machine
				t.Errorf("the room:\n got %s\nwant %s", text(all[0].Figures), text(c.want))
			}
		})
	}
}

// text is what the facts alone say: how cycles ended, how long they ran, and so on.
func text(s Figures) string {
	s.Days, s.Starts, s.Open, s.RunningOpen, s.Used, s.Unmetered = 0, 0, 0, 0, nil, 0
	data, err := json.Marshal(s)
	if err != nil {
		panic(err)
	}
	return string(data)
}

func TestUntil(t *testing.T) {
	facts := []coordinator.Fact{
		ran("w1", 1, "2026-11-25 09:00", "2026-11-25 09:57", 900, "finished"),
		fact(coordinator.FactCollected, "w1", "2026-11-25 12:00", 1, 2*time.Hour),
	}
	got := summarised(dayOf("2026-11-25", facts, local("2026-11-25 10:45")))[0]
	if got.Blocked != 45*time.Minute || got.Collected != 0 || got.Cycles != 1 {
		t.Errorf("at 10:45 of a day: %s", text(got.Figures))
	}
	if got.KWhPerCycle() != 0.9 {
		t.Errorf("%v kWh", got.KWhPerCycle())
	}
}

// TestSumsAddUp: over any days, with the changes of the clocks among them,
// machines add up to their room and days to the whole.
func TestSumsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		begin := rapid.SampledFrom([]Date{date("2026-03-27"), date("2026-10-23"), date("2026-06-01")}).Draw(t, "begin")
		var facts []coordinator.Fact
		var whole Figures
		now := begin.Begin(berlin)
		for i := range rapid.IntRange(0, 12).Draw(t, "cycles") {
			minutes := func(name string, least, most int) time.Duration {
				return time.Duration(rapid.IntRange(least, most).Draw(t, name)) * time.Minute
			}
			m := coordinator.MachineID(fmt.Sprint(rapid.IntRange(1, 2).Draw(t, "machine")))
			start := now.Add(minutes("idle", 0, 200))
			end := start.Add(minutes("runs", 1, 300))
			told := end.Add(3 * time.Minute)
			now = told.Add(minutes("inside", 1, 400))
			wh := float64(rapid.IntRange(0, 3000).Draw(t, "Wh")) / 8
			facts = append(facts,
				coordinator.Fact{At: told, Kind: coordinator.FactCycle, Machine: m, Cycle: uint64(i + 1), Start: start, End: end, EnergyWh: wh, Load: coordinator.LoadID(i + 1)},
				coordinator.Fact{At: now, Kind: coordinator.FactCollected, Machine: m, Load: coordinator.LoadID(i + 1), Wait: now.Sub(told)})
			whole.beside(&Figures{Cycles: 1, Running: end.Sub(start), CycleWh: wh, Blocked: now.Sub(told), Collected: 1})
		}
		var days, machines Figures
		for d := begin; !DateOf(now, berlin).Before(d); d = d.Add(1) {
			all := summarised(dayOf(d.String(), facts, now.Add(1)))
			days.then(&all[0].Figures)
			for i := range all[1:] {
				machines.then(&all[i+1].Figures)
			}
		}
		if text(days) != text(whole) || text(machines) != text(whole) {
			t.Fatalf("\n    days %s\nmachines %s\n   whole %s", text(days), text(machines), text(whole))
		}
	})
}
