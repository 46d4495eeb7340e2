package main

import (
	"context"
	"maps"
	"slices"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/push/mail"
)

// monthly says how monthly reports are made and sent.
func (a *app) monthly() usage.MonthlyOptions {
	return usage.MonthlyOptions{
		Schedule: a.file.Schedule.Monthly,
		House:    func() *usage.House { return a.reportHouse(a.pages.HouseRooms(a.file.Building.Language)) },
		Send:     a.sendReport,
	}
}

// reportHouse is what reports must know of the building, with its rooms as they are
// called in some language.
func (a *app) reportHouse(rooms []usage.HouseRoom) *usage.House {
	people := a.house.People()
	h := &usage.House{Name: a.file.Building.Name, Zone: a.file.Building.Zone, Rooms: rooms, Tariffs: people.Tariffs, Homes: map[coordinator.HomeID]string{}}
	for id := range people.Homes {
		h.Homes[id] = people.Homes[id].Name
	}
	return h
}

// report makes a report of the use, from the stored sums.
func (a *app) report(ctx context.Context, q usage.Query, rooms []usage.HouseRoom) (*usage.Report, error) {
	return a.reports.Report(ctx, a.reportHouse(rooms), q)
}

// reportedMonths lists the months that have a report.
func (a *app) reportedMonths(ctx context.Context) ([]usage.ReportedMonth, error) {
	return usage.MonthsReported(ctx, a.store)
}

// storedReport is a month's report as it was made.
func (a *app) storedReport(ctx context.Context, m usage.Month, room coordinator.RoomID) (*usage.Report, error) {
	return usage.StoredReport(ctx, a.store, m, room)
}

// sendReport sends a month's report to everybody who looks after the building.
func (a *app) sendReport(ctx context.Context, m usage.Month, r *usage.Report) (bool, error) {
	return a.mailManagers(ctx, "report-to", m.String(), func(lang string) (mail.Letter, error) {
		written, err := a.pages.ReportLetter(lang, m, r)
		if err != nil {
			return mail.Letter{}, err
		}
		l := mail.Letter{
			Subject: written.Subject, Text: written.Text, Lang: lang, Key: "report/" + m.String(),
			Attached: []mail.Attachment{{Name: "laundry-" + m.String() + ".html", Type: "text/html; charset=utf-8", Data: written.Page}},
		}
		for _, name := range slices.Sorted(maps.Keys(written.Tables)) {
			l.Attached = append(l.Attached, mail.Attachment{Name: name + "-" + m.String() + ".csv", Type: "text/csv; charset=utf-8", Data: written.Tables[name]})
		}
		return l, nil
	})
}
