package ui

import (
	"errors"
	"io/fs"
	"net/http"
	"net/url"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/push/words"
)

// reportsView lists the months that have a report, newest first.
type reportsView struct{ Months []reportLine }

type reportLine struct{ Month, Link, Made string }

// reportView is the report of a month, made to be printed.
type reportView struct {
	Month, Of, Made string
	Scopes          []reportScope
	Facts           []factView
	Figures         []figureView
	Sections        []sectionView
	Notes           []string
	Use             string
	Lang, Dir       string // of the file that is sent by e-mail
}

// reportScope is a link to the same month's report about a room, or the building.
type reportScope struct {
	Name, Link string
	On         bool
}

var noReport = coordinator.Refuse(coordinator.NotFound, "no-report", "There is no report of that month. Please go back to the list of reports.")

// monthWords is "November 2026".
func monthWords(l *words.Language, m usage.Month) string {
	return l.Say("reports.month", "month", l.Say("month-long."+plainInt(int(m.Month))), "year", m.Year)
}

// reportsPage lists the monthly reports.
func (s *Server) reportsPage(c echo.Context) error {
	switch {
	case s.manager(c) == nil:
		return notManager
	case s.o.Reports == nil:
		return noUse
	}
	months, err := s.o.Reports(c.Request().Context())
	if err != nil {
		return err
	}
	l := s.lang(c)
	var v reportsView
	for _, m := range months {
		made := fullDay(l, m.Made.In(s.zone()))
		v.Months = append(v.Months, reportLine{monthWords(l, m.Month), "/manager/reports/" + m.Month.String(), made})
	}
	return s.render(c, http.StatusOK, "reports", v)
}

// zone is the building's.
func (s *Server) zone() *time.Location {
	for _, id := range s.o.House.Rooms() {
		if snap := s.o.House.Snapshot(id); snap != nil && snap.Zone != nil {
			return snap.Zone
		}
	}
	return time.UTC
}

// reportAsked is the report of the month and room that the address names, as it
// was made then.
func (s *Server) reportAsked(c echo.Context) (usage.Month, *usage.Report, error) {
	switch {
	case s.manager(c) == nil:
		return usage.Month{}, nil, notManager
	case s.o.StoredReport == nil:
		return usage.Month{}, nil, noUse
	}
	month, err := usage.ParseMonth(param(c, "month"))
	if err != nil {
		return month, nil, noReport
	}
	r, err := s.o.StoredReport(c.Request().Context(), month, readScope(c.QueryParam("of")).Room)
	if errors.Is(err, fs.ErrNotExist) {
		err = noReport
	}
	return month, r, err
}

// reportPage shows the report of a month.
func (s *Server) reportPage(c echo.Context) error {
	month, r, err := s.reportAsked(c)
	if err != nil {
		return err
	}
	l, room := s.lang(c), r.Query.Scope.Room
	v := s.reportOf(l, month, r)
	v.Scopes = append(v.Scopes, reportScope{l.Say("use.building"), "/manager/reports/" + month.String(), room == ""})
	for _, h := range s.houseRooms(l) {
		link := "/manager/reports/" + month.String() + "?of=" + pathEscape(string(h.ID))
		v.Scopes = append(v.Scopes, reportScope{h.Name, link, room == h.ID})
	}
	return s.render(c, http.StatusOK, "report", v)
}

// reportFile is one of its tables.
func (s *Server) reportFile(c echo.Context) error {
	month, r, err := s.reportAsked(c)
	if err != nil {
		return err
	}
	r.Rename(s.houseRooms(s.lang(c)))
	return s.sendTable(c, r.Tables(), month.String())
}

// reportOf words and draws a report.
func (s *Server) reportOf(l *words.Language, month usage.Month, r *usage.Report) reportView {
	rooms := s.houseRooms(l)
	r.Rename(rooms)
	u := useDrawer{l: l, q: useQuery{Query: r.Query}, r: r, page: "/manager/reports/" + month.String()}
	if of := scopeText(r.Query.Scope); of != "" {
		u.query = url.Values{"of": {of}}.Encode()
	}
	v := reportView{
		Month: monthWords(l, month), Of: nameOf(l, rooms, r.Query.Scope), Facts: u.facts(), Figures: u.figures(),
		Sections: append(u.sections(), u.days()), Notes: u.notes(), Use: u.q.link(), Lang: l.Code(), Dir: l.Dir(),
	}
	return v
}

// days is the table of the report's days.
func (u *useDrawer) days() sectionView {
	columns := listed
	if u.r.Costs.Standing.Minor > 0 {
		columns = append(listed[:len(listed):len(listed)], "standing_charge")
	}
	s := u.section("periods", func(i int) cellView { return headCell(shortDay(u.l, noonOf(u.r.Periods[i].From))) }, columns...)
	s.Title, s.Table.Caption = u.l.Say("reports.table"), u.l.Say("reports.table")
	if len(s.Table.Head) > 0 {
		s.Table.Head[0] = headCell(u.l.Say("reports.day"))
	}
	return s
}
