package ui

import (
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/ui/passkey"
)

// Whoever comes by a one-time link can start with a passkey alone. The ceremony
// belongs to the link, since there is neither a session nor a manager yet.

// beginLinkKey gives the page's script what to ask the browser for.
func (s *Server) beginLinkKey(in entrance) echo.HandlerFunc {
	return func(c echo.Context) error {
		f, hash, err := s.linkForm(c, in)
		if err == nil && s.door == nil {
			err = noDoorHere
		}
		if err != nil {
			return s.answerPlain(c, err)
		}
		options, ticket, err := s.door.BeginRegistration(linkHolder(hash), s.newcomerUser(c, f, hash), time.Now())
		if err != nil {
			return err
		}
		return s.answerOptions(c, options, ticket)
	}
}

// byLinkKey takes the browser's answer, makes the manager and signs in.
func (s *Server) byLinkKey(in entrance) echo.HandlerFunc {
	return func(c echo.Context) error {
		f, hash, err := s.linkForm(c, in, field{"ticket", "Ticket", 64, false}, field{"answer", "Answer", 12_000, false})
		switch {
		case err != nil:
		case s.door == nil:
			err = noDoorHere
		default:
			err = s.startWithKey(c, in, f, hash)
		}
		if err != nil {
			return s.answerPlain(c, err)
		}
		return c.NoContent(http.StatusNoContent)
	}
}

func (s *Server) startWithKey(c echo.Context, in entrance, f form, hash string) error {
	u := s.newcomerUser(c, f, hash)
	key, err := s.door.FinishRegistration(linkHolder(hash), f["ticket"], u, []byte(f["answer"]), time.Now())
	if err != nil {
		return s.passkeyRefusal(c, err)
	}
	name := deviceWords(s.lang(c), agentFamily(c.Request().UserAgent()))
	return s.makeManager(c, in, newcomer{hash: hash, name: f["name"], key: coordinator.NewKey{
		Handle: u.Handle, Key: coordinator.Passkey{ID: key.ID, Name: name, Record: key.Record},
	}})
}

// linkHolder is whose the challenges of a link are.
func linkHolder(hash string) string { return "link " + hash }

// newcomerUser is who comes by a link as the passkeys' door wants to see them.
func (s *Server) newcomerUser(c echo.Context, f form, hash string) passkey.User {
	u := passkey.User{Handle: s.newHandle(coordinator.PersonID(linkHolder(hash))), Name: f["name"]}
	if invite, ok := s.o.House.People().InviteOf(hash, s.o.House.Now()); ok {
		u.Name = invite.Name
	}
	if u.Name == "" {
		u.Name = s.lang(c).Say("keys.for-manager")
	}
	return u
}
