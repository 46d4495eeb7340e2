package queue

import (
	"encoding/json"
	"reflect"
	"testing"
	"time"
)

// TestClockInGaps: where the clock skips a time of day, the first instant after
// the gap stands for it. The dates are from the IANA time zone database.
func TestClockInGaps(t *testing.T) {
	for _, c := range []struct {
		zone       string
		y          int
		m          time.Month
		d          int
		clock      Clock
		want, name string
	}{
		{"Europe/Berlin", 2026, 3, 29, 2*60 + 30, "2026-03-29 03:00", "02:30 is skipped"},
		{"Europe/Berlin", 2026, 3, 29, 3 * 60, "2026-03-29 03:00", "the end of the gap"},
		{"Europe/Berlin", 2026, 10, 25, 2*60 + 30, "2026-10-25 02:30", "a time that comes twice"},
		{"Africa/Cairo", 2026, 4, 24, 0, "2026-04-24 01:00", "midnight is skipped"},
		{"America/Sao_Paulo", 2018, 11, 4, 0, "2018-11-04 01:00", "midnight is skipped, west of Greenwich"},
		{"America/Santiago", 2026, 9, 6, 30, "2026-09-06 01:00", "half past midnight is skipped"},
		{"America/New_York", 2026, 3, 8, 2 * 60, "2026-03-08 03:00", "the begin of the gap"},
	} {
		zone := zoneOf(t, c.zone)
		got := c.clock.On(time.Date(c.y, c.m, c.d, 12, 0, 0, 0, zone), zone).Format("2006-01-02 15:04")
		if got != c.want {
			t.Errorf("%s, %s: %s is %s, want %s", c.zone, c.name, c.clock, got, c.want)
		}
	}
}

// TestOpeningAfterSkippedMidnight: the day after a closed one opens on its own
// day, though its midnight does not exist.
func TestOpeningAfterSkippedMidnight(t *testing.T) {
	zone := zoneOf(t, "America/Santiago")
	h := AlwaysOpen()
	h[time.Saturday].Closed = true
	got := h.NextOpening(time.Date(2026, 9, 5, 12, 0, 0, 0, zone), time.Hour, zone)
	if want := time.Date(2026, 9, 6, 1, 0, 0, 0, zone); !got.Equal(want) {
		t.Errorf("it opens at %s, want %s", got.In(zone), want)
	}
}

// TestNoOpeningWhereNothingOpens: midnight is no opening of a house that never closes.
func TestNoOpeningWhereNothingOpens(t *testing.T) {
	h := AlwaysOpen()
	if at := h.NextOpening(noon, time.Hour, time.UTC); !at.IsZero() {
		t.Errorf("a house that never closes opens at %s", at)
	}
	h[time.Friday].Closed = true
	want := time.Date(2026, 6, 13, 0, 0, 0, 0, time.UTC)
	if at := h.NextOpening(noon, time.Hour, time.UTC); !at.Equal(want) {
		t.Errorf("after the closed Friday it opens at %s, want %s", at, want)
	}
}

// TestTurnRoundTrip: a turn reads back as it was stored.
func TestTurnRoundTrip(t *testing.T) {
	for _, turn := range []Turn{
		{ID: 1, Person: "p", Home: "h", Need: Wash, State: Waiting, Joined: noon},
		{
			ID: 2, Person: "p", Home: "h", Need: WashAndDry, Wishes: Wishes{Accessible: true, Lower: true, MinKg: 7.5},
			State: Called, Joined: noon, Calls: 2, Misses: 1, NotBefore: noon.Add(1), Recall: noon.Add(2), DryAfter: true,
			Behind: 9, Machine: "m", CalledAt: noon.Add(3), HoldUntil: noon.Add(4),
		},
	} {
		data, err := json.Marshal(turn)
		if err != nil {
			t.Fatal(err)
		}
		var back Turn
		if err := json.Unmarshal(data, &back); err != nil || !reflect.DeepEqual(turn, back) {
			t.Errorf("%s reads back as %+v: %v", data, back, err)
		}
	}
}

func TestWaitKeepsThePlace(t *testing.T) {
	l := waiting("www")
	l.Call(1, "1", noon, time.Minute)
	l.Wait(1)
	wantOrder(t, l, 1, 2, 3)
	if l[1].State != Waiting || l[1].Machine != "" || !l[1].CalledAt.IsZero() || !l[1].HoldUntil.IsZero() {
		t.Errorf("the turn is %+v, want waiting and held nowhere", l[1])
	}
}
