package queue

import "time"

// Clock is a time of day: minutes after local midnight, 0 to 1439; -1 means none.
type Clock int

// NoClock is the absence of a time of day.
const NoClock Clock = -1

// Day is the opening of one day of the week.
type Day struct {
	// Opens is when the first turn may be called; NoClock: from midnight.
	Opens Clock
	// LastStart is the last instant at which a load may be started; NoClock: no limit.
	LastStart Clock
	// EndedBy is when every load must be over; NoClock: no limit.
	EndedBy Clock
	// Closed is a day without laundry.
	Closed bool
}

// Hours are a room's opening hours, indexed by time.Weekday, in its local time.
type Hours [7]Day

// AlwaysOpen has no limits on any day.
func AlwaysOpen() Hours {
	var h Hours
	for i := range h {
		h[i] = Day{Opens: NoClock, LastStart: NoClock, EndedBy: NoClock}
	}
	return h
}

// On returns the instant of clock on the local day of t. A time of day that
// the change to summer time skips is the first instant after it.
func (c Clock) On(t time.Time, zone *time.Location) time.Time {
	y, m, d := t.In(zone).Date()
	at := time.Date(y, m, d, int(c)/60, int(c)%60, 0, 0, zone)
	if at.Hour() == int(c)/60 && at.Minute() == int(c)%60 {
		return at
	}
	// time.Date lands on either side of the gap, perhaps on another day.
	begin, end := at.ZoneBounds()
	if noon := time.Date(y, m, d, 12, 0, 0, 0, zone); !end.IsZero() && !end.After(noon) {
		return end.In(zone)
	}
	return begin.In(zone)
}

// at is c on the local day of t; fallback when there is no c.
func (c Clock) at(t time.Time, zone *time.Location, fallback time.Time) time.Time {
	if c == NoClock {
		return fallback
	}
	return c.On(t, zone)
}

// MayStart reports whether a load of the given length may be started at now:
// the room is open, last start has not passed, and the load would be over in time.
func (h *Hours) MayStart(now time.Time, length time.Duration, zone *time.Location) bool {
	day := h[now.In(zone).Weekday()]
	if day.Closed {
		return false
	}
	opens := day.Opens.at(now, zone, now)
	last := day.LastStart.at(now, zone, now)
	ended := day.EndedBy.at(now, zone, now.Add(length))
	return !now.Before(opens) && !now.After(last) && !now.Add(length).After(ended)
}

// NextClosing is the first instant after now from which on no start of the given
// length is allowed, having been allowed until then; zero when there is none in
// the next eight days.
func (h *Hours) NextClosing(now time.Time, length time.Duration, zone *time.Location) time.Time {
	if h.always() {
		return time.Time{}
	}
	var open time.Time // until when it is, of the days looked at
	y, m, d := now.In(zone).Date()
	for i := range 9 {
		midnight := time.Date(y, m, d+i, 0, 0, 0, 0, zone)
		w, ok := h.window(midnight, time.Date(y, m, d+i+1, 0, 0, 0, 0, zone), length, zone)
		from, closes := midnight.Add(w.from), midnight.Add(w.to+1)
		if !open.IsZero() && (!ok || from.After(open)) {
			return open
		}
		if ok && closes.After(now) {
			open = closes
		}
	}
	return time.Time{}
}

// NextOpening is the first instant after now at which a start of the given
// length becomes allowed, having not been so just before; zero when there is
// none in the next eight days.
func (h *Hours) NextOpening(now time.Time, length time.Duration, zone *time.Location) time.Time {
	y, m, d := now.In(zone).Date()
	for i := range 9 {
		// Noon is on the same day everywhere; midnight may be skipped.
		noon := time.Date(y, m, d+i, 12, 0, 0, 0, zone)
		opens := h[noon.Weekday()].Opens.at(noon, zone, Clock(0).On(noon, zone))
		if opens.After(now) && h.MayStart(opens, length, zone) && !h.MayStart(opens.Add(-1), length, zone) {
			return opens
		}
	}
	return time.Time{}
}

// Longest is the length of the longest load that may be started on some day of the
// week; false when there is no limit. A load longer than that can never be started.
func (h *Hours) Longest() (time.Duration, bool) {
	var longest time.Duration
	for i := range h {
		day := &h[i]
		opens := max(day.Opens, 0)
		switch {
		case day.Closed || day.LastStart != NoClock && day.LastStart < opens:
		case day.EndedBy == NoClock:
			return 0, false
		default:
			longest = max(longest, time.Duration(day.EndedBy-opens)*time.Minute)
		}
	}
	return longest, true
}
