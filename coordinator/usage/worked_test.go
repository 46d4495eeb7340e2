package usage

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// TestDecimalsOfCurrencies: a bill of 1234.56789 units, by the minor units of ISO
// 4217 (list one): none for JPY and KRW, two for EUR and CHF, three for KWD and
// BHD. 1000 kWh at 1.23456789 are not a whole number of millionths, so the price
// is 1.234568 and the bill 1234.568.
func TestDecimalsOfCurrencies(t *testing.T) {
	for code, want := range map[string]string{"JPY": "1235", "KRW": "1235", "EUR": "1234.57", "CHF": "1234.57", "KWD": "1234.568", "BHD": "1234.568"} {
		s := newFake()
		h := &House{Zone: berlin, Rooms: []HouseRoom{{ID: "cellar"}}, Tariffs: coordinator.Tariffs{{Version: 1, Tariff: coordinator.Tariff{Currency: code, MicrosPerKWh: 1_234_568}}}}
		sum := Summary{V: edition, Room: "cellar", Date: date("2026-11-01"), Figures: Figures{Days: 1, Used: []Used{{Tariff: 1, Cycles: 1000 * 1e6}}}}
		putSums(t, s, cellar(), sum.Date, &Sums{All: []Summary{sum}}, true)
		r := report(t, s, h, Scope{}, "2026-11-01", "2026-11-30", ByMonth)
		if got := r.Currency.Text(r.Costs.Total); got != want {
			t.Errorf("%s: the bill is %s, want %s", code, got, want)
		}
	}
}

// TestHalfCents: a half is rounded away from zero, or to the even cent, once, on
// the whole; what is left over goes to the largest remainder. By hand: three
// machines of 1.5 cents each are 4.5 cents, 5 or 4, as 2, 2, 1 or 2, 1, 1.
func TestHalfCents(t *testing.T) {
	for rounding, want := range map[coordinator.Rounding][]int64{coordinator.HalfUp: {5, 2, 2, 1}, coordinator.HalfEven: {4, 2, 1, 1}} {
		s := newFake()
		h, room := threeWashers()
		h.Tariffs = coordinator.Tariffs{{Version: 1, Tariff: coordinator.Tariff{Currency: "EUR", MicrosPerKWh: 15_000, Rounding: rounding}}}
		d := date("2026-11-01")
		all := Summary{V: edition, Room: "cellar", Date: d}
		sums := Sums{Homes: map[coordinator.HomeID]*HomeSum{}}
		for _, m := range room.Machines {
			sum := Summary{V: edition, Room: "cellar", Machine: m, Date: d, Figures: Figures{Days: 1, Used: []Used{{Tariff: 1, Cycles: 1e6}}}}
			all.beside(&sum)
			sums.All = append(sums.All, sum)
		}
		sums.All = append(sums.All, all)
		putSums(t, s, room, d, &sums, true)
		r := report(t, s, h, Scope{}, "2026-11-01", "2026-11-01", ByDay)
		got := []int64{r.Costs.Total.Minor}
		for i := range r.Machines {
			got = append(got, r.Machines[i].Cost.Minor)
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", rounding, got, want)
		}
	}
}

