package coordinator_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the same rules of the clocks on every machine

	"golang.org/x/text/currency"
	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/queue"
)

func zoneNamed(name string) *time.Location {
	z, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return z
}

func day(text string) (d coordinator.Date) {
	if err := d.UnmarshalText([]byte(text)); err != nil {
		panic(err)
	}
	return d
}

// pieces writes a day's pieces: "00:00+0200 night, 06:00+0200 -".
func pieces(t *coordinator.Tariff, date string, zone *time.Location) string {
	var out []string
	at := day(date).Begin(zone)
	for _, p := range t.Day(day(date), zone) {
		if !p.From.Equal(at) || !p.To.After(at) {
			return fmt.Sprintf("from %v to %v after %v", p.From, p.To, at)
		}
		at = p.To
		name := "-"
		if p.Window > 0 {
			name = t.Windows[p.Window-1].Name
		}
		out = append(out, p.From.In(zone).Format("15:04-0700")+" "+name)
	}
	if !at.Equal(day(date).End(zone)) {
		return fmt.Sprintf("ends at %v", at)
	}
	return strings.Join(out, ", ")
}

// TestTariffDay: windows by weekday, season and time, over midnight and on the
// days on which Berlin's clocks change (2026-03-29 and 2026-10-25, IANA time zone
// database): in spring 01:30 to 02:30 ends when the clocks skip 02:00, in autumn
// it holds until the first 02:30 and again from the second 02:00.
func TestTariffDay(t *testing.T) {
	berlin := zoneNamed("Europe/Berlin")
	night := coordinator.TariffWindow{Name: "night", From: 22 * 60, To: 6 * 60}
	weekend := coordinator.TariffWindow{Name: "weekend", From: queue.NoClock, To: queue.NoClock, Days: []time.Weekday{time.Saturday, time.Sunday}}
	winter := coordinator.TariffWindow{Name: "winter", From: queue.NoClock, To: queue.NoClock,
		SeasonFrom: coordinator.YearDay{Month: 11, Day: 1}, SeasonTo: coordinator.YearDay{Month: 2, Day: 29}}
	early := coordinator.TariffWindow{Name: "early", From: 90, To: 150}
	friday := coordinator.TariffWindow{Name: "friday", From: 22 * 60, To: 2 * 60, Days: []time.Weekday{time.Friday}}
	work := coordinator.TariffWindow{Name: "work", From: 8 * 60, To: 17 * 60, Days: []time.Weekday{time.Thursday, time.Friday}}
	for _, c := range []struct {
		date, want string
		windows    []coordinator.TariffWindow
	}{
		{"2026-06-10", "00:00+0200 -", nil},
		{"2026-06-10", "00:00+0200 night, 06:00+0200 -, 22:00+0200 night", []coordinator.TariffWindow{night}},
		{"2026-06-13", "00:00+0200 weekend", []coordinator.TariffWindow{weekend, night}},
		{"2026-06-13", "00:00+0200 night, 06:00+0200 weekend, 22:00+0200 night", []coordinator.TariffWindow{night, weekend}},
		{"2026-10-31", "00:00+0100 -", []coordinator.TariffWindow{winter}},
		{"2026-11-01", "00:00+0100 winter", []coordinator.TariffWindow{winter}},
		{"2028-02-29", "00:00+0100 winter", []coordinator.TariffWindow{winter}},
		{"2026-03-01", "00:00+0100 -", []coordinator.TariffWindow{winter}},
		{"2026-06-12", "00:00+0200 -, 08:00+0200 work, 17:00+0200 -", []coordinator.TariffWindow{work}},
		{"2026-06-13", "00:00+0200 -", []coordinator.TariffWindow{work}},
		{"2026-06-12", "00:00+0200 night, 06:00+0200 -, 08:00+0200 work, 17:00+0200 -, 22:00+0200 night", []coordinator.TariffWindow{work, night}},
		{"2026-06-12", "00:00+0200 -, 22:00+0200 friday", []coordinator.TariffWindow{friday}},
		{"2026-06-13", "00:00+0200 friday, 02:00+0200 -", []coordinator.TariffWindow{friday}},
		{"2026-03-29", "00:00+0100 -, 01:30+0100 early, 03:00+0200 -", []coordinator.TariffWindow{early}},
		{"2026-10-25", "00:00+0200 -, 01:30+0200 early, 02:30+0200 -, 02:00+0100 early, 02:30+0100 -", []coordinator.TariffWindow{early}},
	} {
		tariff := coordinator.Tariff{Currency: "EUR", Windows: c.windows}
		if got := pieces(&tariff, c.date, berlin); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.date, got, c.want)
		}
	}
}

