package usage

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/queue"
)

func exactly(texts ...string) (all []decimal.Decimal) {
	for _, text := range texts {
		all = append(all, decimal.RequireFromString(text))
	}
	return all
}

// TestLargestRemainders: the example by which the method is usually explained: ten
// seats for 47000, 16000, 15900, 12000, 6000 and 3100 votes (from memory).
func TestLargestRemainders(t *testing.T) {
	for _, c := range []struct {
		whole  int64
		digits int
		parts  []string
		want   []int64
	}{
		{10, 0, []string{"4.7", "1.6", "1.59", "1.2", "0.6", "0.31"}, []int64{5, 2, 1, 1, 1, 0}},
		{100, 2, []string{"0.3333", "0.3333", "0.3333"}, []int64{34, 33, 33}},
		{99, 2, []string{"0.3333", "0.3333", "0.3333"}, []int64{33, 33, 33}},
		{98, 2, []string{"0.3333", "0.3333", "0.3333"}, []int64{33, 33, 32}},
		{0, 2, []string{"0", "0"}, []int64{0, 0}},
		{7, 2, nil, []int64{}},
	} {
		if got := apportion(c.whole, exactly(c.parts...), c.digits); !slices.Equal(got, c.want) {
			t.Errorf("%d over %v is %v, want %v", c.whole, c.parts, got, c.want)
		}
	}
}

// TestShares: shares add up to the whole; where that is what the parts round to,
// each is one of its part's two neighbours.
func TestShares(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		digits := rapid.IntRange(0, 4).Draw(t, "digits")
		var parts []decimal.Decimal
		for range rapid.IntRange(1, 12).Draw(t, "parts") {
			parts = append(parts, decimal.New(rapid.Int64Range(0, 1e15).Draw(t, "part"), -12))
		}
		how := rapid.SampledFrom([]coordinator.Rounding{coordinator.HalfUp, coordinator.HalfEven}).Draw(t, "rounding")
		whole := rounded(total(parts), digits, how)
		off := rapid.Int64Range(-3, 3).Draw(t, "off")
		sum := int64(0)
		for i, share := range apportion(whole+off, parts, digits) {
			sum += share
			units := parts[i].Shift(int32(digits))
			if floor := units.Floor().IntPart(); off == 0 && share != floor && share != floor+1 {
				t.Fatalf("%v gets %d", parts[i], share)
			}
		}
		if sum != whole+off {
			t.Fatalf("the shares are %d of %d", sum, whole+off)
		}
	})
}

func TestRounding(t *testing.T) {
	for _, c := range []struct {
		exact    string
		digits   int
		up, even int64
	}{{"0.125", 2, 13, 12}, {"0.135", 2, 14, 14}, {"2.5", 0, 3, 2}, {"0.0005", 3, 1, 0}, {"0.1251", 2, 13, 13}} {
		e := decimal.RequireFromString(c.exact)
		if up, even := rounded(e, c.digits, coordinator.HalfUp), rounded(e, c.digits, coordinator.HalfEven); up != c.up || even != c.even {
			t.Errorf("%s is %d and %d, want %d and %d", c.exact, up, even, c.up, c.even)
		}
	}
}

// TestExactCosts: by hand: 1.234567 kWh at 0.32 is 0.39506144; at 0.123456 in a
// window 0.0152412... is exact in twelve decimals.
func TestExactCosts(t *testing.T) {
	p := prices{tariffs: tariffOf(window("night", 0, 60, 123_456))}
	p.tariffs[0].Tariff.MicrosPerKWh = 320_000
	cycles, standby, unpriced := p.exact([]Used{{Tariff: 1, Cycles: 1_234_567}, {Tariff: 1, Window: 1, Standby: 123_456}, {Tariff: 7, Cycles: 5, Standby: 6}, {Tariff: 1, Window: 9, Cycles: 1}})
	if cycles.String() != "0.39506144" || standby.String() != "0.015241383936" || unpriced != 12 {
		t.Errorf("%s, %s, %d", cycles, standby, unpriced)
	}
}

