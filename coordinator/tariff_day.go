package coordinator

import (
	"slices"
	"time"

	"drumturn/queue"
)

// TariffPiece is a stretch of time, From <= t < To, with one price: that of a
// window by its number from 1, or 0 for the price outside of all.
type TariffPiece struct {
	From, To time.Time
	Window   int
}

// Day divides a local day at the borders of the tariff's windows, exactly: in the
// hour that the clocks repeat a window holds twice, in the one that they skip it
// does not, and one that begins or ends in that begins or ends at the change.
func (t *Tariff) Day(date Date, zone *time.Location) []TariffPiece {
	begin, end := date.Begin(zone), date.End(zone)
	cuts := append(t.cuts(date, begin, end, zone), end)
	slices.SortFunc(cuts, time.Time.Compare)
	var out []TariffPiece
	at := begin
	for _, cut := range cuts {
		if !cut.After(at) {
			continue
		}
		if w := t.window(at.In(zone)); len(out) > 0 && out[len(out)-1].Window == w {
			out[len(out)-1].To = cut
		} else {
			out = append(out, TariffPiece{at, cut, w})
		}
		at = cut
	}
	return out
}

// cuts are the instants of a day at which another window may hold.
func (t *Tariff) cuts(date Date, begin, end time.Time, zone *time.Location) (all []time.Time) {
	if len(t.Windows) == 0 {
		return nil
	}
	offsets, changes := offsetsOf(begin, end, zone)
	all = changes
	for i := range t.Windows {
		for _, clock := range []queue.Clock{t.Windows[i].From, t.Windows[i].To} {
			if clock == queue.NoClock {
				continue
			}
			// The clock shows this time once for each offset from UTC in which it does.
			for _, offset := range offsets {
				at := time.Date(date.Year, date.Month, date.Day, 0, int(clock), 0, 0, time.UTC).Add(-offset)
				if !at.Before(begin) && at.Before(end) && minuteOf(at.In(zone)) == clock {
					all = append(all, at)
				}
			}
		}
	}
	return all
}

// offsetsOf are the offsets from UTC in a stretch of time, and when they change.
func offsetsOf(begin, end time.Time, zone *time.Location) (offsets []time.Duration, changes []time.Time) {
	for at := begin; at.Before(end); {
		_, seconds := at.In(zone).Zone()
		offsets = append(offsets, time.Duration(seconds)*time.Second)
		_, next := at.In(zone).ZoneBounds()
		if next.IsZero() || !next.Before(end) {
			break
		}
		changes = append(changes, next)
		at = next
	}
	return offsets, changes
}

func minuteOf(local time.Time) queue.Clock { return queue.Clock(local.Hour()*60 + local.Minute()) }

// window is the number of the first window that holds at a local time, or 0.
func (t *Tariff) window(local time.Time) int {
	y, m, d := local.Date()
	date, clock := Date{y, m, d}, minuteOf(local)
	for i := range t.Windows {
		if t.Windows[i].holds(date, clock) {
			return i + 1
		}
	}
	return 0
}

func (w *TariffWindow) holds(date Date, clock queue.Clock) bool {
	if w.From == queue.NoClock {
		return w.on(date)
	}
	if w.From < w.To {
		return clock >= w.From && clock < w.To && w.on(date)
	}
	return clock >= w.From && w.on(date) || clock < w.To && w.on(date.Add(-1))
}

// on reports whether the window begins on a date.
func (w *TariffWindow) on(date Date) bool {
	if len(w.Days) > 0 && !slices.Contains(w.Days, date.Weekday()) {
		return false
	}
	if w.SeasonFrom == (YearDay{}) {
		return true
	}
	from, to, at := w.SeasonFrom.ordinal(), w.SeasonTo.ordinal(), YearDay{date.Month, date.Day}.ordinal()
	if from <= to {
		return at >= from && at <= to
	}
	return at >= from || at <= to
}