// anyWindow is a window that Validate takes.
func anyWindow(t *rapid.T, i int) coordinator.TariffWindow {
	w := coordinator.TariffWindow{Name: fmt.Sprint(i), From: queue.NoClock, To: queue.NoClock, MicrosPerKWh: int64(i)}
	if rapid.Bool().Draw(t, "clock") {
		w.From = queue.Clock(rapid.IntRange(0, 1439).Draw(t, "from"))
		w.To = (w.From + queue.Clock(rapid.IntRange(1, 1439).Draw(t, "long"))) % 1440
	}
	for d := time.Sunday; d <= time.Saturday; d++ {
		if rapid.Bool().Draw(t, "weekday") {
			w.Days = append(w.Days, d)
		}
	}
	if rapid.Bool().Draw(t, "season") {
		w.SeasonFrom = coordinator.YearDay{Month: time.Month(rapid.IntRange(1, 12).Draw(t, "month")), Day: rapid.IntRange(1, 28).Draw(t, "day")}
		w.SeasonTo = coordinator.YearDay{Month: time.Month(rapid.IntRange(1, 12).Draw(t, "month")), Day: rapid.IntRange(1, 28).Draw(t, "day")}
	}
	return w
}

// inWindow says again, by walking the calendar, whether a window holds at a local time.
func inWindow(w *coordinator.TariffWindow, local time.Time) bool {
	begins := func(d time.Time) bool {
		if len(w.Days) > 0 && !slices.Contains(w.Days, d.Weekday()) {
			return false
		}
		if w.SeasonFrom == (coordinator.YearDay{}) {
			return true
		}
		for at, n := time.Date(d.Year()-1, w.SeasonFrom.Month, w.SeasonFrom.Day, 0, 0, 0, 0, time.UTC), 0; at.Year() <= d.Year(); at, n = at.AddDate(1, 0, 0), n+1 {
			for e := at; ; e = e.AddDate(0, 0, 1) {
				if e.Year() == d.Year() && e.YearDay() == d.YearDay() {
					return true
				}
				if e.Month() == w.SeasonTo.Month && e.Day() == w.SeasonTo.Day {
					break
				}
			}
		}
		return false
	}
	today := time.Date(local.Year(), local.Month(), local.Day(), 0, 0, 0, 0, time.UTC)
	minute := queue.Clock(local.Hour()*60 + local.Minute())
	switch {
	case w.From == queue.NoClock:
		return begins(today)
	case w.From < w.To:
		return begins(today) && w.From <= minute && minute < w.To
	case minute >= w.From:
		return begins(today)
	}
	return minute < w.To && begins(today.AddDate(0, 0, -1))
}

// TestTariffDayAnyWindows: on every day the pieces cover the day without gap or
// overlap, and each minute is in the window in which walking the calendar finds it.
func TestTariffDayAnyWindows(t *testing.T) {
	zones := []*time.Location{zoneNamed("Europe/Berlin"), zoneNamed("America/St_Johns"), zoneNamed("Australia/Lord_Howe"), zoneNamed("Africa/Cairo"), time.UTC}
	rapid.Check(t, func(t *rapid.T) {
		var tariff coordinator.Tariff
		tariff.Currency = "EUR"
		for i := range rapid.IntRange(0, 3).Draw(t, "windows") {
			tariff.Windows = append(tariff.Windows, anyWindow(t, i+1))
		}
		if p := tariff.Validate(); len(p) > 0 {
			t.Fatalf("problems %+v", p)
		}
		zone := rapid.SampledFrom(zones).Draw(t, "zone")
		date := day("2026-01-01").Add(rapid.IntRange(0, 400).Draw(t, "date"))
		if rapid.Bool().Draw(t, "change") {
			date = rapid.SampledFrom([]coordinator.Date{day("2026-03-29"), day("2026-10-25"), day("2026-03-08"), day("2026-11-01"), day("2026-04-05"), day("2026-10-04"), day("2026-04-24")}).Draw(t, "changes")
		}
		at := date.Begin(zone)
		for _, p := range tariff.Day(date, zone) {
			if !p.From.Equal(at) || !p.To.After(p.From) {
				t.Fatalf("a piece from %v to %v after %v", p.From, p.To, at)
			}
			for ; at.Before(p.To); at = at.Add(time.Minute) {
				want := 1 + slices.IndexFunc(tariff.Windows, func(w coordinator.TariffWindow) bool { return inWindow(&w, at.In(zone)) })
				if p.Window != want {
					t.Fatalf("%v is in window %d, want %d of %+v", at.In(zone), p.Window, want, tariff.Windows)
				}
			}
			at = p.To
		}
		if !at.Equal(date.End(zone)) {
			t.Fatalf("the pieces end at %v", at)
		}
	})
}

