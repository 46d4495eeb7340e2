package usage

import (
	"context"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/queue"
)

// service is a machine that goes out of service, or comes back.
func service(kind coordinator.FactKind, m coordinator.MachineID, at string) coordinator.Fact {
	return coordinator.Fact{At: local(at), Kind: kind, Machine: m}
}

// fromSixToTen is a room that is open from 06:00 to 22:00, and closed on Sundays.
func fromSixToTen(machines ...coordinator.MachineID) *Room {
	r := cellar(machines...)
	for d := range r.Hours {
		r.Hours[d] = queue.Day{Opens: 6 * 60, LastStart: queue.NoClock, EndedBy: 22 * 60, Closed: time.Weekday(d) == time.Sunday}
	}
	return r
}

// sumsFrom sums up days one after the other, as the nights do, and gives those of
// a machine by date.
func sumsFrom(t *testing.T, s *fakeStore, room *Room, m coordinator.MachineID, from, to string) map[string]Figures {
	t.Helper()
	out := map[string]Figures{}
	for d := date(from); !date(to).Before(d); d = d.Add(1) {
		must(t, rollUp(context.Background(), s, room, d, berlin, coordinator.JobMark{Job: "rollup/cellar", Date: d.String(), At: d.Add(1).Begin(berlin).Add(4 * time.Hour)}))
	}
	must(t, eachDay(context.Background(), s, room.ID, m, date(from), date(to), func(sum *Summary) { out[sum.Date.String()] = sum.Figures }))
	return out
}

// TestOutOfService, reckoned by hand. The room is open for 16 hours a day, not on
// Sundays. w1 goes out on Tuesday at 10:00, in the midst of a wash, and comes back
// on Monday at 14:00; a trial run on Monday morning is no use of open hours:
//
//	Tue  open 06-10 = 4 h, out 10-22 = 12 h, ran 09-10 of 09:00-10:30 = 1 h of them: 25 %
//	Wed to Sat  out 16 h each, nothing open
//	Sun  closed: neither open nor out
//	Mon  out 06-14 = 8 h, open 8 h, ran 15-17 = 2 h (and 08-09 while out): 25 %
func TestOutOfService(t *testing.T) {
	s := newFake()
	s.add("cellar",
		ran("w1", 1, "2026-11-24 09:00", "2026-11-24 10:30", 800, "finished"),
		ran("w2", 1, "2026-11-24 12:00", "2026-11-24 14:00", 800, "finished"),
		service(coordinator.FactOut, "w1", "2026-11-24 10:00"),
		ran("w1", 2, "2026-11-30 08:00", "2026-11-30 09:00", 800, "finished"),
		coordinator.Fact{At: local("2026-11-30 09:30"), Kind: coordinator.FactBack, Machine: "w1", Note: "meter"}, // not back in service
		service(coordinator.FactBack, "w1", "2026-11-30 14:00"),
		ran("w1", 3, "2026-11-30 15:00", "2026-11-30 17:00", 800, "finished"),
	)
	room := fromSixToTen("w1", "w2")
	got := sumsFrom(t, s, room, "w1", "2026-11-24", "2026-11-30")
	for day, want := range map[string]struct{ open, out, ran, all float64 }{
		"2026-11-24": {4, 12, 1, 1.5}, "2026-11-25": {0, 16, 0, 0}, "2026-11-28": {0, 16, 0, 0}, "2026-11-29": {0, 0, 0, 0}, "2026-11-30": {8, 8, 2, 3},
	} {
		f := got[day]
		near(t, day+" open", f.Open.Hours(), want.open, 0)
		near(t, day+" out", f.Out.Hours(), want.out, 0)
		near(t, day+" ran in open hours", f.RunningOpen.Hours(), want.ran, 0)
		near(t, day+" ran", f.Running.Hours(), want.all, 0)
	}
	h := &House{Zone: berlin, Rooms: []HouseRoom{{ID: "cellar", Machines: []HouseMachine{{ID: "w1"}, {ID: "w2"}}}}}
	r, err := MakeReport(context.Background(), s, h, Query{From: date("2026-11-24"), To: date("2026-11-30"), By: ByWeek})
	must(t, err)
	w1, w2 := &r.Machines[0], &r.Machines[1]
	near(t, "w1: 3 of 12 h", w1.Utilisation(), 0.25, 1e-12)
	near(t, "w1 out: 12 + 4 x 16 + 8 h", w1.Out.Hours(), 84, 0)
	near(t, "w2: 2 of 6 x 16 h", w2.Utilisation(), 2.0/96, 1e-12)
	near(t, "the room: 5 of 108 h", r.Whole.Utilisation(), 5.0/108, 1e-12)
	table := r.Tables()[1]
	for i, c := range table.Columns {
		if c.Key == "out_of_service" && table.Rows[0][i].Text != "84.00" {
			t.Errorf("the table says %q", table.Rows[0][i].Text)
		}
	}
}