// TestSeatsByRemainders: a second example of the method of largest remainders, by
// hand: 100 seats over 1, 1 and 1 are 34, 33, 33; over 1/6, 2/6 and 3/6 of 100 the
// quotas are 16.67, 33.33 and 50, so 17, 33 and 50. Taking units back goes from the
// smallest remainder on.
func TestSeatsByRemainders(t *testing.T) {
	quota := func(votes ...int64) (all []decimal.Decimal) {
		sum := int64(0)
		for _, v := range votes {
			sum += v
		}
		for _, v := range votes {
			all = append(all, decimal.NewFromInt(100*v).DivRound(decimal.NewFromInt(sum), 12))
		}
		return all
	}
	for _, c := range []struct {
		whole int64
		parts []decimal.Decimal
		want  []int64
	}{
		{100, quota(1, 1, 1), []int64{34, 33, 33}},
		{100, quota(1, 2, 3), []int64{17, 33, 50}},
		{99, quota(1, 2, 3), []int64{16, 33, 50}},
		{98, quota(1, 2, 3), []int64{16, 33, 49}},
		{102, quota(1, 2, 3), []int64{17, 34, 51}},
		{-1, exactly("-0.6", "-0.4"), []int64{-1, 0}},
	} {
		if got := apportion(c.whole, c.parts, 0); !slices.Equal(got, c.want) {
			t.Errorf("%d over %v is %v, want %v", c.whole, c.parts, got, c.want)
		}
	}
}

// TestWindowsWhenClocksChange: a kilowatt all day, with prices by window, over the
// day that loses the hour from 02:00 and the one that has it twice (IANA time zone
// database, Europe/Berlin). By hand: 8 hours of night from 22:00 to 06:00, 7 or 9 of them.
func TestWindowsWhenClocksChange(t *testing.T) {
	for day, night := range map[string]MilliWh{"2026-03-28": 8, "2026-03-29": 7, "2026-10-25": 9} {
		d := date(day)
		of := measured(dayOf(day, nil, d.End(berlin).Add(time.Hour)), func(time.Time) float64 { return 1000 })
		of.Tariffs = tariffOf(window("night", 22*60, 6*60, 100_000))
		sum := summarised(of)[1]
		if want := []Used{{Tariff: 1, Standby: 16e6}, {Tariff: 1, Window: 1, Standby: night * 1e6}}; !slices.Equal(sum.Used, want) {
			t.Errorf("%s: %+v, want %+v", day, sum.Used, want)
		}
		p := prices{tariffs: of.Tariffs}
		if got, want := p.cost(sum.Used), decimal.New(16*300+int64(night)*100, -3); !got.Equal(want) {
			t.Errorf("%s costs %v, want %v", day, got, want)
		}
	}
}

// TestSeasonsAndWeekends: a window of summer weekends, by hand: 6 June 2026 is a
// Saturday, 5 June a Friday, 5 December a Saturday.
func TestSeasonsAndWeekends(t *testing.T) {
	weekend := window("weekend", queue.NoClock, queue.NoClock, 100_000)
	weekend.Days = []time.Weekday{time.Saturday, time.Sunday}
	weekend.SeasonFrom, weekend.SeasonTo = coordinator.YearDay{Month: 4, Day: 1}, coordinator.YearDay{Month: 9, Day: 30}
	for day, want := range map[string]int{"2026-06-06": 1, "2026-06-07": 1, "2026-06-05": 0, "2026-12-05": 0, "2026-09-30": 0, "2028-04-01": 1} {
		of := measured(dayOf(day, nil, date(day).End(berlin).Add(time.Hour)), func(time.Time) float64 { return 100 })
		of.Tariffs = tariffOf(weekend)
		if used := summarised(of)[1].Used; len(used) != 1 || used[0].Window != want || used[0].Standby != 2_400_000 {
			t.Errorf("%s: %+v, want window %d", day, used, want)
		}
	}
}