// TestStandingCharge: 9.30 a month is 0.30 a day in a month of 31 days; 365 a year
// is 1 a day, 366 in a leap year.
func TestStandingCharge(t *testing.T) {
	charge := func(micros int64, per coordinator.PerPeriod, from, to string) string {
		p := prices{tariffs: coordinator.Tariffs{{Version: 1, Tariff: coordinator.Tariff{Currency: "EUR", StandingMicros: micros, StandingPer: per}}}}
		return p.standing(span{date(from), date(to)}).Round(6).String()
	}
	for _, c := range []struct{ got, want string }{
		{charge(9_300_000, coordinator.PerMonth, "2026-01-01", "2026-01-31"), "9.3"},
		{charge(9_300_000, coordinator.PerMonth, "2026-01-30", "2026-01-31"), "0.6"},
		{charge(365_000_000, coordinator.PerYear, "2026-03-01", "2026-03-10"), "10"},
		{charge(366_000_000, coordinator.PerYear, "2028-03-01", "2028-03-10"), "10"},
		{charge(250_000, coordinator.PerDay, "2026-03-01", "2026-03-04"), "1"},
		{charge(250_000, coordinator.PerDay, "2026-03-02", "2026-03-01"), "0"},
	} {
		if c.got != c.want {
			t.Errorf("charged %s, want %s", c.got, c.want)
		}
	}
}

// TestReportCosts is a report reckoned by hand: two machines that each took 500 Wh
// a day for three days at 0.30 are 0.90, and a charge of 0.10 a day makes 1.20.
func TestReportCosts(t *testing.T) {
	s := newFake()
	h, rooms := twoRooms()
	h.Rooms, rooms = h.Rooms[1:], rooms[1:]
	h.Tariffs = tariffOf()
	h.Tariffs[0].Tariff.StandingMicros, h.Tariffs[0].Tariff.StandingPer = 100_000, coordinator.PerDay
	h.Tariffs[0].Tariff.CyclePrices = []coordinator.CyclePrice{{Room: "cellar", Machine: "d1", Micros: 1_500_000}}
	rooms[0].Tariffs = h.Tariffs
	history(t, s, rooms, "2026-11-01", "2026-11-03")
	r := report(t, s, h, Scope{}, "2026-10-01", "2026-12-31", ByMonth)
	text := func(a Amount) string { return r.Currency.Text(a) }
	if text(r.Costs.Total) != "1.20" || text(r.Costs.Cycles) != "0.90" || text(r.Costs.Standby) != "0.00" || text(r.Costs.Standing) != "0.30" {
		t.Errorf("costs %+v", r.Costs)
	}
	if text(r.Whole.Cost) != "0.90" || text(r.Periods[1].Cost) != "0.90" || text(r.Periods[0].Cost) != "0.00" || text(r.Periods[1].Standing) != "0.30" {
		t.Errorf("periods %+v", r.Periods)
	}
	if text(r.Machines[0].Cost) != "0.45" || r.Machines[0].CyclePrice != "" || r.Machines[1].CyclePrice != "1.50 EUR" {
		t.Errorf("machines %+v", r.Machines)
	}
	for _, table := range r.Tables() {
		k := slices.IndexFunc(table.Columns, func(c Column) bool { return c.Key == "cycle_price" && c.Unit == "EUR" && c.Kind == KindMoney })
		if (table.Name == "machines") != (k >= 0) {
			t.Errorf("%s has prices at the machine in column %d", table.Name, k)
		} else if k >= 0 && (table.Rows[0][k] != none || table.Rows[1][k].Text != "1.50") {
			t.Errorf("prices at the machine are %v and %v", table.Rows[0][k], table.Rows[1][k])
		}
	}
	if w := r.Windows; len(w) != 1 || w[0].PricePerKWh != "0.30" || w[0].Cycles != 3_000_000 || text(w[0].Cost) != "0.90" {
		t.Errorf("windows %+v", w)
	}
	if !slices.Equal(r.Notes, []Note{NoteUnmetered}) {
		t.Errorf("notes %v", r.Notes)
	}
	// Nothing is known of prices in what was summed up before there was a tariff.
	h.Tariffs = nil
	if r := report(t, s, h, Scope{}, "2026-11-01", "2026-11-03", ByAll); r.Whole.Cost.Known || r.Costs.Total.Known || !slices.Contains(r.Notes, NoteNoTariff) {
		t.Errorf("without a tariff %+v, %v", r.Costs, r.Notes)
	}
}

