package ui

import (
	"bytes"
	"io"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

// proofHolds is for how long having signed in is proof enough for what could be
// turned against the manager by somebody who finds the page open.
const proofHolds = 10 * time.Minute

// proofField is what the page that asks again adds to the form that it carries.
const proofField = "proof"

// proveView is the page that asks a manager to sign in once more.
type proveView struct {
	Action     string      // where the form goes, with the base
	Kept       []keptField // what was typed
	Minutes    int
	Passphrase bool
	Passkey    bool
	Problem    string
	Page       bool // it stands before a page, which takes no form
}

type keptField struct{ Name, Value string }

// fresh reports whether the manager has signed in lately.
func (s *Server) fresh(c echo.Context) bool {
	v, ok := s.o.House.People().Sessions[sessionHash(c, s.cookies.manager)]
	return ok && s.o.House.Now().Sub(v.Made) < proofHolds
}

// always is for forms that need a fresh sign-in whatever they say.
func always(url.Values) bool { return true }

// whenDo is for forms that need it when one of these of their buttons is pressed.
func whenDo(buttons ...string) func(url.Values) bool {
	return func(f url.Values) bool { return slices.Contains(buttons, f.Get("do")) }
}

// proved puts a fresh sign-in before a form. Who has none is asked on a page that
// carries the form along, and comes here again with it: as soon as the proof
// holds, what was asked is done.
func (s *Server) proved(h echo.HandlerFunc, needs func(url.Values) bool) echo.HandlerFunc {
	return func(c echo.Context) error {
		who := s.manager(c)
		if who == nil {
			return h(c) // which says so
		}
		values, proof, ok := takeProof(c.Request())
		if !ok || s.fresh(c) || !needs(values) {
			return h(c)
		}
		if proof == "" {
			return s.askProof(c, who, values, http.StatusForbidden, "")
		}
		if err := s.proveByPassphrase(c, who, proof); err != nil {
			status, text, known := refusal(s.lang(c), err)
			if !known {
				return err
			}
			return s.askProof(c, who, values, status, text)
		}
		return h(c)
	}
}

// provedPage puts a fresh sign-in before a page that shows secrets. The page that
// asks carries an empty form to the same address, where opened brings back to it:
// no proof ever stands in an address.
func (s *Server) provedPage(h echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		who := s.manager(c)
		if who == nil || s.fresh(c) {
			return h(c)
		}
		return s.askProof(c, who, nil, http.StatusForbidden, "")
	}
}

// opened is where the proof of a page leads: to the page.
func (s *Server) opened(c echo.Context) error {
	if s.manager(c) == nil {
		return notManager
	}
	if _, err := parseForm(c.Request()); err != nil {
		return err
	}
	return s.redirect(c, strings.TrimPrefix(c.Request().URL.Path, s.base))
}

// takeProof reads a form and takes the proof out of it; the handler behind finds
// the rest as if nobody had read it. ok is false for what is no form.
func takeProof(r *http.Request) (values url.Values, proof string, ok bool) {
	if !strings.HasPrefix(r.Header.Get("Content-Type"), "application/x-www-form-urlencoded") {
		return nil, "", false
	}
	body, err := io.ReadAll(io.LimitReader(r.Body, maxForm+1))
	r.Body = io.NopCloser(io.MultiReader(bytes.NewReader(body), r.Body))
	if err != nil || len(body) > maxForm {
		return nil, "", false
	}
	if values, err = url.ParseQuery(string(body)); err != nil {
		return nil, "", false
	}
	proof = values.Get(proofField)
	values.Del(proofField)
	r.Body = io.NopCloser(strings.NewReader(values.Encode()))
	return values, proof, true
}

// askProof shows the page that asks.
func (s *Server) askProof(c echo.Context, who *coordinator.Person, values url.Values, status int, problem string) error {
	way := s.o.House.People().WaysIn[who.ID]
	v := proveView{
		Action: s.base + c.Request().URL.Path, Minutes: int(proofHolds / time.Minute), Problem: problem,
		Passphrase: way.Passphrase != "", Passkey: s.door != nil && way.HasKey(),
		Page: len(values) == 0,
	}
	for _, name := range slices.Sorted(maps.Keys(values)) {
		for _, value := range values[name] {
			v.Kept = append(v.Kept, keptField{name, value})
		}
	}
	return s.render(c, status, "prove", v)
}

// proveByPassphrase signs the manager in anew: the session that was there ends.
func (s *Server) proveByPassphrase(c echo.Context, who *coordinator.Person, passphrase string) error {
	way := s.o.House.People().WaysIn[who.ID]
	if len(passphrase) > 4*maxPassphrase {
		return coordinator.Refuse(coordinator.NotAllowed, "wrong-passphrase", "This is not the passphrase.")
	}
	if err := s.rightPassphrase(c, way, passphrase); err != nil {
		return err
	}
	return s.enterManager(c, coordinator.SignInManager{Person: who.ID})
}

// beginProof gives a challenge to the page that asks.
func (s *Server) beginProof(c echo.Context) error {
	if s.manager(c) == nil {
		return s.answerPlain(c, notManager)
	}
	return s.challengeFor(c, s.proofSource(c))
}

// proofByKey takes the answer to it: only that of a passkey of the manager's own.
func (s *Server) proofByKey(c echo.Context) error {
	who := s.manager(c)
	if who == nil {
		return s.answerPlain(c, notManager)
	}
	return s.answerFrom(c, s.proofSource(c), who.ID)
}

// proofSource is whose challenges are those of a session.
func (s *Server) proofSource(c echo.Context) string {
	return "prove " + sessionHash(c, s.cookies.manager)
}

// replaceCookie makes what follows in the same request see the cookie's new value.
func replaceCookie(r *http.Request, name, value string) {
	others := r.Cookies()
	r.Header.Del("Cookie")
	for _, cookie := range others {
		if cookie.Name != name {
			r.AddCookie(cookie)
		}
	}
	r.AddCookie(&http.Cookie{Name: name, Value: value})
}

// errProve is the refusal to a script; it then sends its form in the ordinary way.
var errProve = &statusError{http.StatusUnauthorized, "prove", "Please sign in once more first.", nil}
