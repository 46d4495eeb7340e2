package usage

import (
	"bytes"
	"cmp"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/queue"
)

// life is what happens at one machine over some days: loads are called for,
// washed, corrected now and then, and collected sooner or later or never.
func life(t *rapid.T, m coordinator.MachineID, number int, from, to time.Time) (facts []coordinator.Fact) {
	minutes := func(name string, least, most int) time.Duration {
		return time.Duration(rapid.IntRange(least, most).Draw(t, name)) * time.Minute
	}
	for at := from.Add(minutes("first", 200, 800)); at.Before(to); at = at.Add(minutes("idle", 5, 900)) {
		number++
		load, turn := coordinator.LoadID(number), coordinator.TurnID(number)
		home := coordinator.HomeID(rapid.SampledFrom([]string{"", "12", "14"}).Draw(t, "home"))
		wait := minutes("wait", 0, 200)
		facts = append(facts,
			coordinator.Fact{At: at.Add(-wait), Kind: coordinator.FactJoined, Turn: turn},
			coordinator.Fact{At: at, Kind: coordinator.FactCalled, Machine: m, Turn: turn, Wait: wait},
			coordinator.Fact{At: at, Kind: coordinator.FactStarted, Machine: m, Cycle: uint64(number), Load: load, Home: home, Start: at})
		end := at.Add(minutes("runs", 10, 180))
		cycle := coordinator.Fact{At: end.Add(3 * time.Minute), Kind: coordinator.FactCycle, Machine: m, Cycle: uint64(number), Load: load, Start: at, End: end,
			EnergyWh: float64(rapid.IntRange(0, 2_000_000).Draw(t, "mWh")) / 1000, Note: "finished"}
		facts = append(facts, cycle)
		told := cycle.At
		if rapid.IntRange(0, 4).Draw(t, "corrected") == 0 {
			cycle.End, cycle.At, cycle.Note = end.Add(time.Minute), told.Add(minutes("later", 1, 60)), "stopped_early"
			cycle.EnergyWh /= 2
			facts = append(facts, cycle)
		}
		at = cycle.At
		if rapid.IntRange(0, 5).Draw(t, "left") > 0 {
			at = at.Add(minutes("inside", 0, 5000))
			facts = append(facts, coordinator.Fact{At: at, Kind: coordinator.FactCollected, Machine: m, Load: load, Wait: at.Sub(told)})
		}
	}
	return facts
}

// interleaved puts the facts of several machines into the order of time; what
// happened at one instant comes in any order of the machines.
func interleaved(t *rapid.T, name string, lives [][]coordinator.Fact) (all []coordinator.Fact) {
	order := rapid.Permutation([]int{0, 1, 2}).Draw(t, name)
	for _, i := range order {
		all = append(all, lives[i]...)
	}
	slices.SortStableFunc(all, func(a, b coordinator.Fact) int { return a.At.Compare(b.At) })
	return all
}

// aFewDays begin on a day like any other, or before a change of Berlin's clocks,
// the end of a year, or a leap day.
func aFewDays(t *rapid.T) Date {
	return rapid.SampledFrom([]Date{date("2026-06-09"), date("2026-03-27"), date("2026-10-23"), date("2026-12-29"), date("2028-02-27")}).Draw(t, "begin")
}

// threeLives are what happens at three machines, and until when.
func threeLives(t *rapid.T, begin Date, days int) (lives [][]coordinator.Fact, end time.Time) {
	end = begin.Add(days).Begin(berlin)
	for i := range 3 {
		lives = append(lives, life(t, coordinator.MachineID(fmt.Sprint("w", i)), 1000*i, begin.Begin(berlin), end))
	}
	return lives, end
}

// TestAnyOrder: what happens at two machines at one instant may be told in any
// order, and the sums are the same, those of homes and hours too.
func TestAnyOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		begin := aFewDays(t)
		lives, end := threeLives(t, begin, 2)
		for i := range lives { // many things at one instant
			for k := range lives[i] {
				f := &lives[i][k]
				f.At, f.Start, f.End = f.At.Truncate(30*time.Minute), f.Start.Truncate(30*time.Minute), f.End.Truncate(30*time.Minute)
			}
			slices.SortStableFunc(lives[i], func(a, b coordinator.Fact) int { return a.At.Compare(b.At) })
		}
		sums := func(name string) Sums {
			of := dayOf(begin.String(), interleaved(t, name, lives), end)
			of.Machines = []coordinator.MachineID{"w0", "w1", "w2"}
			out, err := Summarise(of)
			must(t, err)
			return out
		}
		if a, b := sums("one order"), sums("another order"); !reflect.DeepEqual(a, b) {
			t.Fatalf("the sums differ, of the room:\n%+v\n%+v", a.All[0].Figures, b.All[0].Figures)
		}
	})
}

