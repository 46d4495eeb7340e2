package usage

import (
	"context"
	"slices"
	"time"

	"drumturn/coordinator"
)

// reviseDays is how many days back a day's facts may still change the sums of
// earlier ones, such as a load collected after a long holiday.
const reviseDays = 31

// rollUp sums up a local day of a room, and again those earlier days that facts
// of this day bear on, with their months, and marks the day as done by the job.
// It may be repeated.
func rollUp(ctx context.Context, s Store, room *Room, date Date, zone *time.Location, mark coordinator.JobMark) error {
	h := factReader{s: s, room: room.ID}
	today, err := factsBetween(ctx, s, room.ID, date.Begin(zone), date.End(zone))
	if err != nil {
		return err
	}
	// What is told within a day after the end is known now, or revised tomorrow.
	until := earlier(date.Add(1).End(zone), mark.At)
	for days := bearsOn(today, date, zone); len(days) > 1; days = days[1:] {
		if err := sumUp(ctx, s, room, &h, days[0], until, zone, coordinator.JobMark{At: mark.At}); err != nil {
			return err
		}
	}
	return sumUp(ctx, s, room, &h, date, until, zone, mark)
}

// sumUpAgain sums up a day that was before, with all that was told of it since.
func sumUpAgain(ctx context.Context, s Store, room *Room, h *factReader, date Date, zone *time.Location, now time.Time) error {
	until := earlier(date.Add(reviseDays+1).End(zone), now)
	return sumUp(ctx, s, room, h, date, until, zone, coordinator.JobMark{At: now})
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// sumUp makes the sums of one day of what is told before an instant, and those of
// its month, and stores them with the mark at once: no reader finds a month that
// is not the sum of its days.
func sumUp(ctx context.Context, s Store, room *Room, h *factReader, date Date, until time.Time, zone *time.Location, mark coordinator.JobMark) error {
	sums, err := sumsOf(ctx, s, room, h, date, until, zone)
	if err != nil {
		return err
	}
	rows, err := rowsOf(ctx, s, room, date, &sums, room.wantsHomes(date, DateOf(mark.At, zone)))
	if err != nil {
		return err
	}
	return s.PutRollups(ctx, mark, rows...)
}

// rowsOf are the rows of a day's sums and of its month.
func rowsOf(ctx context.Context, r Rollups, room *Room, date Date, sums *Sums, homes bool) ([]coordinator.Rollup, error) {
	rows := make([]coordinator.Rollup, 0, 2*len(sums.All)+2)
	for i := range sums.All {
		sum := &sums.All[i]
		month, err := monthRow(ctx, r, sum)
		if err != nil {
			return nil, err
		}
		rows = append(rows, coordinator.Rollup{Key: rollupKey(sum.Room, sum.Machine, date), Value: sum.pack()}, month)
	}
	if !homes {
		return rows, nil
	}
	more, err := homeRows(ctx, r, room.ID, date, sums.Homes)
	return append(rows, more...), err
}

// sumsOf sums up a day from its facts and readings. Opening hours and machines are
// those it had when it was first summed up.
func sumsOf(ctx context.Context, s Store, room *Room, h *factReader, date Date, until time.Time, zone *time.Location) (sums Sums, err error) {
	day := room.day(ctx, s, date, zone, until)
	if err := day.asBefore(ctx, s); err != nil {
		return sums, err
	}
	if day.Out, err = outBefore(ctx, s, room.ID, date, zone); err != nil {
		return sums, err
	}
	if day.Facts, err = h.between(ctx, date.Begin(zone).Add(-lookBack), until); err != nil {
		return sums, err
	}
	return Summarise(day)
}

// asBefore takes over what was known when the day was summed up before: a machine
// that has gone since keeps its part of the room, and one that came has none.
func (d *Day) asBefore(ctx context.Context, r Rollups) error {
	stored, err := machinesWithSums(ctx, r, d.Room)
	if err != nil {
		return err
	}
	d.Kept = map[coordinator.MachineID]Figures{}
	var machines []coordinator.MachineID
	for _, m := range append([]coordinator.MachineID{""}, stored...) {
		err := eachDay(ctx, r, d.Room, m, d.Date, d.Date, func(was *Summary) {
			if was.V < hoursKnown {
				return
			}
			if d.Opens, d.Closes = was.Opens, was.Closes; m != "" && was.Hours.observed() {
				machines = append(machines, m)
			}
			d.Kept[m] = was.Figures
		})
		if err != nil {
			return err
		}
	}
	if len(d.Kept) > 0 {
		d.Machines = machines
	}
	return nil
}

// day is a day of the room, without its facts.
func (r *Room) day(ctx context.Context, s Readings, date Date, zone *time.Location, until time.Time) Day {
	day := Day{Room: r.ID, Date: date, Zone: zone, Machines: r.Machines, Until: until, Power: r.Power, Tariffs: r.Tariffs}
	day.Opens, day.Closes = opening(&r.Hours, date, zone)
	day.Readings = func(m coordinator.MachineID, from, to time.Time, fn func(coordinator.MachineReading) bool) error {
		return s.Readings(ctx, r.ID, m, from, to, fn)
	}
	return day
}

// bearsOn lists the days, in order, whose sums the day's facts may change: the
// day itself, and those on which a cycle or a wait that they tell of began.
func bearsOn(facts []coordinator.Fact, date Date, zone *time.Location) []Date {
	first := date
	for i := range facts {
		for _, t := range []time.Time{facts[i].Start, facts[i].End, facts[i].At.Add(-facts[i].Wait)} {
			if d := DateOf(t, zone); !t.IsZero() && d.Before(first) {
				first = d
			}
		}
	}
	if oldest := date.Add(-reviseDays); first.Before(oldest) {
		first = oldest
	}
	var days []Date
	for d := first; !date.Before(d); d = d.Add(1) {
		days = append(days, d)
	}
	return days
}

// Between reads the stored sums of a room from one date to another, both
// included, in the order of date and machine; the room's own come first on each
// day. A day that was not summed up has none.
func Between(ctx context.Context, r Rollups, room coordinator.RoomID, from, to Date) (all []Summary, err error) {
	machines, err := machinesWithSums(ctx, r, room)
	if err != nil {
		return nil, err
	}
	for _, m := range append([]coordinator.MachineID{""}, machines...) {
		if err := eachDay(ctx, r, room, m, from, to, func(s *Summary) { all = append(all, *s) }); err != nil {
			return nil, err
		}
	}
	slices.SortStableFunc(all, func(a, b Summary) int { return a.Date.Compare(b.Date) })
	return all, nil
}

// Today sums up the local day of now so far. A cycle counts once it has ended.
func Today(ctx context.Context, s interface {
	Facts
	Readings
}, room *Room, zone *time.Location, now time.Time) ([]Summary, error) {
	day := room.day(ctx, s, DateOf(now, zone), zone, now)
	var err error
	if day.Facts, err = factsBetween(ctx, s, room.ID, day.Date.Begin(zone).Add(-lookBack), now); err != nil {
		return nil, err
	}
	sums, err := Summarise(day)
	return sums.All, err
}
