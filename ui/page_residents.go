package ui

import (
	"cmp"
	"net/http"
	"net/url"
	"slices"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// residentsView lists who lives in the building, for the manager.
type residentsView struct {
	Homes   []homeView
	Pass    *passView // the one-time code made just now
	Who     residentView
	Home    string
	Problem *problem
}

// homeView is a home with its residents, the latest to join first.
type homeView struct {
	Name      string
	Residents []residentView
}

type residentView struct {
	ID   coordinator.PersonID
	Name string
}

// viewResidents lists homes by their names; a home without anybody is left out.
func viewResidents(l *words.Language, people *coordinator.People) []homeView {
	byHome := map[coordinator.HomeID][]coordinator.Person{}
	for _, p := range people.Persons {
		if !p.Manager && p.Home != "" {
			byHome[p.Home] = append(byHome[p.Home], p)
		}
	}
	var out []homeView
	for id, list := range byHome {
		slices.SortFunc(list, func(a, b coordinator.Person) int {
			return cmp.Or(b.Joined.Compare(a.Joined), cmp.Compare(a.ID, b.ID))
		})
		h := homeView{Name: people.Homes[id].Name}
		for i := range list {
			h.Residents = append(h.Residents, residentView{list[i].ID, residentName(l, &list[i])})
		}
		out = append(out, h)
	}
	slices.SortFunc(out, func(a, b homeView) int {
		return cmp.Or(cmp.Compare(len(a.Name), len(b.Name)), cmp.Compare(a.Name, b.Name))
	})
	return out
}

// residentName is the name that somebody gave, or since when they are known.
func residentName(l *words.Language, p *coordinator.Person) string {
	if p.Name != "" {
		return p.Name
	}
	return l.Say("residents.joined", "at", p.Joined.UTC().Format("2006-01-02"))
}

// residentsPage is for the manager only.
func (s *Server) residentsPage(c echo.Context) error {
	if s.manager(c) == nil {
		return notManager
	}
	return s.showResidents(c, http.StatusOK, residentsView{})
}

func (s *Server) showResidents(c echo.Context, status int, v residentsView) error {
	v.Homes = viewResidents(s.lang(c), s.o.House.People())
	return s.render(c, status, "residents", v)
}

// passFromManager makes a one-time code for a resident who lost their phone, and
// shows it once.
func (s *Server) passFromManager(c echo.Context) error {
	if s.manager(c) == nil {
		return notManager
	}
	f, err := parseForm(c.Request(), field{"person", "Who", 64, false})
	if err != nil {
		return err
	}
	people := s.o.House.People()
	who, ok := people.Persons[coordinator.PersonID(f["person"])]
	if !ok || who.Manager { // a manager's way in is the passphrase
		err = coordinator.Refuse(coordinator.NotFound, "person.unknown", "That person is not known here.")
		_, text, _ := refusal(s.lang(c), err)
		return s.showResidents(c, http.StatusNotFound, residentsView{Problem: &problem{Form: "pass", Text: text}})
	}
	code, err := s.offerPass(c, who.ID)
	if err != nil {
		return err
	}
	pass, err := s.viewPass(code)
	if err != nil {
		return err
	}
	return s.showResidents(c, http.StatusOK, residentsView{
		Pass: pass, Who: residentView{who.ID, residentName(s.lang(c), &who)}, Home: people.Homes[who.Home].Name,
	})
}

// viewPass draws a one-time code: its letters, and what another phone's camera reads.
func (s *Server) viewPass(code string) (*passView, error) {
	address := s.origin + s.base + "/code"
	svg, err := drawQR(address + "?code=" + url.QueryEscape(code))
	if err != nil {
		return nil, err
	}
	return &passView{Code: code, Address: address, QR: htmlText(svg), Minutes: passMinutes}, nil
}