// threeWashers is a room of three machines with a tariff, and figures by home.
func threeWashers() (*House, *Room) {
	tariffs := tariffOf(window("night", 22*60, 6*60, 240_000))
	h := &House{Zone: berlin, Tariffs: tariffs, Homes: map[coordinator.HomeID]string{}, Rooms: []HouseRoom{{ID: "cellar", PerHome: true}}}
	room := cellar("w0", "w1", "w2")
	room.PerHome, room.Tariffs = true, tariffs
	for _, m := range room.Machines {
		h.Rooms[0].Machines = append(h.Rooms[0].Machines, HouseMachine{ID: m, Name: string(m)})
	}
	return h, room
}

// TestKnownFromTheStart: sums made night after night, of what was known then, and
// corrected as more was told, are those made at the end of what is known then,
// row for row: days, months and homes.
func TestKnownFromTheStart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const days = 6
		begin := aFewDays(t)
		lives, _ := threeLives(t, begin, 3)
		// What is told after midnight bears on earlier days in the night after.
		facts := slices.DeleteFunc(interleaved(t, "order", lives), func(f coordinator.Fact) bool { return !f.At.Before(begin.Add(days).Begin(berlin)) })
		_, room := threeWashers()
		nightly, after := newFake(), newFake()
		next := 0
		for n := range days {
			now := begin.Add(n + 1).Begin(berlin).Add(4 * time.Hour)
			for next < len(facts) && facts[next].At.Before(now) {
				nightly.add("cellar", facts[next])
				next++
			}
			must(t, rollUp(ctx, nightly, room, begin.Add(n), berlin, coordinator.JobMark{Job: "rollup", Date: begin.Add(n).String(), At: now}))
		}
		now := begin.Add(days).Begin(berlin).Add(4 * time.Hour)
		facts = facts[:next]
		after.add("cellar", facts...)
		h := factReader{s: after, room: "cellar"}
		for n := range days {
			must(t, sumUpAgain(ctx, after, room, &h, begin.Add(n), berlin, now))
		}
		for key, want := range after.sums {
			if !bytes.Equal(nightly.sums[key], want) {
				t.Fatalf("%s:\nnightly %s\n  after %s", key, told(t, key, nightly.sums[key]), told(t, key, want))
			}
		}
	})
}

func told(t *rapid.T, key string, value []byte) string {
	if value == nil {
		return "nothing"
	}
	var s Summary
	if s.decode(key, value) == nil {
		return fmt.Sprintf("%+v", s)
	}
	return fmt.Sprintf("%x", value)
}

// anyYear fills a store with sums of days from a date on, with gaps, for the
// machines of a room.
func anyYear(t *rapid.T, s *fakeStore, room *Room, from Date, days int) {
	for n := range days {
		if rapid.IntRange(0, 9).Draw(t, "gap") == 0 {
			continue // the program did not run
		}
		d := from.Add(n)
		all := Summary{V: edition, Room: room.ID, Date: d}
		sums := Sums{Homes: map[coordinator.HomeID]*HomeSum{"": {}}}
		for _, m := range room.Machines {
			sum := Summary{V: edition, Room: room.ID, Machine: m, Date: d, Figures: Figures{Days: 1, Cycles: rapid.IntRange(0, 9).Draw(t, "cycles")}}
			sum.Running = time.Duration(sum.Cycles) * 50 * time.Minute
			sum.CycleWh = float64(sum.Cycles * 812)
			for range sum.Cycles {
				sum.Waits.Add(time.Duration(rapid.IntRange(0, 20_000).Draw(t, "wait")) * time.Second)
			}
			hour := rapid.IntRange(0, 23).Draw(t, "hour")
			sum.Hours[hour] = Hour{time.Hour, 30 * time.Minute, sum.Cycles, time.Minute}
			u := Used{Tariff: 1, Window: rapid.IntRange(0, 1).Draw(t, "window"), Cycles: MilliWh(sum.CycleWh * 1000)}
			sums.Homes[""].add(&HomeSum{sum.Cycles, []Used{u}})
			u.Standby = 17_000
			sum.Used = []Used{u}
			all.beside(&sum)
			sums.All = append(sums.All, sum)
		}
		sums.All = append(sums.All, all)
		putSums(t, s, room, d, &sums, true)
	}
}

