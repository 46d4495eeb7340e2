package chart

import (
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"pgregory.net/rapid"
)

func zoned(t testing.TB, name string) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return zone
}

func labels(ticks []Tick) string {
	var all []string
	for _, tick := range ticks {
		all = append(all, tick.Label)
	}
	return strings.Join(all, " ")
}

// TestTimeTicksOverTheChangeOfTheClock: in Berlin 2 o'clock is skipped on
// 2026-03-29 and comes twice on 2026-10-25 (Directive 2000/84/EC: the last
// Sundays of March and October at 01:00 UTC; from memory).
func TestTimeTicksOverTheChangeOfTheClock(t *testing.T) {
	berlin := zoned(t, "Europe/Berlin")
	spring := time.Date(2026, 3, 29, 0, 0, 0, 0, berlin)
	autumn := time.Date(2026, 10, 25, 0, 0, 0, 0, berlin)
	for _, c := range []struct {
		from time.Time
		span time.Duration
		most int
		want string
	}{
		{spring, 5 * time.Hour, 6, "00:00 01:00 03:00 04:00 05:00 06:00"},
		{autumn, 5 * time.Hour, 6, "00:00 01:00 02:00 02:00 03:00 04:00"},
		{spring, 23 * time.Hour, 8, "00:00 03:00 06:00 09:00 12:00 15:00 18:00 21:00 24:00"},
		{autumn, 25 * time.Hour, 9, "00:00 03:00 06:00 09:00 12:00 15:00 18:00 21:00 24:00"},
	} {
		if got := labels(TimeTicks(c.from, c.from.Add(c.span), berlin, c.most, Locale{})); got != c.want {
			t.Errorf("%v %v: %s, want %s", c.from, c.span, got, c.want)
		}
	}
}

func TestTimeTicksOverDays(t *testing.T) {
	santiago := zoned(t, "America/Santiago") // its clock changes at midnight
	from := time.Date(2026, 9, 4, 0, 0, 0, 0, santiago)
	ticks := TimeTicks(from, from.AddDate(0, 0, 4), santiago, 6, Locale{})
	if got := labels(ticks); got != "4 Sep 5 Sep 6 Sep 7 Sep 8 Sep" {
		t.Errorf("%s", got)
	}
	for _, tick := range ticks {
		if before := tick.At.Add(-time.Second).In(santiago); before.Day() == tick.At.Day() {
			t.Errorf("%v is not the begin of its day", tick.At)
		}
	}
	year := time.Date(2026, 2, 10, 9, 0, 0, 0, time.UTC)
	if got := labels(TimeTicks(year, year.AddDate(1, 0, 0), nil, 5, Locale{})); got != "Apr 2026 Jul 2026 Oct 2026 Jan 2027" {
		t.Errorf("a year: %s", got)
	}
	week := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC) // a Sunday
	if got := labels(TimeTicks(week, week.AddDate(0, 0, 30), nil, 5, Locale{})); got != "2 Mar 9 Mar 16 Mar 23 Mar 30 Mar" {
		t.Errorf("weeks begin on Monday (ISO 8601): %s", got)
	}
	if TimeTicks(year, year, nil, 5, Locale{}) != nil || TimeTicks(time.Time{}, year.AddDate(5000, 0, 0), nil, 5, Locale{}) != nil {
		t.Error("ticks on no time, or on all of it")
	}
}

// TestTimeTickProperties, in zones with odd offsets: in order, within, round on
// the local clock, and not many more than asked for.
func TestTimeTickProperties(t *testing.T) {
	var zones []*time.Location
	for _, name := range []string{"UTC", "Europe/Berlin", "Asia/Kathmandu", "Australia/Lord_Howe", "America/St_Johns", "America/Sao_Paulo", "Pacific/Apia"} {
		zones = append(zones, zoned(t, name))
	}
	rapid.Check(t, func(t *rapid.T) {
		zone := rapid.SampledFrom(zones).Draw(t, "zone")
		from := time.Unix(rapid.Int64Range(1.2e9, 2.1e9).Draw(t, "from"), 0)
		minutes := rapid.IntRange(5, 4_000_000).Draw(t, "minutes") / rapid.SampledFrom([]int{1, 100, 10_000}).Draw(t, "by")
		to := from.Add(time.Duration(max(5, minutes)) * time.Minute)
		most := rapid.IntRange(3, 13).Draw(t, "most")
		ticks := TimeTicks(from, to, zone, most, Locale{})
		// Each change of the clock may bring one more, and weeks of months too.
		if len(ticks) > most+4 {
			t.Fatalf("%d ticks of %d: %s", len(ticks), most, labels(ticks))
		}
		p := paceFor(to.Sub(from), most)
		for i, tick := range ticks {
			local := tick.At.In(zone)
			if tick.At.Before(from) || tick.At.After(to) || i > 0 && !tick.At.After(ticks[i-1].At) {
				t.Fatalf("tick %d of %s is out of order or place", i, labels(ticks))
			}
			if p.minutes > 0 && ((local.Hour()*60+local.Minute())%p.minutes != 0 || local.Second() != 0) {
				t.Fatalf("%v is not round by %d minutes", local, p.minutes)
			}
			if p.minutes == 0 && local.Add(-time.Minute).Day() == local.Day() {
				t.Fatalf("%v is not the begin of a day", local)
			}
		}
	})
}
