package coordinator

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"drumturn/queue"
)

// TestWhatIsWrongWithATariff: the whole of what is said, with each limit at the first
// value that is beyond it; one step before it nothing is.
func TestWhatIsWrongWithATariff(t *testing.T) {
	const (
		both    = `give both, such as from = "22:00" and to = "06:00", or leave both out for the whole day`
		season  = `give both, such as season_from = "10-01" and season_to = "03-31", or leave both out for the whole year`
		zero    = `the price is below zero; use a price of zero or more, such as "0.32"`
		outside = "the price is out of range; use a price below 1000000000"
		code    = ` is no currency code; use the three capital letters of ISO 4217, such as "EUR" or "CHF"`
		days    = `windows[1].days: a day is not known or listed twice; list each day once, such as ["saturday", "sunday"]`
		most    = 1_000_000_000 * 1_000_000
	)
	money := func(c string) func(*Tariff) { return func(t *Tariff) { t.Currency = c } }
	price := func(p int64) func(*Tariff) { return func(t *Tariff) { t.MicrosPerKWh = p } }
	standing := func(p int64) func(*Tariff) { return func(t *Tariff) { t.StandingMicros = p } }
	window := func(change func(*TariffWindow)) func(*Tariff) { return func(t *Tariff) { change(&t.Windows[0]) } }
	clocks := func(from, to queue.Clock) func(*Tariff) {
		return window(func(w *TariffWindow) { w.From, w.To = from, to })
	}
	seasons := func(from, to YearDay) func(*Tariff) {
		return window(func(w *TariffWindow) { w.SeasonFrom, w.SeasonTo = from, to })
	}
	week := func(days ...time.Weekday) func(*Tariff) { return window(func(w *TariffWindow) { w.Days = days }) }
	cycle := func(all ...CyclePrice) func(*Tariff) { return func(t *Tariff) { t.CyclePrices = all } }
	for _, c := range []struct {
		good, bad func(*Tariff)
		want      string
	}{
		{money("CHF"), money("chf"), `currency: "chf"` + code}, {money("ZZA"), money("EURO"), `currency: "EURO"` + code}, {nil, money(""), `currency: ""` + code}, {nil, money("E R"), `currency: "E R"` + code},
		{price(0), price(-1), "price_per_kwh: " + zero}, {price(most), price(most + 1), "price_per_kwh: " + outside},
		{standing(0), standing(-1), "standing_charge: " + zero}, {standing(most), standing(most + 1), "standing_charge: " + outside},
		{func(t *Tariff) { t.StandingPer = PerYear }, func(t *Tariff) { t.StandingPer = PerYear + 1 }, "standing_per: it is no period; use day, month or year"},
		{func(t *Tariff) { t.Rounding = HalfEven }, func(t *Tariff) { t.Rounding = HalfEven + 1 }, "rounding: it is no way to round; use half-up or half-even"},
		{windowsOf(50), windowsOf(51), "windows: there are 51 windows; use 50 at most"},
		{nil, window(func(w *TariffWindow) { w.Name = " " }), `windows[1].name: the window has no name; add name = "night", or what your supplier calls it`},
		{nil, func(t *Tariff) { t.Windows = append(t.Windows, t.Windows[0]); t.Windows[1].Name = " night " }, `windows[2].name: there is a window "night" already; give each window a name of its own`},
		{nil, window(func(w *TariffWindow) { w.MicrosPerKWh = -1 }), "windows[1].price_per_kwh: " + zero},
		{week(time.Sunday, time.Saturday), week(time.Saturday, time.Saturday), days}, {nil, week(-1), days}, {nil, week(7), days}, {nil, week(9, 9), days},
		{clocks(0, 1439), clocks(1440, 60), "windows[1].from: it is no time of day; use a time from 00:00 to 23:59"},
		{nil, clocks(60, 1440), "windows[1].to: it is no time of day; use a time from 00:00 to 23:59"},
		{clocks(queue.NoClock, queue.NoClock), clocks(queue.NoClock, 60), "windows[1].from: the window has an end but no beginning; " + both},
		{nil, clocks(60, queue.NoClock), "windows[1].to: the window has a beginning but no end; " + both},
		{clocks(60, 61), clocks(60, 60), "windows[1].to: the window begins and ends at 01:00; " + both},
		{seasons(YearDay{2, 29}, YearDay{12, 31}), seasons(YearDay{2, 30}, YearDay{3, 1}), `windows[1].season_from: there is no such day in a year; use month and day, such as "10-01"`},
		{seasons(YearDay{10, 1}, YearDay{10, 1}), seasons(YearDay{10, 1}, YearDay{13, 1}), `windows[1].season_to: there is no such day in a year; use month and day, such as "03-31"`},
		{nil, seasons(YearDay{}, YearDay{3, 1}), "windows[1].season_from: the season has an end but no beginning; " + season},
		{nil, seasons(YearDay{10, 1}, YearDay{}), "windows[1].season_to: the season has a beginning but no end; " + season},
		{cycle(CyclePrice{"cellar", "1", 0}), cycle(CyclePrice{"cellar", "1", -1}), "cycle_prices[1].price: " + zero},
		{nil, cycle(CyclePrice{"", "1", 1}), `cycle_prices[1].machine: it does not say which machine; add room = "cellar" and machine = "1"`},
		{nil, cycle(CyclePrice{"cellar", "", 1}), `cycle_prices[1].machine: it does not say which machine; add room = "cellar" and machine = "1"`},
		{cycle(CyclePrice{"cellar", "1", 1}, CyclePrice{"attic", "1", 1}, CyclePrice{"cellar", "2", 1}), cycle(CyclePrice{"cellar", "1", 1}, CyclePrice{"attic", "1", 1}, CyclePrice{"cellar", "1", 2}),
			"cycle_prices[3].machine: machine 1 of room cellar has a price already; give each machine one price"},
	} {
		usual := func() Tariff {
			return Tariff{Currency: "EUR", MicrosPerKWh: 320_000, Windows: []TariffWindow{{Name: "night", MicrosPerKWh: 200_000, From: 22 * 60, To: 6 * 60}}}
		}
		tariff := usual()
		c.bad(&tariff)
		found := tariff.Validate()
		if len(found) != 1 || found[0].Path+": "+found[0].Wrong+"; "+found[0].Right != c.want {
			t.Errorf("said is\n%+v, want\n%s", found, c.want)
		}
		if tariff = usual(); c.good != nil {
			if c.good(&tariff); len(tariff.Validate()) > 0 {
				t.Errorf("%s: one step before it: %+v", c.want, tariff.Validate())
			}
		}
	}
}