// TestOutOnDaysOfOddLength: in a room that is open day and night a machine that is
// out on the day on which summer time begins is out for 23 hours, on that on which
// it ends for 25 (the last Sundays of March and October: Directive 2000/84/EC,
// articles 2 and 3).
func TestOutOnDaysOfOddLength(t *testing.T) {
	for day, want := range map[string]float64{"2026-03-29": 23, "2026-10-25": 25, "2026-11-25": 24} {
		s := newFake()
		s.add("cellar", coordinator.Fact{At: date(day).Add(-200).Begin(berlin), Kind: coordinator.FactOut, Machine: "w1"})
		got := sumsFrom(t, s, cellar("w1"), "w1", day, day)[day] // the day before has no sums: the facts say it
		near(t, day, got.Out.Hours(), want, 0)
		near(t, day+" open", got.Open.Hours(), 0, 0)
	}
}

// TestOutAddsUp: whatever goes out and comes back, what is open and what is out
// are the opening hours, no more runs than is open, and days cut one by one say
// the same as all at once.
func TestOutAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		begin := aFewDays(t)
		const days = 4
		end := begin.Add(days).Begin(berlin)
		var facts []coordinator.Fact
		var out time.Duration // by the facts alone, of a room that is always open
		since, is := time.Time{}, false
		for at := begin.Begin(berlin).Add(time.Hour); ; {
			at = at.Add(time.Duration(rapid.IntRange(1, 2000).Draw(t, "minutes")) * time.Minute)
			if !at.Before(end) {
				break
			}
			kind := rapid.SampledFrom([]coordinator.FactKind{coordinator.FactOut, coordinator.FactBack}).Draw(t, "kind")
			facts = append(facts, coordinator.Fact{At: at, Kind: kind, Machine: "w1"})
			if kind == coordinator.FactOut && !is {
				since = at
			} else if kind == coordinator.FactBack && is {
				out += at.Sub(since)
			}
			is = kind == coordinator.FactOut
		}
		if is {
			out += end.Sub(since)
		}
		var sum Figures
		before := map[coordinator.MachineID]bool{}
		for i := range days {
			d := begin.Add(i)
			of := Day{Room: "cellar", Date: d, Zone: berlin, Machines: []coordinator.MachineID{"w1"}, Opens: d.Begin(berlin), Closes: d.End(berlin), Facts: facts, Until: end, Out: before}
			sums, err := Summarise(of)
			must(t, err)
			for _, s := range sums.All {
				if s.Open < 0 || s.Out < 0 || s.RunningOpen < 0 || s.Open+s.Out != d.End(berlin).Sub(d.Begin(berlin)) {
					t.Fatalf("%s: %v open, %v out", d, s.Open, s.Out)
				}
				if s.Machine == "w1" {
					before = map[coordinator.MachineID]bool{"w1": s.OutAfter}
					sum.then(&s.Figures)
				}
			}
		}
		if sum.Out != out {
			t.Fatalf("%v out, the facts say %v", sum.Out, out)
		}
	})
}
