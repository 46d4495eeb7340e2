package usage

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"drumturn/coordinator"
)

// plus is a sum of figures by one of the two ways to add, which leaves its parts as they were.
func plus(add func(*Figures, *Figures), parts ...Figures) (sum Figures) {
	for i := range parts {
		add(&sum, &parts[i])
	}
	return sum
}

// TestFiguresAddInAnyOrder: sums of figures are the same in any order and grouping,
// one after another in time and side by side, and adding changes no part.
func TestFiguresAddInAnyOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := anyFigures(t), anyFigures(t), anyFigures(t)
		before := fmt.Sprintf("%+v %+v %+v", a, b, c)
		for name, add := range map[string]func(*Figures, *Figures){"then": (*Figures).then, "beside": (*Figures).beside} {
			sum := plus(add, a, b, c)
			for _, other := range []Figures{plus(add, c, a, b), plus(add, a, plus(add, b, c)), plus(add, plus(add, b, a), c)} {
				if !reflect.DeepEqual(sum, other) {
					t.Fatalf("%s:\n%+v\n%+v", name, sum, other)
				}
			}
			if plus(add, a, Figures{}).Cycles != a.Cycles || sum.Waits.Count() != a.Waits.Count()+b.Waits.Count()+c.Waits.Count() {
				t.Fatalf("%s: %+v", name, sum)
			}
			cycles, standby := sum.Energy()
			want := MilliWh(0)
			for _, f := range []Figures{a, b, c} {
				x, y := f.Energy()
				want += x + y
			}
			if cycles+standby != want {
				t.Fatalf("%s: %d mWh of %d", name, cycles+standby, want)
			}
		}
		if then, beside := plus((*Figures).then, a, b), plus((*Figures).beside, a, b); then.Days != a.Days+b.Days || beside.Days != max(a.Days, b.Days) {
			t.Fatalf("%d and %d days are %d one after another, %d side by side", a.Days, b.Days, then.Days, beside.Days)
		}
		if after := fmt.Sprintf("%+v %+v %+v", a, b, c); after != before {
			t.Fatalf("adding changed its parts:\n%s\n%s", before, after)
		}
	})
}

// TestMergeTakesNoMemory: a sketch that knows a length already takes none for more
// of it, so that a report's memory does not grow with the days that it reads.
func TestMergeTakesNoMemory(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	var all, day Sketch
	for range 5000 {
		all.Add(time.Duration(rng.IntN(7200)) * time.Second)
	}
	for range 140 {
		day.Add(time.Duration(rng.IntN(7200)) * time.Second)
	}
	all.Merge(&day)
	if n := testing.AllocsPerRun(100, func() { all.Merge(&day) }); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

// TestMergeLeavesCopies: a sketch that was copied stays as it is when the other
// takes in lengths that were not there.
func TestMergeLeavesCopies(t *testing.T) {
	a := SketchOf(time.Minute, time.Hour)
	copied := a
	more := SketchOf(time.Second, 10*time.Minute, 5*time.Hour)
	a.Merge(&more)
	if !reflect.DeepEqual(copied, SketchOf(time.Minute, time.Hour)) || a.Count() != 5 {
		t.Errorf("the copy is %+v, the sum %+v", copied, a)
	}
}

// TestRowsAreSmall: a busy day of a room of ten machines is stored in less than half
// of what it takes as JSON, and in less than 700 octets.
func TestRowsAreSmall(t *testing.T) {
	_, rooms := benchHouse()
	load := coordinator.LoadID(0)
	room := &rooms[0]
	day := room.day(ctx, newFake(), date("2026-11-02"), berlin, date("2026-11-03").End(berlin))
	day.Facts = benchDay(rand.New(rand.NewPCG(1, 2)), room, day.Date, &load)
	sums, err := Summarise(day)
	must(t, err)
	text, err := json.Marshal(&sums.All[0])
	must(t, err)
	if packed := sums.All[0].pack(); len(packed) > 700 || 2*len(packed) > len(text) {
		t.Errorf("%d octets, %d as JSON", len(packed), len(text))
	}
}

// TestAmountsComeBack: the text of an amount is the decimal number of its units.
func TestAmountsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := Currency{"XXX", rapid.IntRange(0, 4).Draw(t, "digits")}
		minor := rapid.Int64Range(-1e15, 1e15).Draw(t, "minor")
		text := c.Text(Amount{minor, true})
		back, err := decimal.NewFromString(text)
		must(t, err)
		if !back.Shift(int32(c.Digits)).Equal(decimal.NewFromInt(minor)) {
			t.Fatalf("%d with %d digits is %q", minor, c.Digits, text)
		}
		if _, decimals, _ := strings.Cut(text, "."); len(decimals) != c.Digits {
			t.Fatalf("%q has other than %d decimals", text, c.Digits)
		}
	})
}