// windowsOf gives a tariff so many windows.
func windowsOf(n int) func(*Tariff) {
	return func(t *Tariff) {
		for i := range n - 1 {
			t.Windows = append(t.Windows, TariffWindow{Name: fmt.Sprint(i), From: queue.NoClock, To: queue.NoClock})
		}
	}
}

// TestNoTariff: a tariff in which anything is said is one, and checked.
func TestNoTariff(t *testing.T) {
	for _, tariff := range []Tariff{
		{From: Date{2026, 1, 1}}, {MicrosPerKWh: 1}, {Windows: make([]TariffWindow, 1)}, {StandingMicros: 1}, {CyclePrices: make([]CyclePrice, 1)},
	} {
		if tariff.IsZero() || len(tariff.Validate()) == 0 {
			t.Errorf("%+v counts as none", tariff)
		}
	}
	if none := (Tariff{StandingPer: PerYear, Rounding: HalfEven}); !none.IsZero() || len(none.Validate()) > 0 {
		t.Error("how is reckoned what is not there is a tariff")
	}
}

// TestTariffAsTexts: every part in its order, as it is written, and how else it may be.
func TestTariffAsTexts(t *testing.T) {
	tariff := Tariff{
		From: Date{2026, 1, 31}, Currency: "EUR", MicrosPerKWh: 320_000, StandingMicros: 12_500_000, StandingPer: PerYear, Rounding: HalfEven,
		Windows: []TariffWindow{{Name: "night", MicrosPerKWh: 1, From: 22 * 60, To: 6 * 60, Days: []time.Weekday{time.Sunday, time.Tuesday}, SeasonFrom: YearDay{10, 1}, SeasonTo: YearDay{3, 31}},
			{Name: "all", From: queue.NoClock, To: queue.NoClock}},
		CyclePrices: []CyclePrice{{"cellar", "w1", 1_500_000}},
	}
	week := func(path, on string) (out []Setting) {
		for _, day := range strings.Fields("monday tuesday wednesday thursday friday saturday sunday") {
			out = append(out, Setting{path + day, TruthSetting, fmt.Sprint(strings.Contains(on, day)), nil})
		}
		return out
	}
	want := []Setting{
		{"valid_from", DateSetting, "2026-01-31", nil}, {"currency", TextSetting, "EUR", nil}, {"price_per_kwh", PriceSetting, "0.32", nil}, {"standing_charge", PriceSetting, "12.50", nil},
		{"standing_per", ChoiceSetting, "year", []string{"month", "day", "year"}}, {"rounding", ChoiceSetting, "half-even", []string{"half-up", "half-even"}},
		{"windows[1].name", TextSetting, "night", nil}, {"windows[1].price_per_kwh", PriceSetting, "0.000001", nil},
		{"windows[1].from", ClockSetting, "22:00", nil}, {"windows[1].to", ClockSetting, "06:00", nil},
		{"windows[1].season_from", YearDaySetting, "10-01", nil}, {"windows[1].season_to", YearDaySetting, "03-31", nil},
	}
	want = append(want, week("windows[1].", "sunday tuesday")...)
	want = append(want, Setting{"windows[2].name", TextSetting, "all", nil}, Setting{"windows[2].price_per_kwh", PriceSetting, "0.00", nil},
		Setting{"windows[2].from", ClockSetting, "", nil}, Setting{"windows[2].to", ClockSetting, "", nil}, Setting{"windows[2].season_from", YearDaySetting, "", nil}, Setting{"windows[2].season_to", YearDaySetting, "", nil})
	want = append(want, week("windows[2].", "monday tuesday wednesday thursday friday saturday sunday")...)
	want = append(want, Setting{"cycle[cellar/w1]", PriceSetting, "1.50", nil})
	if got := tariff.Settings(); !reflect.DeepEqual(got, want) {
		t.Errorf("written is\n%+v, want\n%+v", got, want)
	}
	empty := []Setting{
		{"windows[3].name", TextSetting, "", nil}, {"windows[3].price_per_kwh", PriceSetting, "", nil}, {"windows[3].from", ClockSetting, "", nil}, {"windows[3].to", ClockSetting, "", nil},
		{"windows[3].season_from", YearDaySetting, "", nil}, {"windows[3].season_to", YearDaySetting, "", nil},
	}
	if got := EmptyWindow(3); !reflect.DeepEqual(got, append(empty, week("windows[3].", "")...)) {
		t.Errorf("a window that is not there is %+v", got)
	}
}

