package ui

import (
	"errors"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

// firstView is the page behind a one-time link: of the first start, or of a
// manager's invitation.
type firstView struct {
	Token, Name, Problem string
	Path                 string // where the form goes, below the base
	Invited              bool
	Used                 bool
}

// firstPage asks for the first manager's name and passphrase.
func (s *Server) firstPage(c echo.Context) error {
	return s.render(c, http.StatusOK, "first", firstView{Token: linkToken(c), Path: "/manager/first", Used: s.firstUsed()})
}

// linkToken is the token in a one-time link.
func linkToken(c echo.Context) string {
	token := c.QueryParam("token")
	if len(token) > 128 {
		return ""
	}
	return token
}

func (s *Server) firstUsed() bool { return s.o.House.People().HasManager() }

// passphraseFields are those of a form that sets a passphrase by a one-time link.
func passphraseFields() []field {
	return []field{
		{"token", "Link", 128, false}, {"name", "Name", 60, false},
		{"passphrase", "Passphrase", maxPassphrase, true}, {"again", "Passphrase again", maxPassphrase, true},
	}
}

// first makes the first manager and signs in. The token is checked before the
// costly hash is made.
func (s *Server) first(c echo.Context) error {
	return s.byLink(c, firstView{Path: "/manager/first"}, func(hash string) error {
		if s.firstUsed() || hash != s.o.House.People().FirstToken {
			return coordinator.Refuse(coordinator.NotAllowed, "first-link",
				"This one-time link does not hold any more. Start the program anew to get another, or sign in.")
		}
		return nil
	}, func(f form, phc, hash string, id coordinator.PersonID, v coordinator.NewSession) coordinator.PeopleEvent {
		return coordinator.SetPassphrase{TokenHash: hash, Name: f["name"], Passphrase: phc, NewID: id, NewSession: v}
	})
}

// errInvite is the refusal of a link that does not hold.
var errInvite = coordinator.Refuse(coordinator.NotAllowed, "invite.over",
	"This one-time link was used, taken back, or has run out. Ask a manager for another.")

// invitedPage asks an invited manager for a passphrase.
func (s *Server) invitedPage(c echo.Context) error {
	v := firstView{Token: linkToken(c), Path: "/manager/invited", Invited: true}
	invite, ok := s.o.House.People().InviteOf(hashSecret(v.Token), s.o.House.Now())
	if !ok {
		_, v.Problem, _ = refusal(s.lang(c), errInvite)
		v.Used = true
		return s.render(c, http.StatusForbidden, "first", v)
	}
	v.Name = invite.Name
	return s.render(c, http.StatusOK, "first", v)
}

// invited makes the manager and signs in.
func (s *Server) invited(c echo.Context) error {
	return s.byLink(c, firstView{Path: "/manager/invited", Invited: true}, func(hash string) error {
		if _, ok := s.o.House.People().InviteOf(hash, s.o.House.Now()); !ok {
			return errInvite
		}
		return nil
	}, func(_ form, phc, hash string, id coordinator.PersonID, v coordinator.NewSession) coordinator.PeopleEvent {
		return coordinator.TakeManagerInvite{Hash: hash, Passphrase: phc, NewID: id, NewSession: v}
	})
}

// byLink makes a manager by a one-time link: check says whether its hash holds,
// event what is to be told.
func (s *Server) byLink(c echo.Context, v firstView, check func(hash string) error,
	event func(f form, phc, hash string, id coordinator.PersonID, session coordinator.NewSession) coordinator.PeopleEvent,
) error {
	f, err := parseForm(c.Request(), passphraseFields()...)
	if err == nil && !s.limits.first.allow(limitKey(c.RealIP()), time.Now()) {
		err = tooMany
	}
	hash := hashSecret(f["token"])
	if err == nil {
		err = check(hash)
	}
	if err == nil {
		if p := passphraseProblem(f["passphrase"], f["again"]); p != nil {
			err = p
		}
	}
	if err == nil {
		err = s.makeManager(c, f, hash, event)
	}
	if err == nil {
		return s.redirect(c, "/manager")
	}
	status, text, known := refusal(s.lang(c), err)
	if !known {
		return err
	}
	v.Token, v.Name, v.Problem = f["token"], f["name"], text
	var refused *coordinator.Error
	if errors.As(err, &refused) {
		v.Used = !v.Invited && s.firstUsed() || refused.Key == "invite.over"
	}
	return s.render(c, status, "first", v)
}

func (s *Server) makeManager(c echo.Context, f form, hash string,
	event func(f form, phc, hash string, id coordinator.PersonID, session coordinator.NewSession) coordinator.PeopleEvent,
) error {
	phc, err := s.hashPassphrase(c.Request().Context(), f["passphrase"])
	if err != nil {
		return err
	}
	secret, session, err := s.newManagerSession(c)
	if err != nil {
		return err
	}
	id, err := s.newID("p")
	if err != nil {
		return err
	}
	if err := s.o.House.DoPeople(c.Request().Context(), event(f, phc, hash, coordinator.PersonID(id), session)); err != nil {
		return err
	}
	s.setCookie(c, s.cookies.manager, secret, managerDays)
	return nil
}
