package ui

import (
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/ui/passkey"
)

// keyFields are those of the form by which a passkey is added.
func keyFields() []field {
	return []field{{"do", "What to do", 20, false}, {"name", "Name", 60, false}}
}

// beginKey gives the manager's script what to ask the browser for a new passkey.
func (s *Server) beginKey(c echo.Context) error {
	who := s.manager(c)
	_, err := parseForm(c.Request(), keyFields()...)
	switch {
	case err != nil:
	case who == nil:
		err = notManager
	case s.door == nil:
		err = noDoorHere
	case !s.fresh(c):
		err = errProve
	}
	if err != nil {
		return s.answerPlain(c, err)
	}
	options, ticket, err := s.door.BeginRegistration(sessionHash(c, s.cookies.manager), s.handled(who), time.Now())
	if err != nil {
		return err
	}
	return s.answerOptions(c, options, ticket)
}

// handled is a manager with a user handle, made up where there is none yet.
func (s *Server) handled(who *coordinator.Person) passkey.User {
	people := s.o.House.People()
	u := keysOf(people, people.WaysIn[who.ID])
	u.Name = who.Name
	if u.Handle == "" {
		u.Handle = s.newHandle(who.ID)
	}
	return u
}

// addKey takes the browser's answer.
func (s *Server) addKey(c echo.Context) error {
	who := s.manager(c)
	f, err := parseForm(c.Request(), append(keyFields(), field{"ticket", "Ticket", 64, false}, field{"answer", "Answer", 12_000, false})...)
	switch {
	case err != nil:
	case who == nil:
		err = notManager
	case s.door == nil:
		err = noDoorHere
	default:
		err = s.keepKey(c, who, f)
	}
	if err != nil {
		return s.answerPlain(c, err)
	}
	return c.NoContent(http.StatusNoContent)
}

func (s *Server) keepKey(c echo.Context, who *coordinator.Person, f form) error {
	u := s.handled(who)
	key, err := s.door.FinishRegistration(sessionHash(c, s.cookies.manager), f["ticket"], u, []byte(f["answer"]), time.Now())
	if err != nil {
		return s.passkeyRefusal(c, err)
	}
	return s.o.House.DoPeople(c.Request().Context(), coordinator.AddPasskey{
		By: who.ID, Handle: u.Handle, Key: coordinator.Passkey{ID: key.ID, Name: f["name"], Record: key.Record},
	})
}

// newHandle is the user handle that a manager gets with the first passkey, until
// it is stored: the same for as long as the program runs.
func (s *Server) newHandle(who coordinator.PersonID) string {
	handle, _ := s.handles.LoadOrStore(who, passkey.NewHandle())
	return handle.(string)
}