// TestStandbyInAnyWindows: however windows cut a day, in any zone, what a machine
// draws at rest is the same in all: each piece is rounded, so by half a
// milliwatt-hour a piece at most.
func TestStandbyInAnyWindows(t *testing.T) {
	zones := rapid.SampledFrom([]string{"Europe/Berlin", "America/St_Johns", "Australia/Lord_Howe", "UTC"})
	rapid.Check(t, func(t *rapid.T) {
		z := zone(zones.Draw(t, "zone"))
		d := rapid.SampledFrom([]Date{date("2026-03-08"), date("2026-03-29"), date("2026-04-05"), date("2026-10-04"), date("2026-10-25"), date("2026-11-01"), date("2026-06-10")}).Draw(t, "day")
		watts := rapid.Float64Range(0.1, 3000).Draw(t, "W")
		of := measured(Day{Room: "cellar", Date: d, Zone: z, Opens: d.Begin(z), Closes: d.End(z), Until: d.End(z).Add(time.Hour)}, func(time.Time) float64 { return watts })
		var windows []coordinator.TariffWindow
		for range rapid.IntRange(0, 4).Draw(t, "windows") {
			clock := func(name string) queue.Clock { return queue.Clock(rapid.IntRange(0, 1439).Draw(t, name)) }
			windows = append(windows, window("any", clock("from"), clock("to"), 1))
		}
		of.Tariffs = tariffOf(windows...)
		sum := summarised(of)[1]
		_, standby := sum.Energy()
		want := watts * d.End(z).Sub(d.Begin(z)).Hours() * 1000
		if pieces := float64(len(of.Tariffs[0].Tariff.Day(d, z))); math.Abs(float64(standby)-want) > pieces/2+1e-6*want {
			t.Fatalf("%v W for %v are %d mWh, want %.1f", watts, d.End(z).Sub(d.Begin(z)), standby, want)
		}
	})
}

// TestDayByHand: a day of a washer in a room open from 07:00 to 22:00, every figure
// of it by hand.
func TestDayByHand(t *testing.T) {
	hours := queue.AlwaysOpen()
	for d := range hours {
		hours[d] = queue.Day{Opens: 7 * 60, LastStart: queue.NoClock, EndedBy: 22 * 60}
	}
	s := newFake()
	room := cellar("w1")
	room.Hours = hours
	at := func(kind coordinator.FactKind, when string, turn coordinator.TurnID, wait time.Duration) coordinator.Fact {
		return coordinator.Fact{At: local(when), Kind: kind, Machine: "w1", Turn: turn, Wait: wait}
	}
	s.add("cellar",
		at(coordinator.FactJoined, "2026-06-10 06:40", 1, 0), at(coordinator.FactCalled, "2026-06-10 07:00", 1, 20*time.Minute),
		at(coordinator.FactMissed, "2026-06-10 07:10", 1, 0), at(coordinator.FactCalled, "2026-06-10 07:30", 1, 50*time.Minute),
		ran("w1", 1, "2026-06-10 07:32", "2026-06-10 08:32", 600, "finished"), // told of at 08:35
		fact(coordinator.FactCollected, "w1", "2026-06-10 08:50", 1, 15*time.Minute),
		ran("w1", 2, "2026-06-10 21:00", "2026-06-10 22:30", 900, "finished"), // half an hour after closing
		fact(coordinator.FactCollected, "w1", "2026-06-11 07:33", 2, 9*time.Hour))
	must(t, rollUp(ctx, s, room, date("2026-06-10"), berlin, markAt("2026-06-11 08:15")))
	got := between(t, s, "cellar", "2026-06-10", "2026-06-10")[1]
	if got.Cycles != 2 || got.Starts != 2 || got.Missed != 1 || got.Collected != 1 || got.CycleWh != 1500 {
		t.Errorf("%+v", got.Figures)
	}
	if got.Open != 15*time.Hour || got.Running != 150*time.Minute || got.RunningOpen != 2*time.Hour || got.Blocked != 15*time.Minute+87*time.Minute {
		t.Errorf("open %v, running %v, in opening hours %v, blocked %v", got.Open, got.Running, got.RunningOpen, got.Blocked)
	}
	near(t, "utilisation", got.Utilisation(), 2./15, 1e-12)
	near(t, "kWh a cycle", got.KWhPerCycle(), 0.75, 1e-12)
	if got.Waits.Count() != 1 || !about(got.Waits.Median(), 20*time.Minute) { // the first call counts
		t.Errorf("%d waits, median %v", got.Waits.Count(), got.Waits.Median())
	}
}