// TestCostIsExact: the cost of all energy is that in cycles and at rest, exactly,
// and what no tariff holds for costs nothing and is told.
func TestCostIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := prices{tariffs: tariffOf(window("a", 0, 60, rapid.Int64Range(0, 1e9).Draw(t, "price")))}
		f := anyFigures(t)
		for i := range f.Used {
			f.Used[i].Tariff = rapid.IntRange(0, 2).Draw(t, "version")
			f.Used[i].Window = rapid.IntRange(0, 2).Draw(t, "window")
		}
		cycles, standby, unpriced := p.exact(f.Used)
		if sum := p.cost(f.Used); !sum.Equal(cycles.Add(standby)) {
			t.Fatalf("%v is not %v and %v", sum, cycles, standby)
		}
		want := MilliWh(0)
		for _, u := range f.Used {
			if u.Tariff != 1 || u.Window > 1 {
				want += u.Cycles + u.Standby
			}
		}
		if unpriced != want {
			t.Fatalf("%d mWh without a price, want %d", unpriced, want)
		}
	})
}

// TestLastDueAnyTime: the last day that is due is one whose night has come, and the
// night of the day after has not; it never goes back as time goes on.
func TestLastDueAnyTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		spec := rapid.SampledFrom([]string{"", "@daily", "30 2 * * *", "0 6 * * MON", "15 4 1 * *", "59 23 * * *"}).Draw(t, "schedule")
		z := zone(rapid.SampledFrom([]string{"Europe/Berlin", "Africa/Cairo", "America/Santiago", "UTC"}).Draw(t, "zone"))
		k, err := NewKeeper(newFake(), func() []Room { return nil }, Options{Zone: z, Schedule: spec, Log: silent()})
		must(t, err)
		now := time.Unix(rapid.Int64Range(1.7e9, 1.9e9).Draw(t, "now"), 0)
		last, ok := k.lastDue(now)
		if !ok || k.nightAfter(last).After(now) || !k.nightAfter(last.Add(1)).After(now) || !last.End(z).Before(now.Add(1)) {
			t.Fatalf("at %v the last is %v, %v: its night is %v, the next %v", now.In(z), last, ok, k.nightAfter(last), k.nightAfter(last.Add(1)))
		}
		later, _ := k.lastDue(now.Add(time.Duration(rapid.Int64Range(0, 1e15).Draw(t, "later"))))
		if later.Before(last) {
			t.Fatalf("after %v it is %v", last, later)
		}
	})
}

// TestKeptForSoLong: history by person is kept for as many local days as the room's
// rules say, back to midnight there, whatever the clocks did; the building's own as
// short as the strictest room's.
func TestKeptForSoLong(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := newFake()
		days := rapid.SliceOfN(rapid.IntRange(0, 400), 1, 3).Draw(t, "keep")
		var rooms []Room
		strictest := 1 << 30
		for i, n := range days {
			rooms = append(rooms, Room{ID: coordinator.RoomID(fmt.Sprint("r", i)), KeepDays: n})
			if n == 0 {
				days[i] = defaultKeepDays
			}
			strictest = min(strictest, days[i])
		}
		k, err := NewKeeper(s, func() []Room { return rooms }, Options{Zone: berlin, Log: silent()})
		must(t, err)
		now := time.Unix(rapid.Int64Range(1.75e9, 1.85e9).Draw(t, "now"), 0)
		must(t, k.CatchUp(ctx, now))
		for _, call := range s.retains {
			want := strictest
			for i, r := range rooms {
				if r.ID == call.unit {
					want = days[i]
				}
			}
			if got := DateOf(call.byPerson, berlin); got != DateOf(now, berlin).Add(-want) || !call.byPerson.Equal(got.Begin(berlin)) {
				t.Fatalf("%q keeps from %v on at %v, want %d days", call.unit, call.byPerson.In(berlin), now.In(berlin), want)
			}
		}
		if len(s.retains) != 3*(len(rooms)+1) {
			t.Fatalf("%d calls for %d rooms", len(s.retains), len(rooms))
		}
	})
}

