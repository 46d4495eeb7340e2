package usage

import (
	"encoding/json"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
)

// running is one machine that runs without end, on a day of the calendar.
func running(day string) Hours {
	d := date(day)
	of := dayOf(day, []coordinator.Fact{{
		At: d.End(berlin).Add(72 * time.Hour), Kind: coordinator.FactCycle, Machine: "w1", Cycle: 1,
		Start: d.Begin(berlin).Add(-72 * time.Hour), End: d.End(berlin).Add(72 * time.Hour),
	}}, d.End(berlin).Add(100*time.Hour))
	of.Machines = []coordinator.MachineID{"w1"}
	return summarised(of)[1].Hours
}

// TestHoursTwiceAndNever: Berlin's clocks go from 02:00 to 03:00 on 2026-03-29 and
// from 03:00 to 02:00 on 2026-10-25 (IANA time zone database). That hour is
// never there on the one day and twice on the other; its mean stays one machine.
func TestHoursTwiceAndNever(t *testing.T) {
	for day, want := range map[string]time.Duration{"2026-03-28": time.Hour, "2026-03-29": 0, "2026-10-25": 2 * time.Hour} {
		hours := running(day)
		for h := range hours {
			expect := time.Hour
			if h == 2 {
				expect = want
			}
			if hours[h].Observed != expect || hours[h].Running != expect {
				t.Errorf("%s, hour %d: observed %v, ran %v, want %v", day, h, hours[h].Observed, hours[h].Running, expect)
			}
		}
		if mean := hours[2].MachinesRunning(); want > 0 && mean != 1 || want == 0 && mean != 0 {
			t.Errorf("%s: %v machines ran at 2 o'clock", day, mean)
		}
	}
}

// TestHalfHours: Lord Howe Island moves its clocks by half an hour, at 02:00 on
// 2026-04-05 back to 01:30 (IANA time zone database).
func TestHalfHours(t *testing.T) {
	z := zone("Australia/Lord_Howe")
	d := date("2026-04-05")
	var got [24]time.Duration
	eachHour(d.Begin(z), d.End(z), z, func(hour int, from, to time.Time) { got[hour] += to.Sub(from) })
	for h, sum := range got {
		if want := time.Hour; h == 1 && sum != 90*time.Minute || h != 1 && sum != want {
			t.Errorf("hour %d has %v", h, sum)
		}
	}
}

func TestEachHourCoversTime(t *testing.T) {
	zones := rapid.SampledFrom([]string{"Europe/Berlin", "Asia/Kathmandu", "America/St_Johns", "Australia/Lord_Howe", "Africa/Cairo"})
	rapid.Check(t, func(t *rapid.T) {
		z := zone(zones.Draw(t, "zone"))
		from := time.Unix(rapid.Int64Range(1.7e9, 1.9e9).Draw(t, "from"), rapid.Int64Range(0, 999_999_999).Draw(t, "ns"))
		to := from.Add(time.Duration(rapid.Int64Range(0, int64(200*time.Hour)).Draw(t, "long")))
		at := from
		eachHour(from, to, z, func(hour int, a, b time.Time) {
			if !a.Equal(at) || !b.After(a) || a.In(z).Hour() != hour || b.Add(-1).In(z).Hour() != hour {
				t.Fatalf("hour %d from %v to %v, after %v", hour, a.In(z), b.In(z), at.In(z))
			}
			at = b
		})
		if from.Before(to) && !at.Equal(to) {
			t.Fatalf("ended at %v instead of %v", at, to)
		}
	})
}

// TestStartsAndWaits: a start counts in its hour, and a turn waits in each hour
// from joining to its first call, or until it left.
func TestStartsAndWaits(t *testing.T) {
	at := func(kind coordinator.FactKind, turn coordinator.TurnID, when string, wait time.Duration) coordinator.Fact {
		return coordinator.Fact{At: local(when), Kind: kind, Turn: turn, Wait: wait}
	}
	of := dayOf("2026-06-10", []coordinator.Fact{
		at(coordinator.FactJoined, 1, "2026-06-09 23:30", 0),
		at(coordinator.FactCalled, 1, "2026-06-10 01:15", 105*time.Minute),
		at(coordinator.FactCalled, 1, "2026-06-10 05:00", 330*time.Minute), // again, after a missed call
		at(coordinator.FactJoined, 2, "2026-06-10 10:20", 0),
		at(coordinator.FactLeft, 2, "2026-06-10 11:10", 0),
		at(coordinator.FactJoined, 3, "2026-06-10 23:00", 0), // still waits
		ran("w1", 1, "2026-06-10 10:59", "2026-06-10 12:00", 100, "finished"),
		ran("w1", 2, "2026-06-10 23:50", "2026-06-11 01:00", 100, "finished"),
	}, local("2026-06-11 12:00"))
	room := summarised(of)[0]
	want := map[int]time.Duration{0: time.Hour, 1: 15 * time.Minute, 10: 40 * time.Minute, 11: 10 * time.Minute, 23: time.Hour}
	for h := range room.Hours {
		if room.Hours[h].Waiting != want[h] {
			t.Errorf("in hour %d turns waited %v, want %v", h, room.Hours[h].Waiting, want[h])
		}
		if starts := map[int]int{10: 1, 23: 1}[h]; room.Hours[h].Starts != starts {
			t.Errorf("%d starts in hour %d", room.Hours[h].Starts, h)
		}
	}
	if room.Starts != 2 || room.Cycles != 1 {
		t.Errorf("%d starts, %d cycles", room.Starts, room.Cycles)
	}
}

func TestWeekText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var w Week
		for range rapid.IntRange(0, 20).Draw(t, "hours") {
			h := &w[rapid.IntRange(0, 6).Draw(t, "day")][rapid.IntRange(0, 23).Draw(t, "hour")]
			h.Observed = time.Duration(rapid.Int64Range(0, 1e9).Draw(t, "observed")) * time.Second
			h.Starts = rapid.IntRange(0, 1e6).Draw(t, "starts")
			h.Waiting = time.Duration(rapid.Int64Range(0, 1e9).Draw(t, "waiting")) * time.Second
		}
		text, err := json.Marshal(w)
		must(t, err)
		var back Week
		must(t, json.Unmarshal(text, &back))
		if back != w {
			t.Fatalf("%s came back as %+v", text, back)
		}
	})
}