// TestWhatCannotBeReadOfATariff: the whole of what is said of each part.
func TestWhatCannotBeReadOfATariff(t *testing.T) {
	const (
		price  = `; write a price such as "0.32"`
		chosen = "; use one of the words that are offered"
	)
	for _, c := range []struct {
		path, value string
		kind        SettingKind
		want        string
	}{
		{"price_per_kwh", "much", PriceSetting, `"much" is no price` + price}, {"standing_charge", "-1", PriceSetting, `"-1" is no price` + price},
		{"cycle[cellar/1]", "free", PriceSetting, `"free" is no price` + price}, {"cycle[cellar]", "1", PriceSetting, "it does not say which machine" + price},
		{"valid_from", "tomorrow", DateSetting, `"tomorrow" is no date: write it like 2026-11-25; write a day such as "2026-01-31", or nothing for since ever`},
		{"windows[1].season_from", "02-30", YearDaySetting, `"02-30" is no day of the year; write month and day such as "10-31", or nothing for the whole year`},
		{"windows[1].from", "24:00", ClockSetting, `; write a time of day such as "22:00", or nothing for the whole day`},
		{"standing_per", "week", ChoiceSetting, `"week" is no period of a standing charge: use day, month or year` + chosen},
		{"rounding", "up", ChoiceSetting, `"up" is no way to round: use half-up or half-even` + chosen},
		{"soap", "1", TextSetting, "a tariff has no such part" + chosen}, {"windows[51].name", "n", TextSetting, "a tariff has no such part" + chosen}, {"windows[0].name", "n", TextSetting, "a tariff has no such part" + chosen},
		{"windows[1", "n", TextSetting, "a tariff has no such part" + chosen}, {"windows[x].name", "n", TextSetting, "a tariff has no such part" + chosen}, {"[1].name", "n", TextSetting, "a tariff has no such part" + chosen},
		{"windows[1].soap", "1", TextSetting, "a window has no such part" + chosen},
	} {
		_, found := TariffOf([]Setting{{Path: c.path, Kind: c.kind, Value: c.value}})
		if len(found) != 1 || found[0].Path != c.path || !strings.HasSuffix(found[0].Wrong+"; "+found[0].Right, c.want) {
			t.Errorf("%s = %q: %+v, want %q", c.path, c.value, found, c.want)
		}
	}
	got, found := TariffOf([]Setting{
		{Path: "currency", Value: " eur "}, {Path: "standing_charge", Value: ""}, {Path: "cycle[cellar/1]", Value: " "}, {Path: "cycle[attic/2]", Value: "1,5"},
		{Path: "windows[50].name", Value: "last"}, {Path: "windows[50].monday", Value: "true"}, {Path: "windows[50].tuesday", Value: "false"}, {Path: "windows[50].saturday", Value: "true"},
		{Path: "windows[50].from", Value: "22:00"}, {Path: "windows[50].to", Value: "06:30"}, {Path: "windows[50].season_from", Value: "10-01"}, {Path: "windows[50].season_to", Value: "03-31"},
		{Path: "windows[3].price_per_kwh", Value: "0.1"}, {Path: "windows[7].price_per_kwh", Value: ""},
	})
	want := Tariff{Currency: "EUR", CyclePrices: []CyclePrice{{"attic", "2", 1_500_000}}, Windows: []TariffWindow{
		{MicrosPerKWh: 100_000, From: queue.NoClock, To: queue.NoClock}, {Name: "last", From: 22 * 60, To: 6*60 + 30, Days: []time.Weekday{time.Monday, time.Saturday}, SeasonFrom: YearDay{10, 1}, SeasonTo: YearDay{3, 31}},
	}}
	if len(found) > 0 || !reflect.DeepEqual(got, want) {
		t.Errorf("read is %+v, %+v, want %+v", got, found, want)
	}
}

