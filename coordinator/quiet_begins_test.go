package coordinator

import (
	"testing"
	"time"

	"drumturn/queue"
)

// TestNoQuiet: hours of no length, or with one end only, are none.
func TestNoQuiet(t *testing.T) {
	for _, q := range []Quiet{{}, {60, 60}, {queue.NoClock, 60}, {60, queue.NoClock}, {queue.NoClock, queue.NoClock}} {
		if !q.None() || !q.Ends(noon, time.UTC).IsZero() || !q.Begins(noon, time.UTC).IsZero() || !q.Past(noon, noon.Add(time.Hour), time.UTC).Equal(noon.Add(time.Hour)) {
			t.Errorf("%+v is quiet", q)
		}
	}
	if (Quiet{60, 61}).None() || (Quiet{0, 1439}).None() {
		t.Error("a minute of quiet is none")
	}
}

// TestQuietBegins: the next beginning after an instant. The changes of Berlin's clocks
// are those of TestQuietEnds.
func TestQuietBegins(t *testing.T) {
	zone := berlin(t)
	for _, c := range []struct{ name, from, to, at, begins string }{
		{"this evening", "22:00", "07:00", "2026-06-10T12:00:00+02:00", "2026-06-10T22:00:00+02:00"},
		{"just before", "22:00", "07:00", "2026-06-10T21:59:59+02:00", "2026-06-10T22:00:00+02:00"},
		{"its own instant is not after it", "22:00", "07:00", "2026-06-10T22:00:00+02:00", "2026-06-11T22:00:00+02:00"},
		{"within it", "22:00", "07:00", "2026-06-11T03:00:00+02:00", "2026-06-11T22:00:00+02:00"},
		{"of today is over", "13:00", "15:00", "2026-06-10T15:00:00+02:00", "2026-06-11T13:00:00+02:00"},
		{"one that has no length tonight", "02:10", "02:50", "2026-03-28T12:00:00+01:00", "2026-03-30T02:10:00+02:00"},
		{"from a time that does not come", "02:30", "06:00", "2026-03-28T12:00:00+01:00", "2026-03-29T03:00:00+02:00"},
		{"from the first of two", "02:30", "06:00", "2026-10-24T12:00:00+02:00", "2026-10-25T02:30:00+02:00"},
		{"and not again from the second", "02:30", "06:00", "2026-10-25T02:30:00+02:00", "2026-10-26T02:30:00+01:00"},
	} {
		q := Quiet{clockOf(t, c.from), clockOf(t, c.to)}
		at, _ := time.Parse(time.RFC3339, c.at)
		if got := q.Begins(at, zone).In(zone).Format(time.RFC3339); got != c.begins {
			t.Errorf("%s: %s, want %s", c.name, got, c.begins)
		}
	}
}

// TestQuietElsewhere: the night in which clocks go back, west of Greenwich too, where the
// same hour is looked up from its other side; and where they skip all that is not quiet.
// New York's clocks go back on 2026-11-01 at 02:00 (06:00 UTC), Havana's at 01:00 (05:00
// UTC), Lord Howe's by half an hour on 2026-04-05 at 02:00 (IANA time zone database).
func TestQuietElsewhere(t *testing.T) {
	for _, c := range []struct{ zone, from, to, at, ends string }{
		{"America/New_York", "01:30", "06:00", "2026-11-01T01:29:00-04:00", ""},
		{"America/New_York", "01:30", "06:00", "2026-11-01T01:30:00-04:00", "2026-11-01T06:00:00-05:00"},
		{"America/New_York", "01:30", "06:00", "2026-11-01T01:10:00-05:00", "2026-11-01T06:00:00-05:00"},
		{"America/New_York", "22:00", "01:30", "2026-11-01T01:29:00-04:00", "2026-11-01T01:30:00-05:00"},
		{"America/New_York", "22:00", "01:30", "2026-11-01T01:00:00-05:00", "2026-11-01T01:30:00-05:00"},
		{"America/New_York", "22:00", "01:30", "2026-11-01T01:30:00-05:00", ""},
		{"America/New_York", "22:00", "02:00", "2026-11-01T01:30:00-05:00", "2026-11-01T02:00:00-05:00"},
		{"America/New_York", "01:00", "01:01", "2026-11-01T01:59:00-04:00", "2026-11-01T01:01:00-05:00"},
		{"America/Havana", "00:30", "06:00", "2026-11-01T00:30:00-04:00", "2026-11-01T06:00:00-05:00"},
		{"America/Havana", "22:00", "00:30", "2026-11-01T00:29:00-04:00", "2026-11-01T00:30:00-05:00"},
		{"Australia/Lord_Howe", "01:45", "06:00", "2026-04-05T01:45:00+11:00", "2026-04-05T06:00:00+10:30"},
		{"Australia/Lord_Howe", "22:00", "01:45", "2026-04-05T01:44:00+11:00", "2026-04-05T01:45:00+10:30"},
		{"Australia/Lord_Howe", "22:00", "01:20", "2026-04-05T01:25:00+11:00", ""},
		{"Europe/Berlin", "03:00", "02:00", "2026-03-29T01:00:00+01:00", "2026-03-30T02:00:00+02:00"},
		{"Asia/Kolkata", "22:00", "07:00", "2026-06-10T23:00:00+05:30", "2026-06-11T07:00:00+05:30"}, // whose clocks never change again
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		at, _ := time.Parse(time.RFC3339, c.at)
		got := ""
		if end := (Quiet{clockOf(t, c.from), clockOf(t, c.to)}).Ends(at, zone); !end.IsZero() {
			got = end.In(zone).Format(time.RFC3339)
		}
		if got != c.ends {
			t.Errorf("%s, %s to %s at %s: ends %q, want %q", c.zone, c.from, c.to, c.at, got, c.ends)
		}
	}
}