func TestTariffsByDate(t *testing.T) {
	version := func(n int, from string) coordinator.TariffVersion {
		v := coordinator.TariffVersion{Version: n}
		if from != "" {
			v.Tariff.From = day(from)
		}
		return v
	}
	all := coordinator.Tariffs{version(1, ""), version(2, "2026-07-01"), version(3, "2026-01-01"), version(4, "2026-07-01")}
	for date, want := range map[string]int{"2020-01-01": 1, "2025-12-31": 1, "2026-01-01": 3, "2026-06-30": 3, "2026-07-01": 4, "2030-01-01": 4} {
		if got := all.On(day(date)); got == nil || got.Version != want {
			t.Errorf("on %s holds %+v, want version %d", date, got, want)
		}
	}
	if all[1:].On(day("2025-12-31")) != nil {
		t.Error("a tariff holds before any begins")
	}
	// One that was set later, but begins earlier, does not take the place of what holds.
	late := coordinator.Tariffs{version(1, "2026-07-01"), version(2, "2026-01-01"), version(3, "")}
	for date, want := range map[string]int{"2025-12-31": 3, "2026-01-01": 2, "2026-06-30": 2, "2026-07-01": 1} {
		if got := late.On(day(date)); got == nil || got.Version != want {
			t.Errorf("on %s holds %+v, want version %d", date, got, want)
		}
	}
	if v := all.Numbered(3); v == nil || v.Version != 3 || all.Numbered(9) != nil {
		t.Errorf("version 3 is %+v", v)
	}
}

func TestTariffPrices(t *testing.T) {
	tariff := coordinator.Tariff{MicrosPerKWh: 5, Windows: []coordinator.TariffWindow{{MicrosPerKWh: 3}},
		CyclePrices: []coordinator.CyclePrice{{Room: "cellar", Machine: "1", Micros: 1_500_000}}}
	for window, want := range map[int]int64{0: 5, 1: 3, 2: -1, -1: -1} {
		if got, ok := tariff.Price(window); ok != (want >= 0) || ok && got != want {
			t.Errorf("window %d costs %d, %v", window, got, ok)
		}
	}
	if got, ok := tariff.CyclePrice("cellar", "1"); !ok || got != 1_500_000 {
		t.Errorf("a cycle costs %d, %v", got, ok)
	}
	if _, ok := tariff.CyclePrice("attic", "1"); ok {
		t.Error("a machine of another room has that price")
	}
}

