package ui

import (
	"bytes"
	"errors"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/push/words"
)

// useView is the manager's page about the use of the rooms.
type useView struct {
	Of       string // what it is about, in words
	Span     string
	Query    useQuery
	Scopes   []scopeOption
	Ways     []usage.Period
	Quick    []fileLink
	Coarser  bool
	Facts    []factView
	Figures  []figureView
	Sections []sectionView
	Notes    []string
	All      string // the whole report as JSON
	Nothing  bool   // no day of the time has figures
	Page     string // of the machine, where it is about one
}

// sectionView is a table of the report with its files.
type sectionView struct {
	Title string
	Table figuresTable
}

// scopeOption is a choice of what the page is about.
type scopeOption struct {
	Value, Name string
	On, Within  bool // chosen; a machine of the room above
}

// noUse is a building without figures, noTable an address that names none.
var (
	noUse   = coordinator.Refuse(coordinator.NotFound, "no-use", "No figures are made of the use here.")
	noTable = coordinator.Refuse(coordinator.NotFound, "no-table", "There is no such table of figures. Please go back to the page that shows the figures.")
	badUse  = coordinator.Refuse(coordinator.NotFound, "no-scope", "There is no such room or machine. Please go back to the page of the use.")
)

// report makes the report that the address asks for.
func (s *Server) report(c echo.Context) (useQuery, []usage.HouseRoom, *usage.Report, error) {
	if s.manager(c) == nil {
		return useQuery{}, nil, nil, notManager
	}
	if s.o.Report == nil {
		return useQuery{}, nil, nil, noUse
	}
	q := readUse(c.QueryParams(), s.localDay())
	rooms := s.houseRooms(s.lang(c))
	r, err := s.o.Report(c.Request().Context(), q.Query, rooms)
	var bad *usage.QueryError
	if errors.As(err, &bad) {
		err = badUse
	}
	return q, rooms, r, err
}

// localDay is the local day of now in the building.
func (s *Server) localDay() coordinator.Date {
	zone := time.UTC
	for _, id := range s.o.House.Rooms() {
		if snap := s.o.House.Snapshot(id); snap != nil && snap.Zone != nil {
			zone = snap.Zone
			break
		}
	}
	return coordinator.DateOf(s.o.House.Now(), zone)
}

// usePage shows the use.
func (s *Server) usePage(c echo.Context) error {
	q, rooms, r, err := s.report(c)
	if err != nil {
		return err
	}
	l := s.lang(c)
	u := useDrawer{l: l, q: q, r: r}
	v := useView{
		Of: nameOf(l, rooms, q.Scope), Span: u.span(), Query: q, Scopes: scopes(l, rooms, q.Scope), Coarser: q.Coarser,
		Ways: []usage.Period{usage.ByDay, usage.ByWeek, usage.ByMonth}, Quick: quick(l, q, s.localDay()),
		Facts: u.facts(), Nothing: r.Whole.Days == 0, All: "/manager/use.json?" + q.values(),
	}
	if !v.Nothing {
		v.Figures = u.figures()
		v.Sections, v.Notes = u.sections(), u.notes()
	}
	if q.Scope.Machine != "" && s.o.Past != nil {
		v.Page = "/manager" + machinePath(q.Scope.Room, q.Scope.Machine)
	}
	return s.render(c, http.StatusOK, "use", v)
}

// nameOf is what people call a scope.
func nameOf(l *words.Language, rooms []usage.HouseRoom, of usage.Scope) string {
	for i := range rooms {
		if rooms[i].ID != of.Room {
			continue
		}
		for _, m := range rooms[i].Machines {
			if m.ID == of.Machine {
				return l.Say("use.machine-in", "machine", m.Name, "room", rooms[i].Name)
			}
		}
		if of.Machine != "" {
			return l.Say("use.machine-in", "machine", string(of.Machine), "room", rooms[i].Name)
		}
		return rooms[i].Name
	}
	return l.Say("use.building")
}

func scopes(l *words.Language, rooms []usage.HouseRoom, of usage.Scope) []scopeOption {
	all := []scopeOption{{Name: l.Say("use.building"), On: of == usage.Scope{}}}
	for i := range rooms {
		room := usage.Scope{Room: rooms[i].ID}
		all = append(all, scopeOption{Value: scopeText(room), Name: rooms[i].Name, On: of == room})
		for _, m := range rooms[i].Machines {
			one := usage.Scope{Room: rooms[i].ID, Machine: m.ID}
			all = append(all, scopeOption{Value: scopeText(one), Name: l.Say("use.machine-in", "machine", m.Name, "room", rooms[i].Name), On: of == one, Within: true})
		}
	}
	return all
}

// quick are links to the usual times.
func quick(l *words.Language, q useQuery, today coordinator.Date) []fileLink {
	return []fileLink{
		{l.Say("use.last-week"), q.last(7, usage.ByDay, today).link()},
		{l.Say("use.last-weeks"), q.last(usualDays, usage.ByDay, today).link()},
		{l.Say("use.last-quarter"), q.last(91, usage.ByWeek, today).link()},
		{l.Say("use.last-year"), q.last(365, usage.ByMonth, today).link()},
	}
}

// useJSON is the whole report.
func (s *Server) useJSON(c echo.Context) error {
	q, _, r, err := s.report(c)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := r.WriteJSON(&b); err != nil {
		return err
	}
	return s.download(c, "use-"+q.From.String()+"-"+q.To.String()+".json", echo.MIMEApplicationJSON, b.Bytes())
}

// useFile is one table, as CSV (RFC 4180) or JSON.
func (s *Server) useFile(c echo.Context) error {
	q, _, r, err := s.report(c)
	if err != nil {
		return err
	}
	return s.sendTable(c, r.Tables(), q.From.String()+"-"+q.To.String())
}
