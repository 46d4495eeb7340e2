package coordinator

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/queue"
)

func berlin(t *testing.T) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	return zone
}

// clockOf reads "22:30".
func clockOf(t *testing.T, s string) queue.Clock {
	t.Helper()
	at, err := time.Parse("15:04", s)
	if err != nil {
		t.Fatal(err)
	}
	return queue.Clock(at.Hour()*60 + at.Minute())
}

// The days of change in 2026 are by Directive 2000/84/EC, articles 2 and 3: the
// last Sundays of March (the 29th) and October (the 25th), at 01:00 UTC.
func TestQuietEnds(t *testing.T) {
	zone := berlin(t)
	for _, c := range []struct{ name, from, to, at, ends string }{
		{"an ordinary evening", "22:00", "07:00", "2026-06-10T23:00:00+02:00", "2026-06-11T07:00:00+02:00"},
		{"its first instant", "22:00", "07:00", "2026-06-10T22:00:00+02:00", "2026-06-11T07:00:00+02:00"},
		{"just before", "22:00", "07:00", "2026-06-10T21:59:59+02:00", ""},
		{"after midnight", "22:00", "07:00", "2026-06-11T03:00:00+02:00", "2026-06-11T07:00:00+02:00"},
		{"its end is no longer quiet", "22:00", "07:00", "2026-06-11T07:00:00+02:00", ""},
		{"within a day", "13:00", "15:00", "2026-06-10T14:00:00+02:00", "2026-06-10T15:00:00+02:00"},
		{"none", "07:00", "07:00", "2026-06-10T07:00:00+02:00", ""},

		{"the night that loses an hour", "22:00", "07:00", "2026-03-28T22:30:00+01:00", "2026-03-29T07:00:00+02:00"},
		{"to a time that does not come", "22:00", "02:30", "2026-03-29T01:30:00+01:00", "2026-03-29T03:00:00+02:00"},
		{"and is over then", "22:00", "02:30", "2026-03-29T03:00:00+02:00", ""},
		{"from a time that does not come", "02:30", "06:00", "2026-03-29T03:00:00+02:00", "2026-03-29T06:00:00+02:00"},
		{"and not before it", "02:30", "06:00", "2026-03-29T01:59:00+01:00", ""},
		{"wholly within the hour that is lost", "02:10", "02:50", "2026-03-29T03:00:00+02:00", ""},

		{"the night that gains an hour", "22:00", "07:00", "2026-10-24T22:30:00+02:00", "2026-10-25T07:00:00+01:00"},
		{"to a time that comes twice, before", "22:00", "02:30", "2026-10-25T02:29:00+02:00", "2026-10-25T02:30:00+01:00"},
		{"between the two", "22:00", "02:30", "2026-10-25T02:40:00+02:00", "2026-10-25T02:30:00+01:00"},
		{"after the second", "22:00", "02:30", "2026-10-25T02:30:00+01:00", ""},
		{"from a time that comes twice, the first", "02:30", "06:00", "2026-10-25T02:30:00+02:00", "2026-10-25T06:00:00+01:00"},
		{"between them", "02:30", "06:00", "2026-10-25T02:10:00+01:00", "2026-10-25T06:00:00+01:00"},
		{"before the first", "02:30", "06:00", "2026-10-25T02:29:00+02:00", ""},
		{"wholly within the hour that comes twice", "02:10", "02:50", "2026-10-25T02:00:00+01:00", "2026-10-25T02:50:00+01:00"},
	} {
		q := Quiet{clockOf(t, c.from), clockOf(t, c.to)}
		at, err := time.Parse(time.RFC3339, c.at)
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		if end := q.Ends(at, zone); !end.IsZero() {
			got = end.In(zone).Format(time.RFC3339)
		}
		if got != c.ends {
			t.Errorf("%s: %s to %s at %s ends %q, want %q", c.name, c.from, c.to, c.at, got, c.ends)
		}
	}
}

