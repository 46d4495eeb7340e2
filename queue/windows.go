package queue

import "time"

// farthest is how far ahead a forecast looks; it knows nothing of what lies behind.
const farthest = 14 * 24 * time.Hour

// window is a stretch in which a start is allowed, both ends included, counted from now.
type window struct{ from, to time.Duration }

// windows lists when loads of the given length may be started, from now until the
// farthest instant of a forecast: what MayStart says, as stretches.
func (h *Hours) windows(now time.Time, length time.Duration, zone *time.Location) []window {
	if h.always() {
		return []window{{0, farthest}}
	}
	var list []window
	y, m, d := now.In(zone).Date()
	for i := range int(farthest/(24*time.Hour)) + 2 { // where a day has 23 hours, the farthest is on one day more
		midnight := time.Date(y, m, d+i, 0, 0, 0, 0, zone)
		w, ok := h.window(midnight, time.Date(y, m, d+i+1, 0, 0, 0, 0, zone), length, zone)
		w.from, w.to = max(w.from-now.Sub(midnight), 0), min(w.to-now.Sub(midnight), farthest)
		if !ok || w.from > w.to {
			continue
		}
		if k := len(list) - 1; k >= 0 && w.from <= list[k].to+1 {
			list[k].to = max(list[k].to, w.to)
			continue
		}
		list = append(list, w)
	}
	return list
}

// window is the stretch of one local day, counted from its midnight.
func (h *Hours) window(midnight, next time.Time, length time.Duration, zone *time.Location) (window, bool) {
	day := &h[midnight.In(zone).Weekday()]
	if day.Closed {
		return window{}, false
	}
	from := day.Opens.at(midnight, zone, midnight)
	to := next.Add(-1)
	if last := day.LastStart.at(midnight, zone, to); last.Before(to) {
		to = last
	}
	if day.EndedBy != NoClock {
		if last := day.EndedBy.On(midnight, zone).Add(-length); last.Before(to) {
			to = last
		}
	}
	if from.Before(midnight) {
		from = midnight
	}
	return window{from.Sub(midnight), to.Sub(midnight)}, !to.Before(from)
}

// always reports whether a start is allowed at any time.
func (h *Hours) always() bool {
	for i := range h {
		if h[i] != (Day{Opens: NoClock, LastStart: NoClock, EndedBy: NoClock}) {
			return false
		}
	}
	return true
}
