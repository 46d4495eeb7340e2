package ui

import (
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

// joinView is the door: an invitation code and a home make a resident.
type joinView struct {
	Name, Link string
	Open       bool // residents name their home themselves
	Scanned    bool // the code came along with the address: there is nothing to type
	Guest      bool // the code is for guests of a home: no home is asked for
	Typed      form
	Problem    string
}

// joinPage shows the form; the code on the wall brings its own code along.
func (s *Server) joinPage(c echo.Context) error {
	sc, err := s.sceneOf(c)
	if err != nil {
		return err
	}
	if s.visitor(c) != nil {
		return s.redirect(c, roomPath(sc.snap.Room))
	}
	v := joinForm(sc, form{"code": scannedCode(c)}, "")
	// Without a limit the page would tell which codes are right.
	v.Guest = v.Typed["code"] != "" && s.limits.code.allow(limitKey(c.RealIP()), time.Now()) && s.forGuests(sc, v.Typed["code"])
	return s.render(c, http.StatusOK, "join", v)
}

// scannedCode is the code that an address brings along; empty for none.
func scannedCode(c echo.Context) string {
	code := c.QueryParam("code")
	if len(code) > 64 {
		return ""
	}
	return code
}

func joinForm(sc *scene, typed form, problem string) joinView {
	return joinView{Name: sc.snap.Name, Link: roomPath(sc.snap.Room), Open: sc.snap.Rules.OpenHomes, Typed: typed, Problem: problem}
}

// forGuests reports whether a code is one for guests of a home.
func (s *Server) forGuests(sc *scene, code string) bool {
	_, ok := s.o.House.People().GuestByCode(sc.snap.Room, code)
	return ok
}

// join makes the person, and gives the browser its secret.
func (s *Server) join(c echo.Context) error {
	sc, err := s.sceneOf(c)
	if err != nil {
		return err
	}
	f, err := parseForm(c.Request(), field{"code", "Code on the wall", 64, false}, field{"home", "Home", 40, false},
		field{"home-code", "Code of the home", 64, false}, field{"name", "Name", 40, false})
	secret := ""
	if err == nil && !s.limits.join.allow(limitKey(c.RealIP()), time.Now()) {
		err = tooMany
	}
	if err == nil && !s.forGuests(sc, f["code"]) {
		err = joinProblem(sc, f)
	}
	if err == nil {
		secret, err = s.enter(c, sc, f)
	}
	if err == nil {
		s.setCookie(c, s.cookies.resident, secret, residentDays)
		return s.redirect(c, roomPath(sc.snap.Room)+"?done=joined")
	}
	status, text, known := refusal(s.lang(c), err)
	if !known {
		return err
	}
	v := joinForm(sc, f, text)
	v.Guest = s.forGuests(sc, f["code"])
	return s.render(c, status, "join", v)
}

// joinProblem finds what is plainly missing, before anybody is asked.
func joinProblem(sc *scene, f form) error {
	switch {
	case f["code"] == "":
		return invalid("join-code", "Please type the code that hangs on the laundry room's wall.")
	case sc.snap.Rules.OpenHomes && f["home"] == "":
		return invalid("join-home", "Please say which home you belong to: the number or name on your door.")
	case !sc.snap.Rules.OpenHomes && f["home-code"] == "":
		return invalid("join-home-code", "Please type the code that your home was given on paper.")
	}
	return nil
}

// enter sends the event; the answer is the secret for the cookie.
func (s *Server) enter(c echo.Context, sc *scene, f form) (string, error) {
	secret, hash, err := s.newSecret()
	if err != nil {
		return "", err
	}
	person, err := s.newID("p")
	if err != nil {
		return "", err
	}
	homeCode, err := s.newCode(invitationLetters)
	if err != nil {
		return "", err
	}
	return secret, s.o.House.DoPeople(c.Request().Context(), coordinator.JoinBuilding{
		Room: sc.snap.Room, Code: f["code"], HomeName: f["home"], HomeCode: f["home-code"],
		Open: sc.snap.Rules.OpenHomes, Name: f["name"], Lang: s.lang(c).Code(),
		NewID: coordinator.PersonID(person), NewHomeCode: homeCode,
		SessionHash: hash, Expires: s.expiry(residentDays),
	})
}