// TestReportOfAMonthToCome: a clock that was ahead made and sent the report of a
// month that was not over. Once it is right the report is made and sent anew when due.
func TestReportOfAMonthToCome(t *testing.T) {
	s := newFake()
	h, rooms := twoRooms()
	history(t, s, rooms, "2026-11-01", "2026-11-14")
	p := &postman{}
	k := reporter(t, s, rooms, h, p)
	for _, r := range rooms {
		must(t, s.MarkJob(ctx, "rollup/"+string(r.ID), "2026-11-14", local("2026-11-15 04:15")))
	}
	must(t, k.CatchUp(ctx, local("2026-12-01 06:00"))) // the clock is wrong
	if len(p.sent) != 1 || p.sent[0] != "2026-11: 42 cycles" {
		t.Fatalf("sent %v", p.sent)
	}
	must(t, k.CatchUp(ctx, local("2026-11-15 06:00"))) // and right again
	for d := date("2026-11-15"); d.Before(date("2026-12-01")); d = d.Add(1) {
		start := d.Begin(berlin).Add(10 * time.Hour)
		s.add("cellar", coordinator.Fact{At: start.Add(time.Hour), Kind: coordinator.FactCycle, Machine: "w1", Cycle: uint64(1000 + d.Day), Start: start, End: start.Add(time.Hour)})
		must(t, k.CatchUp(ctx, d.Add(1).Begin(berlin).Add(6*time.Hour)))
	}
	if len(p.sent) != 2 || p.sent[1] != "2026-11: 58 cycles" {
		t.Errorf("sent %v", p.sent)
	}
	r, err := StoredReport(ctx, s, Month{2026, 11}, "")
	must(t, err)
	if r.Whole.Cycles != 58 || r.Whole.Days != 30 {
		t.Errorf("the report has %d cycles in %d days", r.Whole.Cycles, r.Whole.Days)
	}
}

// TestTodayOnlyGrows: as the day goes on, what was done does not become less, and
// at its end it is what the night makes of it.
func TestTodayOnlyGrows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := aFewDays(t).Add(1)
		lives, _ := threeLives(t, d.Add(-1), 2)
		s := newFake()
		s.add("cellar", interleaved(t, "order", lives)...)
		_, room := threeWashers()
		var last Figures
		for h := range 25 {
			now := d.Begin(berlin).Add(time.Duration(h) * time.Hour)
			if DateOf(now, berlin) != d {
				now = d.End(berlin).Add(-1)
			}
			all, err := Today(ctx, s, room, berlin, now)
			must(t, err)
			f := all[0].Figures
			if f.Starts < last.Starts || f.Collected < last.Collected || f.Running < last.Running || f.Open < last.Open || f.Waits.Count() < last.Waits.Count() {
				t.Fatalf("at %v:\n    %+v\nafter %+v", now.In(berlin), f, last)
			}
			last = f
		}
		night := newFake()
		night.add("cellar", slices.DeleteFunc(slices.Clone(s.facts["cellar"]), func(f coordinator.Fact) bool { return !f.At.Before(d.End(berlin)) })...)
		must(t, rollUp(ctx, night, room, d, berlin, coordinator.JobMark{Job: "rollup", Date: d.String(), At: d.End(berlin)}))
		sums, err := Between(ctx, night, "cellar", d, d)
		must(t, err)
		if got := sums[0]; got.Starts != last.Starts || got.Collected != last.Collected || (got.Running-last.Running).Abs() > 1 || got.Cycles != last.Cycles {
			t.Fatalf("at the end %+v, in the night %+v", last, got.Figures)
		}
	})
}

// TestStopsBetween: a run that is stopped between two pieces of shortening ends
// there, is told, and goes on in the next run.
func TestStopsBetween(t *testing.T) {
	s := newFake()
	k := keeper(t, s, Options{Log: silent()})
	stopped, cancel := context.WithCancel(ctx)
	s.fail = func(what string) error {
		if what == "retain cellar" {
			cancel()
		}
		return nil
	}
	err := k.CatchUp(stopped, local("2026-11-25 05:00"))
	if !errors.Is(err, context.Canceled) || len(s.marks["retain/cellar 2026-11-24"]) != 0 {
		t.Errorf("told of %v, marked %v", err, s.marks["retain/cellar 2026-11-24"])
	}
	s.fail = func(string) error { return nil }
	must(t, k.CatchUp(ctx, local("2026-11-25 06:00")))
	s.done(t, "retain/cellar", "2026-11-24")
}
