package usage

import (
	"slices"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// stretch is from <= t < to.
type stretch struct{ from, to time.Time }

func (s stretch) clip(from, to time.Time) stretch {
	if s.from.Before(from) {
		s.from = from
	}
	if s.to.After(to) {
		s.to = to
	}
	return s
}

func (s stretch) length() time.Duration { return max(0, s.to.Sub(s.from)) }

func length(all []stretch) (sum time.Duration) {
	for _, s := range all {
		sum += s.length()
	}
	return sum
}

// within are the parts of stretches that lie in the day, in order, each instant once.
func (d *day) within(all []stretch) (out []stretch) {
	slices.SortFunc(all, func(a, b stretch) int { return a.from.Compare(b.from) })
	at := d.from
	for _, s := range all {
		if s = s.clip(at, d.to); s.to.After(s.from) {
			out = append(out, s)
			at = s.to
		}
	}
	return out
}

// time notes when a machine ran.
func (t *tally) time(d *day, ran []stretch) {
	t.sum.Running = length(ran)
	for _, s := range ran {
		t.sum.RunningOpen += s.clip(d.Opens, d.Closes).length()
		eachHour(s.from, s.to, d.Zone, func(hour int, from, to time.Time) { t.sum.Hours[hour].Running += to.Sub(from) })
	}
}

// plan notes when a machine of the room could have run.
func (t *tally) plan(d *day) {
	until := d.to
	if d.Until.Before(until) {
		until = d.Until
	}
	t.sum.Open = stretch{d.Opens, d.Closes}.clip(d.from, until).length()
	eachHour(d.from, until, d.Zone, func(hour int, from, to time.Time) { t.sum.Hours[hour].Observed += to.Sub(from) })
}

// turn notes how long a turn waited for its first call, or until it left.
func (d *day) turn(f *coordinator.Fact, t *tally) {
	w := d.turns[f.Turn]
	switch {
	case f.Kind == coordinator.FactJoined:
		d.turns[f.Turn] = &stretch{f.At, d.Until}
	case f.Kind == coordinator.FactCalled && !d.called[f.Turn]:
		if d.has(f.At) {
			t.sum.Waits.Add(f.Wait)
		}
		d.called[f.Turn] = f.Turn != 0
		if f.Turn != 0 {
			d.turns[f.Turn] = &stretch{f.At.Add(-f.Wait), f.At}
		}
	case f.Kind == coordinator.FactLeft && w != nil && !d.called[f.Turn]:
		w.to = f.At
	}
}

// waited is how long turns waited, by the hour.
func (d *day) waited() (hours Hours) {
	for _, w := range d.turns {
		s := w.clip(d.from, d.to)
		eachHour(s.from, s.to, d.Zone, func(hour int, from, to time.Time) { hours[hour].Waiting += to.Sub(from) })
	}
	return hours
}

// opening bounds the opening hours of a date: from when the room opens to when
// loads must be over, or where that is not said, to the last start. They are
// equal on a closed day. Where nothing is said it is open all day.
func opening(h *queue.Hours, date Date, zone *time.Location) (opens, closes time.Time) {
	opens, closes = date.Begin(zone), date.End(zone)
	day := h[date.Weekday()]
	noon := time.Date(date.Year, date.Month, date.Day, 12, 0, 0, 0, zone)
	if day.Closed {
		return opens, opens
	}
	for _, c := range []queue.Clock{day.LastStart, day.EndedBy} {
		if c != queue.NoClock {
			closes = c.On(noon, zone)
		}
	}
	if day.Opens != queue.NoClock {
		opens = day.Opens.On(noon, zone)
	}
	if closes.Before(opens) {
		return opens, opens
	}
	return opens, closes
}
