package usage

import (
	"errors"

	"drumturn/coordinator"
)

// taker is given stored sums: the first date of each, its figures, which are the
// taker's to keep, and how to add its hours to a week.
type taker func(d Date, f *Figures, hours func(*Week))

// each calls fn with the stored sums of a machine, or of a room without one, over
// the query's time, in order: whole months where periods need no finer division
// and the month lies in the time, else days. The date is the sum's first.
func (m *maker) each(room coordinator.RoomID, machine coordinator.MachineID, by Period, fn taker) error {
	from, to := m.out.Query.From, m.out.Query.To
	first, last := wholeMonths(from, to)
	if by == ByDay || by == ByWeek || last.Before(first) {
		return m.days(room, machine, from, to, fn)
	}
	if from.Before(first.First()) {
		if err := m.days(room, machine, from, first.First().Add(-1), fn); err != nil {
			return err
		}
	}
	var bad error
	err := eachMonth(m.ctx, m.r, room, machine, first, last, func(s *MonthSum) {
		m.seen(s.First, s.Last)
		fn(s.Month.First(), &s.Figures, func(w *Week) {
			var week Week
			u := unpacking{raw: s.Week}
			week.take(&u)
			if u.end() != nil && bad == nil {
				bad = damaged(monthKey(room, machine, s.Month), errPacked)
			}
			w.then(&week)
		})
	})
	err = errors.Join(err, bad)
	if err != nil || !last.Last().Before(to) {
		return err
	}
	return m.days(room, machine, last.Next().First(), to, fn)
}

// days calls fn with stored days.
func (m *maker) days(room coordinator.RoomID, machine coordinator.MachineID, from, to Date, fn taker) error {
	return eachDay(m.ctx, m.r, room, machine, from, to, func(s *Summary) {
		m.seen(s.Date, s.Date)
		fn(s.Date, &s.Figures, func(w *Week) { w.takeDay(s) })
	})
}

// wholeMonths are the first and last month that lie wholly between two dates;
// last is before first when there is none.
func wholeMonths(from, to Date) (first, last Month) {
	first, last = MonthOf(from), MonthOf(to)
	if first.First().Before(from) {
		first = first.Next()
	}
	if to.Before(last.Last()) {
		last = MonthOf(last.First().Add(-1))
	}
	return first, last
}
