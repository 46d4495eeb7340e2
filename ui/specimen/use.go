package specimen

import (
	"context"
	"math"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/queue"
)

// firstDay is from when on there are figures.
var firstDay = usage.DateOf(Noon.AddDate(0, 0, -400), Zone)

// Report makes a report of invented sums. It is as one of the real ones: the
// sums of a few rooms and machines, with a day of which nothing is known.
func Report(_ context.Context, q usage.Query, rooms []usage.HouseRoom) (*usage.Report, error) {
	r := &usage.Report{Query: q, Currency: usage.Currency{Code: "EUR", Digits: 2}}
	known := q.Scope.Room == ""
	for _, own := range []coordinator.RoomID{"cellar", "attic", "loft", "yard", "shut"} { // also in a house without them
		known = known || own == q.Scope.Room
	}
	for i := range rooms {
		known = known || rooms[i].ID == q.Scope.Room
	}
	if !known {
		return nil, &usage.QueryError{Part: "scope", Wrong: "no such room", Right: "name one"}
	}
	share := 1.0
	if q.Scope.Room != "" {
		share = 0.8
	}
	if q.Scope.Machine != "" {
		share = 0.15
	}
	for from := q.From; !q.To.Before(from); {
		to := from
		for to.Before(q.To) && !ends(to, q.By) {
			to = to.Add(1)
		}
		row := usage.Row{From: from, To: to}
		for d := from; !to.Before(d); d = d.Add(1) {
			addDay(&row, d, share)
		}
		addDays(&r.Whole, &row)
		r.Periods = append(r.Periods, row)
		from = to.Add(1)
	}
	lists(r, rooms)
	cycles, standby := r.Whole.Energy()
	night := usage.WindowRow{Tariff: 1, Window: 1, Name: "night", PricePerKWh: "0.24", Cycles: cycles / 5, Standby: standby / 3, Cost: usage.Amount{Minor: r.Whole.Cost.Minor / 6, Known: true}}
	day := usage.WindowRow{Tariff: 1, PricePerKWh: "0.32", Cycles: cycles - night.Cycles, Standby: standby - night.Standby, Cost: usage.Amount{Minor: r.Whole.Cost.Minor - night.Cost.Minor, Known: true}}
	r.Windows = []usage.WindowRow{day, night}
	r.Costs = usage.Costs{Cycles: usage.Amount{Minor: r.Whole.Cost.Minor - 270, Known: true}, Standby: usage.Amount{Minor: 270, Known: true}, Standing: usage.Amount{Minor: 1150, Known: true}, Total: usage.Amount{Minor: r.Whole.Cost.Minor + 1150, Known: true}}
	r.Notes = []usage.Note{usage.NoteUnmetered}
	if q.Scope.Room == "" {
		for i := range r.Periods {
			r.Periods[i].Standing = usage.Amount{Minor: 1150 / int64(len(r.Periods)), Known: true}
		}
	}
	fillWeek(r, share)
	return r, nil
}

func ends(d usage.Date, by usage.Period) bool {
	switch by {
	case usage.ByDay:
		return true
	case usage.ByWeek:
		return d.Weekday() == time.Sunday
	}
	return d.Add(1).Day == 1
}

// addDay adds one day's sums: more at weekends; of one day in 47 nothing is known.
func addDay(row *usage.Row, d usage.Date, share float64) {
	n := int(time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC).Unix() / 86400)
	if d.Before(firstDay) || n%47 == 11 {
		return
	}
	busy := 1 + 0.25*math.Sin(float64(n)*1.7)
	if w := d.Weekday(); w == time.Saturday || w == time.Sunday {
		busy *= 1.5
	}
	cycles := int(math.Round(17 * busy * share))
	one := usage.Row{Figures: usage.Figures{
		Days: 1, Cycles: cycles, StoppedEarly: n / 3 % 2 * min(1, cycles), Starts: cycles, Collected: cycles, Missed: n % 3,
		Running: time.Duration(cycles) * 66 * time.Minute, RunningOpen: time.Duration(cycles) * 64 * time.Minute,
		Open: time.Duration(8 * 15 * share * float64(time.Hour)), Blocked: time.Duration(cycles) * 14 * time.Minute, CycleWh: float64(cycles) * 905,
		Used: []usage.Used{{Tariff: 1, Cycles: usage.MilliWh(cycles) * 905_000, Standby: usage.MilliWh(share * 310_000)}},
	}}
	one.Cost = usage.Amount{Minor: int64(cycles) * 29, Known: true}
	for i := range cycles {
		one.Waits.Add(time.Duration(4+(i*i*7+n)%50) * time.Minute)
	}
	addDays(row, &one)
}

// addDays adds the sums of another time.
func addDays(row, o *usage.Row) {
	row.Days += o.Days
	row.Cycles += o.Cycles
	row.StoppedEarly += o.StoppedEarly
	row.Starts += o.Starts
	row.Collected += o.Collected
	row.Missed += o.Missed
	row.Running += o.Running
	row.RunningOpen += o.RunningOpen
	row.Open += o.Open
	row.Blocked += o.Blocked
	row.CycleWh += o.CycleWh
	row.Waits.Merge(&o.Waits)
	row.Cost = usage.Amount{Minor: row.Cost.Minor + o.Cost.Minor, Known: true}
	cycles, standby := row.Energy()
	more, still := o.Energy()
	row.Used = []usage.Used{{Tariff: 1, Cycles: cycles + more, Standby: standby + still}}
}

// lists are the rooms and machines, each with a part of the whole.
func lists(r *usage.Report, rooms []usage.HouseRoom) {
	for i := range rooms {
		room := &rooms[i]
		if r.Query.Scope.Room != "" && r.Query.Scope.Room != room.ID {
			continue
		}
		if r.Query.Scope.Room == "" {
			row := usage.Row{Room: room.ID, Name: room.Name}
			for d := r.Query.From; !r.Query.To.Before(d); d = d.Add(1) {
				addDay(&row, d, 0.5/float64(i+1))
			}
			r.Rooms = append(r.Rooms, row)
		}
		for k := range room.Machines {
			if r.Query.Scope.Machine != "" {
				continue
			}
			row := usage.Row{Room: room.ID, Machine: room.Machines[k].ID, Name: room.Machines[k].Name}
			for d := r.Query.From; !r.Query.To.Before(d); d = d.Add(1) {
				addDay(&row, d, 0.1+0.02*float64(k))
			}
			r.Machines = append(r.Machines, row)
		}
	}
}

// fillWeek is busy in the evenings and at weekends, and shut at night.
func fillWeek(r *usage.Report, share float64) {
	for d := range r.Week {
		for h := range r.Week[d] {
			x := &r.Week[d][h]
			x.Observed = 4 * time.Hour
			level := 3.2 * math.Exp(-math.Pow(float64(h)-18, 2)/14)
			if d == int(time.Saturday) || d == int(time.Sunday) {
				level = 4.6 * math.Exp(-math.Pow(float64(h)-12, 2)/18)
			}
			if level < 0.05 {
				level = 0
			}
			if clock := queue.Clock(h * 60); clock < 6*60 || clock >= 22*60 {
				level = 0
			}
			x.Running = time.Duration(level * share * float64(x.Observed))
			x.Waiting = time.Duration(max(0, level-1.5) * share * float64(x.Observed))
			x.Starts = int(level * share * 4)
		}
	}
}
