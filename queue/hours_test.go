package queue

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// dayHours are open from seven, last start at eight in the evening, all over at nine.
func dayHours() Hours {
	var h Hours
	for i := range h {
		h[i] = Day{Opens: 7 * 60, LastStart: 20 * 60, EndedBy: 21 * 60}
	}
	h[time.Sunday] = Day{Closed: true}
	return h
}

func TestMayStart(t *testing.T) {
	h := dayHours()
	for _, c := range []struct {
		clock  string
		length time.Duration
		want   bool
	}{
		{"06:59", time.Hour, false},
		{"07:00", time.Hour, true},
		{"20:00", time.Hour, true},
		{"20:00", time.Hour + time.Second, false}, // would be over after nine
		{"20:01", 10 * time.Minute, false},        // after last start
		{"23:30", 0, false},
	} {
		at, err := time.Parse("2006-01-02 15:04", "2026-06-10 "+c.clock)
		if err != nil {
			t.Fatal(err)
		}
		if got := h.MayStart(at, c.length, time.UTC); got != c.want {
			t.Errorf("%s for %s: %v, want %v", c.clock, c.length, got, c.want)
		}
	}
	sunday := time.Date(2026, 6, 14, 12, 0, 0, 0, time.UTC)
	if h.MayStart(sunday, time.Hour, time.UTC) {
		t.Error("a start on the closed day is allowed")
	}
}

// TestHoursAreLocal: opening hours are by the clock on the wall, on both sides
// of the changes of summer time (Europe: last Sundays of March and October).
func TestHoursAreLocal(t *testing.T) {
	zone := zoneOf(t, "Europe/Berlin")
	h := dayHours()
	for _, c := range []struct {
		at   time.Time
		want bool
	}{
		{time.Date(2026, 3, 28, 6, 0, 0, 0, time.UTC), true},    // Saturday 07:00 winter time
		{time.Date(2026, 3, 30, 5, 0, 0, 0, time.UTC), true},    // Monday 07:00 summer time
		{time.Date(2026, 3, 30, 4, 59, 59, 0, time.UTC), false}, // a second before
		{time.Date(2026, 10, 26, 5, 30, 0, 0, time.UTC), false}, // Monday 06:30 winter time
		{time.Date(2026, 10, 24, 18, 0, 0, 0, time.UTC), true},  // Saturday 20:00 summer time
		{time.Date(2026, 10, 26, 18, 30, 0, 0, time.UTC), true}, // Monday 19:30 winter time
		{time.Date(2026, 10, 26, 19, 0, 1, 0, time.UTC), false}, // past 20:00
	} {
		if got := h.MayStart(c.at, 10*time.Minute, zone); got != c.want {
			t.Errorf("%s: %v, want %v", c.at.In(zone), got, c.want)
		}
	}
}

// TestClockOnSkippedTime: a time of day that the change to summer time skips is
// the first instant after it that exists on the wall.
func TestClockOnSkippedTime(t *testing.T) {
	zone := zoneOf(t, "Europe/Berlin")
	at := Clock(2*60+30).On(time.Date(2026, 3, 29, 12, 0, 0, 0, zone), zone)
	if got := at.In(zone).Format("15:04"); got != "03:00" {
		t.Errorf("02:30 on the day it does not exist is %s", got)
	}
	if at.In(zone).Day() != 29 {
		t.Errorf("it is on day %d", at.Day())
	}
}

func TestNextOpening(t *testing.T) {
	h := dayHours()
	saturdayNight := time.Date(2026, 6, 13, 22, 0, 0, 0, time.UTC)
	want := time.Date(2026, 6, 15, 7, 0, 0, 0, time.UTC) // Sunday is closed
	if got := h.NextOpening(saturdayNight, time.Hour, time.UTC); !got.Equal(want) {
		t.Errorf("after Saturday night it opens at %s, want %s", got, want)
	}
	if got := h.NextOpening(saturdayNight, 15*time.Hour, time.UTC); !got.IsZero() {
		t.Errorf("a load longer than any day may be started at %s", got)
	}
	var never Hours
	for i := range never {
		never[i].Closed = true
	}
	if got := never.NextOpening(noon, time.Hour, time.UTC); !got.IsZero() {
		t.Errorf("a house that is always closed opens at %s", got)
	}
}

// TestNextOpeningAgrees: at the next opening a start is allowed, and a moment
// before it is not.
func TestNextOpeningAgrees(t *testing.T) {
	zone := zoneOf(t, "Europe/Berlin")
	rapid.Check(t, func(t *rapid.T) {
		var h Hours
		for i := range h {
			opens := rapid.IntRange(0, 12*60).Draw(t, "opens")
			last := rapid.IntRange(opens, 23*60).Draw(t, "last")
			h[i] = Day{Opens: Clock(opens), LastStart: Clock(last), EndedBy: NoClock, Closed: rapid.Bool().Draw(t, "closed")}
		}
		now := noon.Add(time.Duration(rapid.Int64Range(0, int64(365*24*time.Hour)).Draw(t, "now")))
		at := h.NextOpening(now, time.Hour, zone)
		if at.IsZero() {
			return
		}
		if !at.After(now) || !h.MayStart(at, time.Hour, zone) {
			t.Fatalf("the opening %s after %s allows no start", at.In(zone), now.In(zone))
		}
		if h.MayStart(at.Add(-time.Second), time.Hour, zone) && at.Add(-time.Second).In(zone).Day() == at.In(zone).Day() {
			t.Fatalf("a start was allowed a second before the opening %s", at.In(zone))
		}
	})
}

