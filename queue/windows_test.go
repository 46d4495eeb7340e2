package queue

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestWindowsByHand: open from seven, last start at eight, all over at nine, closed
// on Sundays. From Saturday noon, starts of two hours are allowed until seven in
// the evening, then on Monday from seven to seven.
func TestWindowsByHand(t *testing.T) {
	h := dayHours()
	saturday := time.Date(2026, 6, 13, 12, 0, 0, 0, time.UTC)
	list := h.windows(saturday, 2*time.Hour, time.UTC)
	want := []window{{0, 7 * time.Hour}, {43 * time.Hour, 55 * time.Hour}}
	if len(list) < 3 || list[0] != want[0] || list[1] != want[1] {
		t.Errorf("%v, want %v first", list, want)
	}
	if n := len(list); n != 13 { // 15 days begun, less two Sundays
		t.Errorf("%d stretches in two weeks, want 13", n)
	}
}

func TestWindowsOpenAndClosed(t *testing.T) {
	open := AlwaysOpen()
	if list := open.windows(noon, time.Hour, time.UTC); len(list) != 1 || list[0] != (window{0, farthest}) {
		t.Errorf("a room that never closes is open in %v", list)
	}
	// Days without limits are one stretch, not one per day.
	open[time.Sunday].Closed = true
	if list := open.windows(noon, time.Hour, time.UTC); len(list) != 3 || list[0].from != 0 || list[0].to != 84*time.Hour-1 {
		t.Errorf("a room that closes on Sundays only is open in %v", list)
	}
	if list := new(Hours).windows(noon, time.Hour, time.UTC); len(list) != 0 {
		t.Errorf("a room that closes at midnight opens in %v", list)
	}
}

// TestWindowsAgree: they are what MayStart says, at any instant, in any zone, also
// on the days of the changes of summer time.
func TestWindowsAgree(t *testing.T) {
	zone := zoneOf(t, "Europe/Berlin")
	rapid.Check(t, func(t *rapid.T) {
		h := drawHours(t)
		start := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
		now := start.Add(time.Duration(rapid.IntRange(0, 365*24*60).Draw(t, "now")) * time.Minute)
		length := time.Duration(rapid.IntRange(0, 300).Draw(t, "length")) * time.Minute
		list := h.windows(now, length, zone)
		for i := range list {
			if list[i].from < 0 || list[i].to < list[i].from || i > 0 && list[i].from <= list[i-1].to {
				t.Fatalf("stretches %v", list)
			}
		}
		for range 50 {
			at := time.Duration(rapid.Int64Range(0, int64(farthest)).Draw(t, "at"))
			in := false
			for _, w := range list {
				in = in || w.from <= at && at <= w.to
			}
			if may := h.MayStart(now.Add(at), length, zone); may != in {
				t.Fatalf("at %s a start of %s is allowed: %v, by the stretches: %v", now.Add(at).In(zone), length, may, in)
			}
		}
	})
}

// drawHours are hours as a house may have them.
func drawHours(t *rapid.T) Hours {
	var h Hours
	for i := range h {
		h[i] = Day{Opens: NoClock, LastStart: NoClock, EndedBy: NoClock, Closed: rapid.IntRange(0, 5).Draw(t, "closed") == 0}
		// Not between two and three, the hour that a change of summer time skips or repeats.
		if rapid.Bool().Draw(t, "opens at a time") {
			h[i].Opens = Clock(rapid.IntRange(3*60, 12*60).Draw(t, "opens"))
		}
		if rapid.Bool().Draw(t, "has a last start") {
			h[i].LastStart = Clock(rapid.IntRange(12*60, 1439).Draw(t, "last start"))
		}
		if rapid.Bool().Draw(t, "has an end") {
			h[i].EndedBy = Clock(rapid.IntRange(15*60, 1439).Draw(t, "ended by"))
		}
	}
	return h
}

// TestWindowsOfALongFortnight: two weeks of hours that begin an hour before midnight
// end on the fifteenth day after, where the clocks go forward between.
func TestWindowsOfALongFortnight(t *testing.T) {
	zone := zoneOf(t, "Europe/Berlin")
	var h Hours
	for i := range h {
		h[i] = Day{Opens: NoClock, LastStart: NoClock, EndedBy: NoClock, Closed: i == int(time.Monday)}
	}
	now := time.Date(2026, 3, 21, 23, 0, 0, 0, zone) // a Saturday
	list := h.windows(now, 0, zone)
	if last := list[len(list)-1]; last.to != farthest {
		t.Errorf("the last stretch ends after %s, want %s: it is Sunday", last.to, farthest)
	}
}
