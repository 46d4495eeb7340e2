package specimen

import (
	"context"
	"fmt"
	"io/fs"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
)

// Reports lists the invented monthly reports.
func Reports(context.Context) ([]usage.ReportedMonth, error) {
	var all []usage.ReportedMonth
	last := usage.MonthOf(usage.DateOf(Noon, Zone)).First()
	for range 5 {
		all = append(all, usage.ReportedMonth{Month: usage.MonthOf(last.Add(-1)), Made: last.Begin(Zone)})
		last = usage.MonthOf(last.Add(-1)).First()
	}
	return all, nil
}

// StoredReport is one of them.
func StoredReport(ctx context.Context, m usage.Month, room coordinator.RoomID) (*usage.Report, error) {
	if all, _ := Reports(ctx); m.Before(all[len(all)-1].Month) || all[0].Month.Before(m) {
		return nil, fmt.Errorf("the report of %s: %w", m, fs.ErrNotExist)
	}
	var rooms []usage.HouseRoom
	h := NewHouse(func(s string) string { return s })
	for _, id := range h.Rooms() {
		r := usage.HouseRoom{ID: id, Name: string(id)}
		for _, machine := range h.Snapshot(id).Machines {
			r.Machines = append(r.Machines, usage.HouseMachine{ID: machine.ID, Name: string(machine.ID)})
		}
		rooms = append(rooms, r)
	}
	r, err := Report(ctx, usage.Query{Scope: usage.Scope{Room: room}, From: m.First(), To: m.Last(), By: usage.ByDay}, rooms)
	if err != nil {
		err = fmt.Errorf("%w: %w", fs.ErrNotExist, err)
	}
	return r, err
}