func TestQuietPast(t *testing.T) {
	zone := berlin(t)
	for _, c := range []struct{ name, from, until, want string }{
		{"by day nothing changes", "2026-06-10T12:00:00+02:00", "2026-06-10T12:30:00+02:00", "2026-06-10T12:30:00+02:00"},
		{"made in the night", "2026-06-10T23:00:00+02:00", "2026-06-10T23:30:00+02:00", "2026-06-11T07:30:00+02:00"},
		{"runs into the night", "2026-06-10T21:50:00+02:00", "2026-06-10T22:20:00+02:00", "2026-06-11T07:20:00+02:00"},
		{"ends as the night begins", "2026-06-10T21:30:00+02:00", "2026-06-10T22:00:00+02:00", "2026-06-11T07:00:00+02:00"},
		{"a whole day: ten hours before the night, fourteen after", "2026-06-10T12:00:00+02:00", "2026-06-11T12:00:00+02:00", "2026-06-11T21:00:00+02:00"},
		{"the short night", "2026-03-28T21:50:00+01:00", "2026-03-28T22:20:00+01:00", "2026-03-29T07:20:00+02:00"},
		{"the long night", "2026-10-24T21:50:00+02:00", "2026-10-24T22:20:00+02:00", "2026-10-25T07:20:00+01:00"},
	} {
		q := Quiet{22 * 60, 7 * 60}
		from, _ := time.Parse(time.RFC3339, c.from)
		until, _ := time.Parse(time.RFC3339, c.until)
		if got := q.Past(from, until, zone).In(zone).Format(time.RFC3339); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}

// TestQuietLaws: whatever the hours and the zone, an end is not quiet itself, lies
// within a day and two hours (two days, where all of a day but an hour is quiet and
// the clocks may skip that hour), and every instant before it since t is quiet; what
// counts down runs as long as asked, outside quiet hours only.
func TestQuietLaws(t *testing.T) {
	zones := []*time.Location{time.UTC, berlin(t)}
	for _, name := range []string{"Australia/Lord_Howe", "America/Havana", "Africa/Cairo", "Asia/Kathmandu"} {
		if zone, err := time.LoadLocation(name); err == nil {
			zones = append(zones, zone)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		zone := rapid.SampledFrom(zones).Draw(t, "zone")
		q := Quiet{queue.Clock(rapid.IntRange(0, 1439).Draw(t, "from")), queue.Clock(rapid.IntRange(0, 1439).Draw(t, "to"))}
		at := time.Date(2026, 1, 1, 0, rapid.IntRange(0, 365*24*60).Draw(t, "minute"), 0, 0, time.UTC)
		day := int(q.To-q.From+1440) % 1440
		longest := 26 * time.Hour
		if day >= 1380 {
			longest += 24 * time.Hour
		}
		if end := q.Ends(at, zone); !end.IsZero() {
			if end.Sub(at) > longest || !end.After(at) || !q.Ends(end, zone).IsZero() {
				t.Fatalf("at %v it ends at %v", at, end)
			}
			between := at.Add(time.Duration(rapid.Int64Range(0, int64(end.Sub(at))-1).Draw(t, "between")))
			if !q.Ends(between, zone).Equal(end) {
				t.Fatalf("at %v it ends at %v, and between, at %v, at %v", at, end, between, q.Ends(between, zone))
			}
		}
		span := time.Duration(rapid.IntRange(0, 600).Draw(t, "span")) * time.Minute
		past, loud := q.Past(at, at.Add(span), zone), time.Duration(0)
		for x := at; x.Before(past); x = x.Add(time.Minute) {
			if q.Ends(x, zone).IsZero() {
				loud += time.Minute
			}
		}
		if day < 1380 && loud != span {
			t.Fatalf("of %v from %v to %v only %v are loud", span, at, past, loud)
		}
	})
}
