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
	Passkey              bool   // passkeys are possible here
	NoKeys               string // why they are not
}

// entrance is one of the two kinds of one-time link by which somebody becomes a manager.
type entrance struct {
	view firstView
	// check says whether the link whose token has a hash holds.
	check func(hash string) error
	// event is what makes the manager.
	event func(newcomer) coordinator.PeopleEvent
}

// newcomer is who comes in by it.
type newcomer struct {
	hash, name string
	passphrase string // argon2id hash in PHC form; empty for none
	key        coordinator.NewKey
	id         coordinator.PersonID
	session    coordinator.NewSession
}

// firstEntrance is the link that the program prints when it starts.
func (s *Server) firstEntrance() entrance {
	return entrance{firstView{Path: "/manager/first"}, func(hash string) error {
		if s.firstUsed() || hash != s.o.House.People().FirstToken {
			return coordinator.Refuse(coordinator.NotAllowed, "first-link",
				"This one-time link does not hold any more. Start the program anew to get another, or sign in.")
		}
		return nil
	}, func(n newcomer) coordinator.PeopleEvent {
		return coordinator.FirstManager{TokenHash: n.hash, Name: n.name, Passphrase: n.passphrase, NewKey: n.key, NewID: n.id, NewSession: n.session}
	}}
}

// invitedEntrance is the link that a manager makes for another.
func (s *Server) invitedEntrance() entrance {
	return entrance{firstView{Path: "/manager/invited", Invited: true}, func(hash string) error {
		if _, ok := s.o.House.People().InviteOf(hash, s.o.House.Now()); !ok {
			return errInvite
		}
		return nil
	}, func(n newcomer) coordinator.PeopleEvent {
		return coordinator.TakeManagerInvite{Hash: n.hash, Passphrase: n.passphrase, NewKey: n.key, NewID: n.id, NewSession: n.session}
	}}
}

// showFirst shows the page behind a link.
func (s *Server) showFirst(c echo.Context, status int, v firstView) error {
	v.Passkey, v.NoKeys = s.door != nil, s.noKeys(c)
	return s.render(c, status, "first", v)
}

// firstPage asks for the first manager's name and way in.
func (s *Server) firstPage(c echo.Context) error {
	return s.showFirst(c, http.StatusOK, firstView{Token: linkToken(c), Path: "/manager/first", Used: s.firstUsed()})
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

// errInvite is the refusal of a link that does not hold.
var errInvite = coordinator.Refuse(coordinator.NotAllowed, "invite.over",
	"This one-time link was used, taken back, or has run out. Ask a manager for another.")

// invitedPage asks an invited manager for a way in.
func (s *Server) invitedPage(c echo.Context) error {
	v := firstView{Token: linkToken(c), Path: "/manager/invited", Invited: true}
	invite, ok := s.o.House.People().InviteOf(hashSecret(v.Token), s.o.House.Now())
	if !ok {
		_, v.Problem, _ = refusal(s.lang(c), errInvite)
		v.Used = true
		return s.showFirst(c, http.StatusForbidden, v)
	}
	v.Name = invite.Name
	return s.showFirst(c, http.StatusOK, v)
}

// linkFields are those of every form behind a one-time link.
func linkFields(more ...field) []field {
	return append([]field{{"token", "Link", 128, false}, {"name", "Name", 60, false}}, more...)
}

// byLink answers the form that makes a manager with a passphrase, who is signed in
// then. The token is checked before the costly hash is made.
func (s *Server) byLink(in entrance) echo.HandlerFunc {
	return func(c echo.Context) error {
		f, hash, err := s.linkForm(c, in, field{"passphrase", "Passphrase", maxPassphrase, true}, field{"again", "Passphrase again", maxPassphrase, true})
		if err == nil {
			if p := passphraseProblem(f["passphrase"], f["again"]); p != nil {
				err = p
			}
		}
		n := newcomer{hash: hash, name: f["name"]}
		if err == nil {
			n.passphrase, err = s.hashPassphrase(c.Request().Context(), f["passphrase"])
		}
		if err == nil {
			err = s.makeManager(c, in, n)
		}
		if err == nil {
			return s.redirect(c, "/manager")
		}
		return s.refuseLink(c, in, f, err)
	}
}

// linkForm reads a form behind a link, and says whether the link holds.
func (s *Server) linkForm(c echo.Context, in entrance, more ...field) (f form, hash string, err error) {
	f, err = parseForm(c.Request(), linkFields(more...)...)
	if err == nil && !s.limits.first.allow(limitKey(c.RealIP()), time.Now()) {
		err = tooMany
	}
	hash = hashSecret(f["token"])
	if err == nil {
		err = in.check(hash)
	}
	return f, hash, err
}

// refuseLink shows the page again, with what is wrong.
func (s *Server) refuseLink(c echo.Context, in entrance, f form, err error) error {
	status, text, known := refusal(s.lang(c), err)
	if !known {
		return err
	}
	v := in.view
	v.Token, v.Name, v.Problem = f["token"], f["name"], text
	var refused *coordinator.Error
	if errors.As(err, &refused) {
		v.Used = !v.Invited && s.firstUsed() || refused.Key == "invite.over"
	}
	return s.showFirst(c, status, v)
}

// makeManager makes the manager and signs in.
func (s *Server) makeManager(c echo.Context, in entrance, n newcomer) error {
	id, err := s.newID("p")
	if err != nil {
		return err
	}
	n.id = coordinator.PersonID(id)
	return s.openSession(c, func(session coordinator.NewSession, known string) coordinator.PeopleEvent {
		n.session, n.key.Known = session, known
		return in.event(n)
	})
}