// TestTariffValidate names each setting that is wrong by its place in the file.
func TestTariffWindowsValidate(t *testing.T) {
	good := func() coordinator.Tariff {
		return coordinator.Tariff{Currency: "EUR", Windows: []coordinator.TariffWindow{{Name: "night", From: 22 * 60, To: 6 * 60}, {Name: "rest", From: queue.NoClock, To: queue.NoClock}}}
	}
	for want, change := range map[string]func(*coordinator.Tariff){
		"":                         func(*coordinator.Tariff) {},
		"windows[1].name":          func(t *coordinator.Tariff) { t.Windows[0].Name = " " },
		"windows[2].name":          func(t *coordinator.Tariff) { t.Windows[1].Name = "night" },
		"windows[1].to":            func(t *coordinator.Tariff) { t.Windows[0].To = 22 * 60 },
		"windows[1].from":          func(t *coordinator.Tariff) { t.Windows[0].From = queue.NoClock },
		"windows[2].to":            func(t *coordinator.Tariff) { t.Windows[1].From = 10 },
		"windows[2].from":          func(t *coordinator.Tariff) { t.Windows[1].From = 1440 },
		"windows[2].days":          func(t *coordinator.Tariff) { t.Windows[1].Days = []time.Weekday{1, 1} },
		"windows[2].season_to":     func(t *coordinator.Tariff) { t.Windows[1].SeasonFrom = coordinator.YearDay{Month: 2, Day: 29} },
		"windows[2].season_from":   func(t *coordinator.Tariff) { t.Windows[1].SeasonTo = coordinator.YearDay{Month: 3, Day: 1} },
		"windows[1].price_per_kwh": func(t *coordinator.Tariff) { t.Windows[0].MicrosPerKWh = -1 },
		"standing_charge":          func(t *coordinator.Tariff) { t.StandingMicros = -1 },
		"standing_per":             func(t *coordinator.Tariff) { t.StandingPer = 9 },
		"rounding":                 func(t *coordinator.Tariff) { t.Rounding = 9 },
		"price_per_kwh":            func(t *coordinator.Tariff) { t.MicrosPerKWh = 1e18 },
		"windows":                  func(t *coordinator.Tariff) { t.Windows = slices.Repeat(t.Windows, 30)[:51]; nameAll(t) },
		"cycle_prices[1].machine":  func(t *coordinator.Tariff) { t.CyclePrices = []coordinator.CyclePrice{{Room: "a"}} },
		"cycle_prices[2].machine": func(t *coordinator.Tariff) {
			t.CyclePrices = slices.Repeat([]coordinator.CyclePrice{{Room: "a", Machine: "1"}}, 2)
		},
		"cycle_prices[1].price": func(t *coordinator.Tariff) {
			t.CyclePrices = []coordinator.CyclePrice{{Room: "a", Machine: "1", Micros: -1}}
		},
	} {
		tariff := good()
		change(&tariff)
		got := strings.Join(paths(tariff.Validate()), " ")
		if got != want {
			t.Errorf("%q is refused for %q", want, got)
		}
	}
	bad := good()
	bad.Windows[0].SeasonFrom, bad.Windows[0].SeasonTo = coordinator.YearDay{Month: 2, Day: 30}, coordinator.YearDay{Month: 13, Day: 1}
	if got := strings.Join(paths(bad.Validate()), " "); got != "windows[1].season_from windows[1].season_to" && got != "windows[1].season_from" {
		t.Errorf("days that are in no year are refused for %q", got)
	}
}

func nameAll(t *coordinator.Tariff) {
	for i := range t.Windows {
		t.Windows[i].Name = fmt.Sprint(i)
	}
}

// TestCurrencyDigits compares the decimals with those of the Unicode CLDR in
// golang.org/x/text/currency (standard use), for every currency that has other
// than 2 in ours, and the usual ones. CLDR says how amounts are written today,
// which for some is with fewer decimals than ISO 4217 counts.
func TestCurrencyDigits(t *testing.T) {
	differs := map[string]int{"IQD": 0, "UYI": 0}
	for _, code := range strings.Fields("EUR USD GBP CHF SEK PLN CZK INR CAD AUD BRL JPY KRW ISK CLP VND PYG XAF XOF XPF BIF DJF GNF KMF RWF UGX VUV UYI BHD JOD KWD LYD OMR TND IQD CLF") {
		unit, err := currency.ParseISO(code)
		if err != nil {
			t.Fatal(err)
		}
		cldr, _ := currency.Standard.Rounding(unit)
		want, known := differs[code]
		if !known {
			want = coordinator.CurrencyDigits(code)
		}
		if cldr != want {
			t.Errorf("%s has %d decimals here and %d in CLDR", code, coordinator.CurrencyDigits(code), cldr)
		}
	}
	// Where the two differ, or CLDR has none, ISO 4217, list one (from memory).
	for code, want := range map[string]int{"IQD": 3, "UYI": 0, "UYW": 4, "XXX": 2, "": 2} {
		if got := coordinator.CurrencyDigits(code); got != want {
			t.Errorf("%s has %d decimals, want %d", code, got, want)
		}
	}
}