// TestTwoCurrencies: amounts in two currencies are not added up.
func TestTwoCurrencies(t *testing.T) {
	s := newFake()
	h, rooms := twoRooms()
	h.Tariffs = append(tariffOf(), coordinator.TariffVersion{Version: 2, Tariff: coordinator.Tariff{From: date("2026-11-02"), Currency: "CHF", MicrosPerKWh: 1}})
	for i := range rooms {
		rooms[i].Tariffs = h.Tariffs
	}
	history(t, s, rooms, "2026-11-01", "2026-11-02")
	both := report(t, s, h, Scope{}, "2026-11-01", "2026-11-02", ByDay)
	if both.Whole.Cost.Known || both.Currency.Code != "" || !slices.Contains(both.Notes, NoteTwoCurrencies) {
		t.Errorf("%+v, %v", both.Whole.Cost, both.Notes)
	}
	if one := report(t, s, h, Scope{}, "2026-11-02", "2026-11-02", ByDay); one.Currency.Code != "CHF" || !one.Whole.Cost.Known {
		t.Errorf("%+v", one.Currency)
	}
}

// anyHistory fills a store with days of any energy in any windows.
func anyHistory(t *rapid.T, s *fakeStore, rooms []Room, from Date, days int) {
	for i := range rooms {
		for n := range days {
			d := from.Add(n)
			room := Summary{V: edition, Room: rooms[i].ID, Date: d}
			homes := map[coordinator.HomeID]*HomeSum{"": {}, "a": {}, "b": {}}
			all := []Summary{}
			for _, m := range rooms[i].Machines {
				sum := Summary{V: edition, Room: rooms[i].ID, Machine: m, Date: d, Figures: Figures{Days: 1}}
				for range rapid.IntRange(0, 3).Draw(t, "uses") {
					version := 1
					if v := rooms[i].Tariffs.On(d); v != nil {
						version = v.Version
					}
					u := Used{Tariff: version, Window: rapid.IntRange(0, 2).Draw(t, "window"),
						Cycles: MilliWh(rapid.Int64Range(0, 3e6).Draw(t, "mWh")), Standby: MilliWh(rapid.Int64Range(0, 3e5).Draw(t, "standby"))}
					sum.Used = addUsed(sum.Used, u)
					u.Standby = 0
					homes[rapid.SampledFrom([]coordinator.HomeID{"", "a", "b"}).Draw(t, "home")].add(&HomeSum{Cycles: 1, Used: []Used{u}})
					sum.Cycles++
				}
				room.beside(&sum)
				all = append(all, sum)
			}
			putSums(t, s, &rooms[i], d, &Sums{All: append(all, room), Homes: homes}, true)
		}
	}
}

// TestCostsAddUp: whatever was drawn when and at which price, the costs of the
// periods, rooms, machines, windows and homes are that of the whole, and cycles,
// standby and standing charge are the total, to the last unit.
func TestCostsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := newFake()
		h, rooms := twoRooms()
		price := func() int64 { return rapid.Int64Range(0, 1e6).Draw(t, "price") }
		currency := rapid.SampledFrom([]string{"EUR", "JPY", "KWD"}).Draw(t, "currency")
		tariff := func(from string) coordinator.Tariff {
			v := coordinator.Tariff{Currency: currency, MicrosPerKWh: price(), StandingMicros: price(),
				StandingPer: rapid.SampledFrom([]coordinator.PerPeriod{coordinator.PerDay, coordinator.PerMonth, coordinator.PerYear}).Draw(t, "per"),
				Rounding:    rapid.SampledFrom([]coordinator.Rounding{coordinator.HalfUp, coordinator.HalfEven}).Draw(t, "rounding"),
				Windows:     []coordinator.TariffWindow{window("a", 0, 60, price()), window("b", 60, 90, price())}}
			if from != "" {
				v.From = date(from)
			}
			return v
		}
		h.Tariffs = coordinator.Tariffs{{Version: 1, Tariff: tariff("")}, {Version: 2, Tariff: tariff("2026-11-01")}}
		for i := range rooms {
			rooms[i].Tariffs, rooms[i].PerHome, h.Rooms[i].PerHome = h.Tariffs, true, true
		}
		anyHistory(t, s, rooms, date("2026-10-28"), 6)
		by := rapid.SampledFrom([]Period{ByDay, ByWeek, ByMonth, ByAll}).Draw(t, "by")
		scope := rapid.SampledFrom([]Scope{{}, {Room: "cellar"}}).Draw(t, "scope")
		r, err := MakeReport(ctx, s, h, Query{Scope: scope, From: date("2026-10-01"), To: date("2026-11-30"), By: by})
		must(t, err)
		check := func(what string, got, want int64) {
			if got != want {
				t.Fatalf("by %s the %s cost %d, want %d", by, what, got, want)
			}
		}
		c := &r.Costs
		check("parts", c.Cycles.Minor+c.Standby.Minor+c.Standing.Minor, c.Total.Minor)
		check("cycles and standby", c.Cycles.Minor+c.Standby.Minor, r.Whole.Cost.Minor)
		check("periods", sumCost(r.Periods), r.Whole.Cost.Minor)
		check("machines", sumCost(r.Machines), r.Whole.Cost.Minor)
		if scope == (Scope{}) {
			check("rooms", sumCost(r.Rooms), r.Whole.Cost.Minor)
		}
		var windows, homes, standing int64
		for i := range r.Windows {
			windows += r.Windows[i].Cost.Minor
		}
		for i := range r.Homes {
			homes += r.Homes[i].Cost.Minor
		}
		for i := range r.Periods {
			standing += r.Periods[i].Standing.Minor
		}
		check("windows", windows, r.Whole.Cost.Minor)
		check("homes", homes, r.Whole.Cost.Minor)
		check("periods' standing charges", standing, c.Standing.Minor)
		for _, row := range r.Rooms {
			var of []Row
			for i := range r.Machines {
				if r.Machines[i].Room == row.Room {
					of = append(of, r.Machines[i])
				}
			}
			check(fmt.Sprintf("machines of %s", row.Room), sumCost(of), row.Cost.Minor)
		}
	})
}