// TestCutAnywhere: a stretch of time cut anywhere, also within a month, is the sum
// of its two parts: figures, waits, energy, the week and the homes.
func TestCutAnywhere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := newFake()
		h, room := threeWashers()
		from := rapid.SampledFrom([]Date{date("2026-01-20"), date("2027-12-25"), date("2028-02-10")}).Draw(t, "from")
		const days = 50
		anyYear(t, s, room, from, days)
		ask := func(from, to Date, by Period) *Report {
			r, err := MakeReport(ctx, s, h, Query{From: from, To: to, By: by})
			must(t, err)
			return r
		}
		a := rapid.IntRange(-3, days-2).Draw(t, "first")
		b := rapid.IntRange(a+1, days+3).Draw(t, "last")
		cut := rapid.IntRange(a, b-1).Draw(t, "cut")
		period := rapid.SampledFrom([]Period{ByDay, ByWeek, ByMonth, ByAll})
		whole := ask(from.Add(a), from.Add(b), period.Draw(t, "by"))
		first, second := ask(from.Add(a), from.Add(cut), period.Draw(t, "by, first")), ask(from.Add(cut+1), from.Add(b), period.Draw(t, "by, second"))
		sum := first.Whole.Figures
		sum.then(&second.Whole.Figures)
		if !reflect.DeepEqual(sum, whole.Whole.Figures) {
			t.Fatalf("the parts are\n     %+v\nwant %+v", sum, whole.Whole.Figures)
		}
		week := first.Week
		week.then(&second.Week)
		if week != whole.Week {
			t.Fatal("the weeks of the parts are not that of the whole")
		}
		for i := range whole.Machines {
			sum := first.Machines[i].Figures
			sum.then(&second.Machines[i].Figures)
			if !reflect.DeepEqual(sum, whole.Machines[i].Figures) {
				t.Fatalf("machine %d: the parts are\n     %+v\nwant %+v", i, sum, whole.Machines[i].Figures)
			}
		}
		energy := func(r *Report) (sum MilliWh) {
			for _, home := range r.Homes {
				sum += home.Energy
			}
			return sum
		}
		if energy(first)+energy(second) != energy(whole) {
			t.Fatalf("homes: %d and %d are not %d", energy(first), energy(second), energy(whole))
		}
	})
}

// TestPeriodsCover: whatever is asked for, the periods follow each other without a
// gap from the first day to the last, none crosses the border of its kind, and
// months and weeks are as long as the calendar has them.
func TestPeriodsCover(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := Query{From: anyDate(t), By: rapid.SampledFrom([]Period{ByDay, ByWeek, ByMonth, ByAll}).Draw(t, "by")}
		q.To = q.From.Add(rapid.IntRange(0, 900).Draw(t, "days"))
		all := q.periods()
		at := q.From
		for i, p := range all {
			if p.from != at || p.to.Before(p.from) {
				t.Fatalf("period %d is %v to %v, after %v", i, p.from, p.to, at)
			}
			inner := i > 0 && i < len(all)-1
			switch {
			case q.By == ByDay && p.from != p.to:
				t.Fatalf("a day from %v to %v", p.from, p.to)
			case q.By == ByWeek && inner && (p.from.Weekday() != time.Monday || p.from.Add(6) != p.to):
				t.Fatalf("a week from %v to %v", p.from, p.to)
			case q.By == ByMonth && MonthOf(p.from) != MonthOf(p.to), q.By == ByMonth && inner && (p.from.Day != 1 || p.to.Add(1).Day != 1):
				t.Fatalf("a month from %v to %v", p.from, p.to)
			}
			at = p.to.Add(1)
		}
		if at != q.To.Add(1) || q.By == ByAll && len(all) != 1 {
			t.Fatalf("%d periods up to %v, want up to %v", len(all), at, q.To)
		}
	})
}

