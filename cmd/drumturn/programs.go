package main

import (
	"context"
	"errors"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/push"
	"drumturn/push/hooks"
	"drumturn/ui/api"
	"drumturn/ui/metrics"
)

// wirePrograms makes what answers other programs, and what posts events to them.
func (a *app) wirePrograms(context.Context) error {
	a.requests = metrics.NewRequests()
	a.api = api.New(api.Options{
		House: a.house, Building: a.file.Building.Name, FactsAfter: a.store.FactsAfter, Use: a.useFor, CheckURL: hooks.CheckURL, Log: a.log,
		Metrics: metrics.Handler(a.measured, a.requests),
	})
	a.hooks = hooks.New(hooks.Config{House: a.house, FactsAfter: a.store.FactsAfter, Client: push.NewClient(a.client), Clock: a.clock, Log: a.log})
	mounts := mountTable{"/api/": a.api}
	for path, h := range a.mounts {
		mounts[path] = h
	}
	a.mounts = mounts
	return nil
}

// useFor makes a report for another program.
func (a *app) useFor(ctx context.Context, q api.UseQuery) (*api.Use, error) {
	var from, to coordinator.Date
	if from.UnmarshalText([]byte(q.From)) != nil || to.UnmarshalText([]byte(q.To)) != nil {
		return nil, coordinator.Refuse(coordinator.Invalid, "use.dates", "Give the first and the last day as “from” and “to”, such as 2026-11-01 and 2026-11-30.")
	}
	query := usage.Query{Scope: usage.Scope{Room: q.Room, Machine: q.Machine}, From: from, To: to, By: usage.Period(q.By)}
	report, err := usage.MakeReport(ctx, a.store, a.reportedHouse(), query)
	if wrong, ok := errors.AsType[*usage.QueryError](err); ok {
		return nil, coordinator.Refuse(coordinator.Invalid, "use.query", "{part}: {wrong}; {right}.", "part", wrong.Part, "wrong", wrong.Wrong, "right", wrong.Right)
	}
	if err != nil {
		return nil, err
	}
	out := &api.Use{
		From: q.From, To: q.To, By: q.By, Whole: useRow(report, &report.Whole),
		Periods: useRows(report, report.Periods), Rooms: useRows(report, report.Rooms), Machines: useRows(report, report.Machines),
	}
	out.Currency = report.Currency.Code
	return out, nil
}

func useRows(report *usage.Report, rows []usage.Row) []api.UseRow {
	out := []api.UseRow{}
	for i := range rows {
		out = append(out, useRow(report, &rows[i]))
	}
	return out
}

// useRow is a row without what people call things.
func useRow(report *usage.Report, r *usage.Row) api.UseRow {
	_, standby := r.Energy()
	row := api.UseRow{
		From: r.From.String(), To: r.To.String(), Room: r.Room, Machine: r.Machine, Days: r.Days, Cycles: r.Cycles, StoppedEarly: r.StoppedEarly,
		MissedCalls: r.Missed, RunningS: r.Running.Seconds(), BlockedS: r.Blocked.Seconds(), OutOfServiceS: r.Out.Seconds(), Utilisation: r.Utilisation(),
		EnergyKWh: r.KWh(), StandbyKWh: standby.KWh(),
	}
	row.Cost = report.Currency.Text(r.Cost)
	return row
}

// reportedHouse is the building as reports know it.
func (a *app) reportedHouse() *usage.House {
	h := &usage.House{Name: a.file.Building.Name, Zone: a.file.Building.Zone, Tariffs: a.house.People().Tariffs}
	for _, id := range a.house.Rooms() {
		snap := a.house.Snapshot(id)
		room := usage.HouseRoom{ID: id, Name: snap.Name}
		for i := range snap.Machines {
			room.Machines = append(room.Machines, usage.HouseMachine{ID: snap.Machines[i].ID})
		}
		h.Rooms = append(h.Rooms, room)
	}
	return h
}
