package ui

import (
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

// firstView is the page behind the one-time link of the first start.
type firstView struct {
	Token, Problem string
	Used           bool
	Least          int // characters of a passphrase
}

// firstPage asks for the manager's passphrase.
func (s *Server) firstPage(c echo.Context) error {
	token := c.QueryParam("token")
	if len(token) > 128 {
		token = ""
	}
	return s.render(c, http.StatusOK, "first", firstView{Token: token, Used: s.firstUsed(), Least: minPassphrase})
}

func (s *Server) firstUsed() bool { return s.o.House.People().Passphrase != "" }

// first sets the passphrase and signs in. The token is checked before the
// costly hash is made.
func (s *Server) first(c echo.Context) error {
	f, err := parseForm(c.Request(), field{"token", "Link", 128, false},
		field{"passphrase", "Passphrase", maxPassphrase, true}, field{"again", "Passphrase again", maxPassphrase, true})
	if err == nil && !s.limits.first.allow(limitKey(c.RealIP()), time.Now()) {
		err = tooMany
	}
	hash := hashSecret(f["token"])
	if err == nil && (s.firstUsed() || hash != s.o.House.People().FirstToken) {
		err = coordinator.Refuse(coordinator.NotAllowed, "first-link",
			"This one-time link does not hold any more. Start the program anew to get another, or sign in.")
	}
	if err == nil {
		if p := passphraseProblem(f["passphrase"], f["again"]); p != nil {
			err = p
		}
	}
	if err == nil {
		err = s.setFirst(c, hash, f["passphrase"])
	}
	if err == nil {
		return s.redirect(c, "/manager")
	}
	status, text, known := refusal(s.lang(c), err)
	if !known {
		return err
	}
	return s.render(c, status, "first", firstView{Token: f["token"], Problem: text, Used: s.firstUsed(), Least: minPassphrase})
}

func (s *Server) setFirst(c echo.Context, tokenHash, passphrase string) error {
	phc, err := s.hashPassphrase(c.Request().Context(), passphrase)
	if err != nil {
		return err
	}
	secret, hash, err := s.newSecret()
	if err != nil {
		return err
	}
	id, err := s.newID("p")
	if err != nil {
		return err
	}
	err = s.o.House.DoPeople(c.Request().Context(), coordinator.SetPassphrase{
		TokenHash: tokenHash, Passphrase: phc, NewID: coordinator.PersonID(id),
		SessionHash: hash, Expires: s.expiry(managerDays),
	})
	if err == nil {
		s.setCookie(c, s.cookies.manager, secret, managerDays)
	}
	return err
}

// signIn checks the passphrase. Its session is always a new one, so that
// nobody can plant one beforehand.
func (s *Server) signIn(c echo.Context) error {
	f, err := parseForm(c.Request(), field{"passphrase", "Passphrase", maxPassphrase, true})
	if err == nil && !s.limits.signIn.allow(limitKey(c.RealIP()), time.Now()) {
		err = tooMany
	}
	if err == nil {
		err = s.openManager(c, f["passphrase"])
	}
	if err == nil {
		return s.redirect(c, "/manager")
	}
	status, text, known := refusal(s.lang(c), err)
	if !known {
		return err
	}
	return s.render(c, status, "sign-in", signInView{Problem: text, First: !s.firstUsed()})
}

// signInView is the manager's door.
type signInView struct {
	Problem string
	First   bool // nobody has set a passphrase yet
}

func (s *Server) openManager(c echo.Context, passphrase string) error {
	phc := s.o.House.People().Passphrase
	if phc == "" {
		return coordinator.Refuse(coordinator.Conflict, "no-passphrase",
			"No passphrase has been set yet. Use the one-time link that the program printed when it started.")
	}
	ok, err := s.checkPassphrase(c.Request().Context(), phc, passphrase)
	if err != nil {
		return err
	}
	if !ok {
		s.o.Log.Warn("a wrong passphrase was typed at the manager's sign-in", "from", limitKey(c.RealIP()))
		return coordinator.Refuse(coordinator.NotAllowed, "wrong-passphrase", "This is not the passphrase.")
	}
	secret, hash, err := s.newSecret()
	if err != nil {
		return err
	}
	err = s.o.House.DoPeople(c.Request().Context(),
		coordinator.SignInManager{SessionHash: hash, Expires: s.expiry(managerDays)})
	if err == nil {
		s.setCookie(c, s.cookies.manager, secret, managerDays)
	}
	return err
}