// TestTariffChangedTo: what differs, and not the days of a window that one of them lacks.
func TestTariffChangedTo(t *testing.T) {
	plain := Tariff{Currency: "EUR", MicrosPerKWh: 320_000}
	night := plain
	night.MicrosPerKWh = 330_000
	night.Windows = []TariffWindow{{Name: "night", MicrosPerKWh: 200_000, From: 22 * 60, To: 6 * 60, Days: []time.Weekday{time.Monday}}}
	want := []Changed{
		{"price_per_kwh", "0.32", "0.33"}, {"windows[1].name", "", "night"}, {"windows[1].price_per_kwh", "", "0.20"},
		{"windows[1].from", "", "22:00"}, {"windows[1].to", "", "06:00"}, {"windows[1].monday", "", "true"},
	}
	if got := plain.ChangedTo(&night); !reflect.DeepEqual(got, want) {
		t.Errorf("changed: %+v", got)
	}
	for i := range want {
		want[i].From, want[i].To = want[i].To, want[i].From
	}
	if got := night.ChangedTo(&plain); !reflect.DeepEqual(got, want) {
		t.Errorf("changed back: %+v", got)
	}
	if got := night.ChangedTo(&night); len(got) > 0 {
		t.Errorf("the same differ in %+v", got)
	}
}