// TestWholeMonths: the months that lie wholly in a stretch of days, by looking at
// each of its days.
func TestWholeMonths(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from := anyDate(t)
		to := from.Add(rapid.IntRange(0, 200).Draw(t, "days"))
		days := map[Month]int{}
		for d := from; !to.Before(d); d = d.Add(1) {
			days[MonthOf(d)]++
		}
		var want []Month
		for m, n := range days {
			if n == m.Last().Day {
				want = append(want, m)
			}
		}
		slices.SortFunc(want, func(a, b Month) int { return cmp.Compare(a.String(), b.String()) })
		first, last := wholeMonths(from, to)
		var got []Month
		for m := first; !last.Before(m); m = m.Next() {
			got = append(got, m)
		}
		if !slices.Equal(got, want) {
			t.Fatalf("%v to %v: %v, want %v", from, to, got, want)
		}
	})
}

// TestMonthsOfTheCalendar: lengths of months by the Gregorian rule (ISO 8601):
// 2028 and 2000 are leap years, 2026 and 2100 are not.
func TestMonthsOfTheCalendar(t *testing.T) {
	for text, want := range map[string]int{"2026-02": 28, "2028-02": 29, "2000-02": 29, "2100-02": 28, "2026-04": 30, "2026-12": 31} {
		m, err := ParseMonth(text)
		must(t, err)
		if got := m.Last().Day; got != want || m.First().Day != 1 || m.String() != text {
			t.Errorf("%s has %d days, want %d", text, got, want)
		}
		if m.Next().before() != m || m.before().Next() != m || !m.Before(m.Next()) {
			t.Errorf("before and after %s are %v and %v", text, m.before(), m.Next())
		}
	}
	for _, text := range []string{"", "2026", "2026-13", "2026-00", "2026-2", "11/2026", "2026-02-01"} {
		if m, err := ParseMonth(text); err == nil {
			t.Errorf("%q was read as %v", text, m)
		}
	}
}

// TestKeysSort: the keys of a machine's days and months are in the order of time,
// and what lies between two of them is of that machine only, whatever others are called.
func TestKeysSort(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		room, m := names(t)
		_, other := names(t)
		a, b := anyDate(t), anyDate(t)
		if (rollupKey(room, m, a) < rollupKey(room, m, b)) != a.Before(b) || (monthKey(room, m, MonthOf(a)) < monthKey(room, m, MonthOf(b))) != MonthOf(a).Before(MonthOf(b)) {
			t.Fatalf("%v and %v are in another order", a, b)
		}
		if key := rollupKey(room, other, a); other != m && key >= rollupKey(room, m, date("2000-01-01")) && key < rollupKey(room, m, date("2100-01-01")) {
			t.Fatalf("%q lies among the days of %q", key, m)
		}
		if gotRoom, gotMachine, day := placeIn(rollupKey(room, m, a)); gotRoom != room || gotMachine != m || day != a.String() {
			t.Fatalf("%q was taken apart as %q, %q, %q", rollupKey(room, m, a), gotRoom, gotMachine, day)
		}
		if got := machineIn(rollupKey(room, m, a), string(room)+"/"); got != m {
			t.Fatalf("the machine in %q is %q", rollupKey(room, m, a), got)
		}
	})
}

// TestMachinesWithSums: those that have days, by whatever names, and no others.
func TestMachinesWithSums(t *testing.T) {
	s := newFake()
	h, _ := twoRooms()
	rooms := []coordinator.MachineID{"w1", "w/2", "ü", "w1-left", "%2F"}
	must(t, rollUp(ctx, s, &Room{ID: "cellar", Machines: rooms, Hours: queue.AlwaysOpen()}, date("2026-11-01"), berlin, markAt("2026-11-02 04:15")))
	must(t, rollUp(ctx, s, &Room{ID: "cellar-2", Machines: []coordinator.MachineID{"other"}, Hours: queue.AlwaysOpen()}, date("2026-11-01"), berlin, markAt("2026-11-02 04:15")))
	got, err := machinesWithSums(ctx, s, "cellar")
	must(t, err)
	slices.Sort(got)
	slices.Sort(rooms)
	if !slices.Equal(got, rooms) {
		t.Errorf("%q, want %q", got, rooms)
	}
	r := report(t, s, h, Scope{Room: "cellar"}, "2026-11-01", "2026-11-01", ByDay)
	names := map[coordinator.MachineID]bool{}
	for _, row := range r.Machines {
		names[row.Machine] = true
	}
	for _, m := range rooms {
		if !names[m] {
			t.Errorf("%q has sums and no row: %v", m, slices.Collect(maps.Keys(names)))
		}
	}
}