// TestTablesByHand: a table says what its figures are, in its units, and leaves
// empty what is not known.
func TestTablesByHand(t *testing.T) {
	s := newFake()
	h, rooms := twoRooms()
	h.Tariffs = tariffOf()
	for i := range rooms {
		rooms[i].Tariffs = h.Tariffs
	}
	history(t, s, rooms, "2026-11-01", "2026-11-02")
	r := report(t, s, h, Scope{}, "2026-11-01", "2026-11-03", ByDay)
	tables := map[string]Table{}
	for _, table := range r.Tables() {
		tables[table.Name] = table
		for _, row := range table.Rows {
			if len(row) != len(table.Columns) {
				t.Errorf("%s: %d cells under %d columns", table.Name, len(row), len(table.Columns))
			}
		}
	}
	cell := func(table string, row int, key string) string {
		t.Helper()
		of := tables[table]
		i := slices.IndexFunc(of.Columns, func(c Column) bool { return c.Key == key })
		if i < 0 || row >= len(of.Rows) {
			t.Fatalf("%s has no row %d or no %s: %+v", table, row, key, of.Columns)
		}
		return of.Rows[row][i].Text
	}
	for _, c := range []struct {
		table     string
		row       int
		key, want string
	}{
		{"periods", 0, "from", "2026-11-01"}, {"periods", 0, "cycles", "3"}, {"periods", 0, "running", "1.00"}, {"periods", 0, "open", "72.00"},
		{"periods", 0, "utilisation", "1.4"}, {"periods", 0, "energy_cycles", "1.500"}, {"periods", 0, "energy_per_cycle", "0.500"}, {"periods", 0, "cost", "0.45"},
		{"periods", 0, "wait_median", ""}, {"periods", 0, "calls", "0"}, {"periods", 0, "collected", "3"},
		{"periods", 2, "days", "0"}, {"periods", 2, "utilisation", ""}, {"periods", 2, "energy_per_cycle", ""}, {"periods", 2, "cost", "0.00"},
		{"machines", 0, "machine", "w1"}, {"machines", 0, "name", r.Machines[0].Name}, {"machines", 2, "machine", "d1"}, {"machines", 2, "running", "1.00"},
		{"costs", 3, "part", "total"}, {"costs", 3, "cost", "0.90"}, {"windows", 0, "price_per_kwh", "0.30"}, {"windows", 0, "energy_cycles", "3.000"},
		{"week", 10, "weekday", "Monday"}, {"week", 10, "hour", "10"}, {"week", 10, "observed", "1.00"}, {"week", 10, "starts_per_hour", "3.00"}, {"week", 34, "observed", "0.00"}, {"week", 34, "starts_per_hour", ""},
	} {
		if got := cell(c.table, c.row, c.key); got != c.want {
			t.Errorf("%s, row %d, %s is %q, want %q", c.table, c.row, c.key, got, c.want)
		}
	}
	var out bytes.Buffer
	must(t, r.WriteJSON(&out))
	var file struct {
		From, To, By, Currency string
		Tables                 []struct {
			Name string
			Rows []map[string]any
		}
	}
	must(t, json.Unmarshal(out.Bytes(), &file))
	if file.From != "2026-11-01" || file.By != "day" || file.Currency != "EUR" || len(file.Tables) != len(tables) {
		t.Errorf("the file begins %+v", file)
	}
	if row := file.Tables[0].Rows[0]; row["cycles"] != 3.0 || row["cost"] != "0.45" || row["wait_median"] != nil {
		t.Errorf("its first row is %v", row)
	}
}