func zoneOf(t *testing.T, name string) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation(name)
	if err != nil {
		t.Skip("no time zone data: ", err)
	}
	return zone
}

// TestNextClosing: worked out on the calendar. The room is open from seven to
// eight, all over at nine, not on Sundays.
func TestNextClosing(t *testing.T) {
	h := dayHours()
	for _, c := range []struct {
		now, want string
		length    time.Duration
	}{
		{"2026-06-10 12:00", "2026-06-10 20:00", time.Hour},
		{"2026-06-10 12:00", "2026-06-10 18:30", 150 * time.Minute}, // must be ended by nine
		{"2026-06-10 20:30", "2026-06-11 20:00", time.Hour},         // closed: the next day's
		{"2026-06-13 21:00", "2026-06-15 20:00", time.Hour},         // Saturday night; Sunday is closed
	} {
		now, _ := time.Parse("2006-01-02 15:04", c.now)
		want, _ := time.Parse("2006-01-02 15:04", c.want)
		if got := h.NextClosing(now, c.length, time.UTC); !got.Equal(want.Add(1)) {
			t.Errorf("after %s it closes at %s, want just after %s", c.now, got, c.want)
		}
	}
	always := AlwaysOpen()
	if got := always.NextClosing(noon, time.Hour, time.UTC); !got.IsZero() {
		t.Errorf("a room that is always open closes at %s", got)
	}
}

// TestNextClosingAgrees: at the next closing no start is allowed, and just before one was.
func TestNextClosingAgrees(t *testing.T) {
	zone := zoneOf(t, "Europe/Berlin")
	rapid.Check(t, func(t *rapid.T) {
		h := AlwaysOpen()
		for i := range h {
			h[i].Closed = rapid.IntRange(0, 3).Draw(t, "closed") == 0
			if rapid.Bool().Draw(t, "opens") {
				h[i].Opens = Clock(rapid.IntRange(0, 12*60).Draw(t, "from"))
			}
			if rapid.Bool().Draw(t, "ends") {
				h[i].LastStart = Clock(rapid.IntRange(12*60, 24*60-1).Draw(t, "last"))
			}
		}
		now := noon.Add(time.Duration(rapid.Int64Range(0, int64(365*24*time.Hour)).Draw(t, "now")))
		at := h.NextClosing(now, time.Hour, zone)
		if at.IsZero() {
			return
		}
		if !at.After(now) || h.MayStart(at, time.Hour, zone) || !h.MayStart(at.Add(-1), time.Hour, zone) {
			t.Fatalf("from %s on, after %s, a start is allowed: %v; just before: %v", at.In(zone), now.In(zone),
				h.MayStart(at, time.Hour, zone), h.MayStart(at.Add(-1), time.Hour, zone))
		}
	})
}

// TestLongest: worked out on the calendar.
func TestLongest(t *testing.T) {
	open := AlwaysOpen()
	closed := open
	for i := range closed {
		closed[i].Closed = true
	}
	short := closed
	short[time.Tuesday] = Day{Opens: 8 * 60, LastStart: NoClock, EndedBy: 9*60 + 30}
	short[time.Friday] = Day{Opens: NoClock, LastStart: NoClock, EndedBy: 70}
	endless := short
	endless[time.Sunday] = Day{Opens: 8 * 60, LastStart: 9 * 60, EndedBy: NoClock}
	never := short
	never[time.Sunday] = Day{Opens: 10 * 60, LastStart: 9 * 60, EndedBy: NoClock} // Validate refuses it
	for name, c := range map[string]struct {
		hours   Hours
		want    time.Duration
		limited bool
	}{
		"always open": {open, 0, false}, "closed": {closed, 0, true}, "two short days": {short, 90 * time.Minute, true},
		"a day without an end": {endless, 0, false}, "a day that never opens": {never, 90 * time.Minute, true},
	} {
		if got, limited := c.hours.Longest(); got != c.want || limited != c.limited {
			t.Errorf("%s: %s, %v; want %s, %v", name, got, limited, c.want, c.limited)
		}
	}
}

// TestLongestIsWhatMayStart: a load of that length may be started at some minute of
// the week, and one a minute longer at none.
func TestLongestIsWhatMayStart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := drawHours(t)
		if rapid.Bool().Draw(t, "a short week") {
			for i := range h {
				h[i].EndedBy = min(max(h[i].Opens, 0)+Clock(rapid.IntRange(1, 200).Draw(t, "minutes")), 1439)
				if h[i].LastStart != NoClock {
					h[i].LastStart = min(h[i].LastStart, h[i].EndedBy)
				}
			}
		}
		can := func(length time.Duration) bool {
			for m := range 7 * 24 * 60 {
				if h.MayStart(noon.Add(time.Duration(m)*time.Minute), length, time.UTC) {
					return true
				}
			}
			return false
		}
		longest, limited := h.Longest()
		switch {
		case !limited && !can(100*time.Hour):
			t.Fatal("there is no limit, and a long load may never be started")
		case limited && longest > 0 && !can(longest), limited && can(longest+time.Minute):
			t.Fatalf("%s is said to be the longest: %v; a minute longer: %v", longest, can(longest), can(longest+time.Minute))
		}
	})
}
