package ui

import (
	"net/http"
	"net/url"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// residentName is the name that somebody gave, or since when they are known.
func residentName(l *words.Language, p *coordinator.Person) string {
	if p.Name != "" {
		return p.Name
	}
	return l.Say("residents.joined", "at", datedDay(l, p.Joined.UTC()))
}

// residentsPage is where the list of residents was: they are on the page about
// homes and people.
func (s *Server) residentsPage(c echo.Context) error {
	if s.manager(c) == nil {
		return notManager
	}
	return s.redirect(c, "/manager/people")
}

// passFromManager makes a one-time code for a resident who lost their phone, and
// shows it once.
func (s *Server) passFromManager(c echo.Context) error {
	by := s.manager(c)
	if by == nil {
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
		return s.showPeople(c, http.StatusNotFound, &problem{Form: "pass", Text: text}, handed{})
	}
	code, err := s.offerPass(c, who.ID, by.ID)
	if err != nil {
		return err
	}
	pass, err := s.viewPass(code)
	if err != nil {
		return err
	}
	return s.showPeople(c, http.StatusOK, nil, handed{Pass: pass, Who: residentName(s.lang(c), &who), Home: people.Homes[who.Home].Name})
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
