package coordinator

import (
	"slices"
	"testing"
	"time"
)

// TestDates: the days of the calendar in their order, over months and years. That 2028
// is a leap year and 2100 none is the Gregorian rule.
func TestDates(t *testing.T) {
	for _, c := range []struct {
		date string
		days int
		want string
		on   time.Weekday // of date
	}{
		{"2026-06-10", 0, "2026-06-10", time.Wednesday}, {"2026-06-10", 1, "2026-06-11", time.Wednesday}, {"2026-06-30", 1, "2026-07-01", time.Tuesday},
		{"2026-12-31", 1, "2027-01-01", time.Thursday}, {"2028-02-28", 1, "2028-02-29", time.Monday}, {"2100-02-28", 1, "2100-03-01", time.Sunday}, {"2026-01-01", -1, "2025-12-31", time.Thursday},
	} {
		var d, want Date
		if err := d.UnmarshalText([]byte(c.date)); err != nil || d.String() != c.date {
			t.Fatalf("%s is %v, %v", c.date, d, err)
		}
		if err := want.UnmarshalText([]byte(c.want)); err != nil {
			t.Fatal(err)
		}
		if got := d.Add(c.days); got != want || d.Weekday() != c.on || d.IsZero() {
			t.Errorf("%s, a %v, and %d days is %v", c.date, d.Weekday(), c.days, got)
		}
		order := map[bool]int{c.days > 0: -1, c.days < 0: 1}[true]
		if d.Compare(want) != order || want.Compare(d) != -order || d.Before(want) != (order < 0) || want.Before(d) != (order > 0) {
			t.Errorf("%v and %v are in the wrong order", d, want)
		}
	}
	// A later month or year counts for more than any day, a later year for more than any month.
	sorted := []Date{{2025, 12, 31}, {2026, 1, 1}, {2026, 1, 31}, {2026, 2, 1}, {2026, 11, 30}, {2026, 12, 1}, {2027, 1, 1}}
	if !slices.IsSortedFunc(sorted, Date.Compare) {
		t.Error("dates do not sort as the days came")
	}
	if !(Date{}).IsZero() || (Date{}).String() != "0000-00-00" {
		t.Error("no day is one")
	}
}

// TestDaysBeginWhereTheyCan: Cairo's clocks skipped midnight of 24 April 2026, Santiago's
// that of 6 September, Berlin's
// 02:00 of 29 March (IANA time zone database): the day begins at the change, or before it.
func TestDaysBeginWhereTheyCan(t *testing.T) {
	for _, c := range []struct {
		zone, begin, end string
		d                Date
	}{
		{"Africa/Cairo", "2026-04-24T01:00:00+03:00", "2026-04-25T00:00:00+03:00", Date{2026, 4, 24}},
		{"Africa/Cairo", "2026-04-23T00:00:00+02:00", "2026-04-24T01:00:00+03:00", Date{2026, 4, 23}},
		{"America/Santiago", "2026-09-06T01:00:00-03:00", "2026-09-07T00:00:00-03:00", Date{2026, 9, 6}},
		{"Europe/Berlin", "2026-03-29T00:00:00+01:00", "2026-03-30T00:00:00+02:00", Date{2026, 3, 29}},
		{"UTC", "2026-12-31T00:00:00Z", "2027-01-01T00:00:00Z", Date{2026, 12, 31}},
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		begin, end := c.d.Begin(zone), c.d.End(zone)
		if b, e := begin.Format(time.RFC3339Nano), end.Format(time.RFC3339Nano); b != c.begin || e != c.end {
			t.Errorf("%v in %s is from %s to %s", c.d, c.zone, b, e)
		}
		for at, want := range map[time.Time]Date{begin: c.d, begin.Add(-1): c.d.Add(-1), end.Add(-1): c.d, end: c.d.Add(1)} {
			if got := DateOf(at.UTC(), zone); got != want {
				t.Errorf("%v in %s is on %v, want %v", at, c.zone, got, want)
			}
		}
	}
}