func sumCost(rows []Row) (sum int64) {
	for i := range rows {
		sum += rows[i].Cost.Minor
	}
	return sum
}

// TestHomesOnlyWhereWanted: without the house rule there are no sums by home, and
// those that were there go; with it they stay when who washed is forgotten.
func TestHomesOnlyWhereWanted(t *testing.T) {
	s := newFake()
	h := &House{Zone: berlin, Rooms: []HouseRoom{{ID: "cellar", PerHome: true}}, Homes: map[coordinator.HomeID]string{"h12": "=12"}}
	room := &Room{ID: "cellar", Hours: queue.AlwaysOpen(), KeepDays: 10, PerHome: true}
	wash := func(at string, home coordinator.HomeID, load coordinator.LoadID) {
		start := local(at)
		s.add("cellar", coordinator.Fact{At: start, Kind: coordinator.FactStarted, Machine: "w1", Cycle: uint64(load), Load: load, Home: home, Start: start},
			coordinator.Fact{At: start.Add(time.Hour), Kind: coordinator.FactCycle, Machine: "w1", Cycle: uint64(load), Load: load, Start: start, End: start.Add(time.Hour), EnergyWh: 1000})
	}
	wash("2026-11-01 10:00", "h12", 1)
	wash("2026-11-02 10:00", "", 2)
	for _, d := range []string{"2026-11-01", "2026-11-02"} {
		must(t, rollUp(ctx, s, room, date(d), berlin, coordinator.JobMark{At: date(d).Add(1).End(berlin)}))
	}
	homes := func() string {
		out := ""
		for _, row := range report(t, s, h, Scope{}, "2026-11-01", "2026-11-30", ByMonth).Homes {
			out += fmt.Sprintf("%s %s %d %.1f; ", row.Who, row.Name, row.Cycles, row.Energy.KWh())
		}
		return out
	}
	const want = "home =12 1 1.0; nobody  1 1.0; standby  0 0.0; "
	if got := homes(); got != want {
		t.Errorf("homes %q, want %q", got, want)
	}
	// Its time is over: the facts name nobody any more, and summing up again keeps what was known.
	for i := range s.facts["cellar"] {
		s.facts["cellar"][i].Home = ""
	}
	late := local("2027-03-01 04:15")
	must(t, sumUpAgain(ctx, s, room, &factReader{s: s, room: room.ID}, date("2026-11-01"), berlin, late))
	must(t, forgetHomes(ctx, s, room, late, berlin))
	if got := homes(); got != want {
		t.Errorf("after its time: homes %q, want %q", got, want)
	}
	for key := range s.sums {
		if len(key) > len(homeDays) && key[:len(homeDays)] == homeDays {
			t.Errorf("%s is still there", key)
		}
	}
	room.PerHome = false
	must(t, forgetHomes(ctx, s, room, late, berlin))
	for key := range s.sums {
		if len(key) > 5 && key[:5] == "~home" {
			t.Errorf("%s is still there although nobody wants it", key)
		}
	}
	h.Rooms[0].PerHome = false
	if got := homes(); got != "" {
		t.Errorf("homes that nobody wants: %q", got)
	}
}
