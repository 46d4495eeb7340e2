package usage

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// The changes of the clocks are those of the IANA time zone database, which Go
// carries: Berlin on the last Sundays of March and October; Cairo in the spring
// of 2026 at midnight, so that 24 April begins at 01:00; Samoa had no
// 30 December 2011 at all.
func TestLocalDays(t *testing.T) {
	for _, c := range []struct {
		zone, date, begin string
		hours             float64
	}{
		{"Europe/Berlin", "2026-03-28", "2026-03-28T00:00:00+01:00", 24},
		{"Europe/Berlin", "2026-03-29", "2026-03-29T00:00:00+01:00", 23},
		{"Europe/Berlin", "2026-10-25", "2026-10-25T00:00:00+02:00", 25},
		{"Africa/Cairo", "2026-04-23", "2026-04-23T00:00:00+02:00", 24},
		{"Africa/Cairo", "2026-04-24", "2026-04-24T01:00:00+03:00", 23},
		{"Pacific/Apia", "2011-12-30", "2011-12-31T00:00:00+14:00", 0},
		{"UTC", "2028-02-29", "2028-02-29T00:00:00Z", 24},
	} {
		d, z := date(c.date), zone(c.zone)
		if got := d.Begin(z).Format(time.RFC3339); got != c.begin {
			t.Errorf("%s in %s begins %s, want %s", c.date, c.zone, got, c.begin)
		}
		if got := d.End(z).Sub(d.Begin(z)).Hours(); got != c.hours {
			t.Errorf("%s in %s lasts %v hours, want %v", c.date, c.zone, got, c.hours)
		}
	}
}

// Every instant lies in the one local day that DateOf says.
func TestLocalDaysCoverTime(t *testing.T) {
	zones := rapid.SampledFrom([]string{"Europe/Berlin", "Africa/Cairo", "America/Santiago", "Asia/Beirut", "Pacific/Apia", "Australia/Lord_Howe"})
	rapid.Check(t, func(t *rapid.T) {
		z := zone(zones.Draw(t, "zone"))
		now := time.Unix(rapid.Int64Range(1.2e9, 1.9e9).Draw(t, "unix"), 0)
		d := DateOf(now, z)
		if now.Before(d.Begin(z)) || !now.Before(d.End(z)) {
			t.Fatalf("%v is on %v, which lasts from %v to %v", now.In(z), d, d.Begin(z), d.End(z))
		}
		if n := rapid.IntRange(-5000, 5000).Draw(t, "days"); d.Add(n).Add(-n) != d || d.Add(n).Before(d) != (n < 0) {
			t.Fatalf("%v and %d days is %v", d, n, d.Add(n))
		}
		var back Date
		if err := back.UnmarshalText([]byte(d.String())); err != nil || back != d {
			t.Fatalf("%v came back as %v, %v", d, back, err)
		}
	})
}

func TestBadDates(t *testing.T) {
	for _, text := range []string{"", "2026-02-30", "25.11.2026", "2026-11-25T00:00:00Z"} {
		var d Date
		if err := d.UnmarshalText([]byte(text)); err == nil {
			t.Errorf("%q was read as %v", text, d)
		}
	}
}