// TestDaysOfTheYear: written with two digits each; 29 February is one, 30 February none.
func TestDaysOfTheYear(t *testing.T) {
	for text, want := range map[string]YearDay{"": {}, "01-02": {1, 2}, "1-2": {1, 2}, "02-29": {2, 29}, "12-31": {12, 31}} {
		got, err := ParseYearDay(text)
		if err != nil || got != want || want != (YearDay{}) && !got.Valid() {
			t.Errorf("%q is %+v, %v", text, got, err)
		}
	}
	if got := (YearDay{3, 7}).String(); got != "03-07" {
		t.Errorf("7 March is %q", got)
	}
	for _, text := range []string{"02-30", "13-01", "00-10", "10-00", "10", "10-", "-10", "x-10", "10-x", "10-32", "2026-10-31", "04-31"} {
		if got, err := ParseYearDay(text); err == nil || got != (YearDay{}) {
			t.Errorf("%q is %+v, %v", text, got, err)
		}
	}
}

// TestWindowsByDayAndSeason: on which days a window begins, over the new year too.
func TestWindowsByDayAndSeason(t *testing.T) {
	winter, june := [2]YearDay{{11, 1}, {2, 29}}, [2]YearDay{{6, 1}, {6, 30}}
	oneDay, never := [2]YearDay{{6, 10}, {6, 10}}, [2]YearDay{{6, 11}, {6, 9}}
	for _, c := range []struct {
		season [2]YearDay
		days   []time.Weekday
		on     Date
		want   bool
	}{
		{[2]YearDay{}, nil, Date{2026, 6, 10}, true},
		{june, nil, Date{2026, 5, 31}, false}, {june, nil, Date{2026, 6, 1}, true}, {june, nil, Date{2026, 6, 30}, true}, {june, nil, Date{2026, 7, 1}, false},
		{winter, nil, Date{2026, 10, 31}, false}, {winter, nil, Date{2026, 11, 1}, true}, {winter, nil, Date{2026, 1, 1}, true}, {winter, nil, Date{2026, 2, 28}, true}, {winter, nil, Date{2026, 3, 1}, false},
		{oneDay, nil, Date{2026, 6, 9}, false}, {oneDay, nil, Date{2026, 6, 10}, true}, {oneDay, nil, Date{2026, 6, 11}, false},
		{never, nil, Date{2026, 6, 10}, false}, {never, nil, Date{2026, 6, 9}, true}, // all of the year but a day
		{june, []time.Weekday{time.Wednesday, time.Friday}, Date{2026, 6, 10}, true}, {june, []time.Weekday{time.Friday}, Date{2026, 6, 10}, false},
	} {
		w := TariffWindow{SeasonFrom: c.season[0], SeasonTo: c.season[1], Days: c.days}
		if got := w.on(c.on); got != c.want {
			t.Errorf("the season %v, days %v: on %v %v", c.season, c.days, c.on, got)
		}
	}
}

// TestPricesByWindowAndMachine: the price outside of all windows is that of window 0.
func TestPricesByWindowAndMachine(t *testing.T) {
	tariff := Tariff{MicrosPerKWh: 5, Windows: []TariffWindow{{MicrosPerKWh: 3}, {MicrosPerKWh: 0}}, CyclePrices: []CyclePrice{{"cellar", "w1", 7}, {"attic", "w1", 8}, {"cellar", "w2", 0}}}
	for window, want := range map[int]struct {
		micros int64
		ok     bool
	}{-1: {}, 0: {5, true}, 1: {3, true}, 2: {0, true}, 3: {}} {
		if micros, ok := tariff.Price(window); micros != want.micros || ok != want.ok {
			t.Errorf("in window %d it is %d, %v", window, micros, ok)
		}
	}
	for _, c := range []struct {
		room    RoomID
		machine MachineID
		micros  int64
		ok      bool
	}{{"cellar", "w1", 7, true}, {"attic", "w1", 8, true}, {"cellar", "w2", 0, true}, {"attic", "w2", 0, false}, {"", "w1", 0, false}} {
		if micros, ok := tariff.CyclePrice(c.room, c.machine); micros != c.micros || ok != c.ok {
			t.Errorf("a cycle of %s %s costs %d, %v", c.room, c.machine, micros, ok)
		}
	}
}