// TestSketchWithinOnePercent: of a million waits as in a busy house (log-normal with
// a median of 20 minutes; invented), every hundredth of them is within 1 % of the
// exact one.
func TestSketchWithinOnePercent(t *testing.T) {
	var sketch Sketch
	var waits []time.Duration
	const n = 100_000
	for i := range n {
		p := (float64(i) + 0.5) / n
		w := time.Duration(20 * float64(time.Minute) * math.Exp(1.1*math.Sqrt2*math.Erfinv(2*p-1)))
		waits = append(waits, w)
		sketch.Add(w)
	}
	for percent := 1; percent < 100; percent++ {
		p := float64(percent) / 100
		got, want := sketch.Quantile(p), exact(waits, p)
		if (got - want).Abs() > want/100 {
			t.Errorf("the %d-th percentile is %v, exactly %v", percent, got, want)
		}
	}
}

// TestCurveByHand: what a meter's readings enclose, piece by piece, by hand.
func TestCurveByHand(t *testing.T) {
	at := func(minutes int) time.Time { return noon.Add(time.Duration(minutes) * time.Minute) }
	c := curveOf([]cycle.Reading{cycle.Power(at(0), 60), cycle.Power(at(10), 120), cycle.Power(at(40), 0), cycle.Power(at(50), 30)}, time.Hour, 0, at(70))
	for _, want := range []struct {
		from, to int
		wh       float64
	}{{0, 10, 10}, {0, 5, 5}, {10, 40, 60}, {5, 25, 35}, {40, 50, 0}, {50, 70, 10}, {0, 70, 80}, {-60, 0, 0}, {70, 100, 0}, {65, 200, 2.5}, {20, 20, 0}} {
		near(t, fmt.Sprint("from ", want.from, " to ", want.to), c.between(at(want.from), at(want.to)), want.wh, 1e-9)
	}
	if got := c.known(at(-10), at(90)); got != 70*time.Minute {
		t.Errorf("known for %v", got)
	}
	twice := curveOf([]cycle.Reading{cycle.Power(at(0), 60), cycle.Power(at(0), 999), cycle.Power(at(-5), 999), cycle.Power(at(60), 0)}, 0, 0, at(60))
	near(t, "an instant told of twice, and one that goes back", twice.between(at(0), at(60)), 60, 1e-9)
	odd := curveOf([]cycle.Reading{cycle.Power(at(0), math.NaN()), cycle.Power(at(10), math.Inf(1)), cycle.Power(at(20), -50), cycle.Power(at(30), 60)}, time.Hour, 0, at(40))
	near(t, "what is no power", odd.between(at(0), at(40)), 10, 1e-9)
	if got := odd.known(at(0), at(40)); got != 20*time.Minute { // below nothing counts as nothing
		t.Errorf("known for %v", got)
	}
}

// TestIdleTimes: what lies between stretches, and the stretches themselves, are
// all of the time, once.
func TestIdleTimes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		of := dayOf("2026-06-10", nil, local("2026-06-11 12:00"))
		d := newDay(&of)
		var all []stretch
		for range rapid.IntRange(0, 8).Draw(t, "stretches") {
			from := d.from.Add(time.Duration(rapid.IntRange(-300, 1800).Draw(t, "from")) * time.Minute)
			all = append(all, stretch{from, from.Add(time.Duration(rapid.IntRange(0, 600).Draw(t, "long")) * time.Minute)})
		}
		busy := func(at time.Time) bool {
			return slices.ContainsFunc(all, func(s stretch) bool { return !at.Before(s.from) && at.Before(s.to) })
		}
		want := time.Duration(0)
		for at := d.from; at.Before(d.to); at = at.Add(time.Minute) {
			if busy(at) {
				want += time.Minute
			}
		}
		within := d.within(slices.Clone(all))
		idle := idleTimes(within, d.from, d.to)
		if length(within) != want || length(within)+length(idle) != d.to.Sub(d.from) {
			t.Fatalf("busy for %v, want %v, idle for %v", length(within), want, length(idle))
		}
		for _, s := range idle {
			if busy(s.from) || s.length() <= 0 {
				t.Fatalf("idle from %v to %v", s.from, s.to)
			}
		}
	})
}
