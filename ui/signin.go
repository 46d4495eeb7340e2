package ui

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/ui/passkey"
)

// signInView is the manager's door.
type signInView struct {
	Problem string
	First   bool // nobody is a manager yet
	Names   bool // several managers have passphrases: say who you are
	Name    string
	Passkey bool
	NoKeys  string // why there are no passkeys here; empty when there may be
}

// showSignIn shows the door.
func (s *Server) showSignIn(c echo.Context, status int, v signInView) error {
	people := s.o.House.People()
	v.First, v.Names, v.Passkey = !people.HasManager(), len(withPassphrase(people)) > 1, s.door != nil
	v.NoKeys = s.noKeys(c)
	return s.render(c, status, "sign-in", v)
}

// noKeys says why there are no passkeys here; empty when there may be.
func (s *Server) noKeys(c echo.Context) string {
	switch s.noDoor {
	case passkey.PlainHTTP:
		return s.lang(c).Say("keys.plain-http")
	case passkey.NoName:
		return s.lang(c).Say("keys.no-name")
	}
	return ""
}

// withPassphrase lists the managers who can sign in by one.
func withPassphrase(people *coordinator.People) []coordinator.WayIn {
	var out []coordinator.WayIn
	for _, m := range people.Managers() {
		if w := people.WaysIn[m.ID]; w.Passphrase != "" {
			out = append(out, w)
		}
	}
	return out
}

// signIn checks the passphrase. Its session is always a new one, so that
// nobody can plant one beforehand.
func (s *Server) signIn(c echo.Context) error {
	f, err := parseForm(c.Request(), field{"name", "Name", 60, false}, field{"passphrase", "Passphrase", maxPassphrase, true})
	if err == nil {
		err = s.openManager(c, f)
	}
	if err == nil {
		return s.redirect(c, "/manager")
	}
	status, text, known := refusal(s.lang(c), err)
	if !known {
		return err
	}
	return s.showSignIn(c, status, signInView{Problem: text, Name: f["name"]})
}

// nobodysPHC is what a passphrase is compared with where there is no manager of the
// name that was typed, so that the answer takes as long. Its key is made up: nobody
// knows a passphrase that gives it.
const nobodysPHC = "$argon2id$v=19$m=19456,t=2,p=1$b5t1XQyVnYFRZkLpXo9Ziw$N0b6cLqk9rJmYHbZtQmT6o4vS0JkqW3s8wq7m3d2q1E"

func (s *Server) openManager(c echo.Context, f form) error {
	people := s.o.House.People()
	way := wayOf(people, f["name"])
	if !people.HasManager() {
		if err := s.mayGuess(c, way); err != nil {
			return err
		}
		return coordinator.Refuse(coordinator.Conflict, "no-passphrase",
			"No passphrase has been set yet. Use the one-time link that the program printed when it started.")
	}
	if err := s.rightPassphrase(c, way, f["passphrase"]); err != nil {
		return err
	}
	return s.enterManager(c, coordinator.SignInManager{Person: way.Person})
}

// rightPassphrase says whether a passphrase is the manager's, as far as somebody
// may still guess.
func (s *Server) rightPassphrase(c echo.Context, way coordinator.WayIn, passphrase string) error {
	if err := s.mayGuess(c, way); err != nil {
		return err
	}
	phc := way.Passphrase
	if phc == "" {
		phc = nobodysPHC
	}
	ok, err := s.checkPassphrase(c.Request().Context(), phc, passphrase)
	if err != nil {
		return err
	}
	if !ok || way.Passphrase == "" {
		s.o.Log.Warn("a wrong passphrase of a manager was typed", "from", limitKey(c.RealIP()))
		return coordinator.Refuse(coordinator.NotAllowed, "wrong-passphrase", "This is not the passphrase.")
	}
	s.limits.wrong.right(account(way))
	return nil
}

// wayOf finds who wants to sign in: by name, or the only one who has a passphrase.
func wayOf(people *coordinator.People, name string) coordinator.WayIn {
	if all := withPassphrase(people); name == "" && len(all) == 1 {
		return all[0]
	}
	m, _ := people.ManagerNamed(name)
	return people.WaysIn[m.ID]
}

// account is what guesses are counted by; those at nobody count together.
func account(way coordinator.WayIn) string { return "manager " + string(way.Person) }

// mayGuess takes a guess from the allowances. A browser on which this manager
// signed in before has one of its own: whatever others guess, from wherever, it
// does not keep the manager out.
func (s *Server) mayGuess(c echo.Context, way coordinator.WayIn) error {
	now := time.Now()
	if known := s.knownTo(c, way); known != "" {
		if !s.limits.known.allow(known, now) {
			return tooMany
		}
		return nil
	}
	if !s.limits.signIn.allow(limitKey(c.RealIP()), now) {
		return tooMany
	}
	if wait := s.limits.wrong.guess(account(way), now); wait > 0 {
		c.Response().Header().Set("Retry-After", strconv.Itoa(int(wait/time.Second)+1))
		return tooManyGuesses(wait)
	}
	return nil
}

// knownTo is by what a browser is known to be a manager's: the mark of an earlier
// sign-in, or the session that it has; empty when it is not.
func (s *Server) knownTo(c echo.Context, way coordinator.WayIn) string {
	if known := sessionHash(c, s.cookies.known); way.Knows(known) {
		return known
	}
	session := sessionHash(c, s.cookies.manager)
	if p := s.personOf(session); p != nil && p.ID == way.Person {
		return session
	}
	return ""
}

// tooManyGuesses is the refusal of a guess at an account before its time.
func tooManyGuesses(wait time.Duration) error {
	return &statusError{
		http.StatusTooManyRequests, "guesses",
		"Too many wrong passphrases were typed for this name. The next is taken in {wait}. A passkey, and a browser on which you have signed in before, are let in meanwhile.",
		[]any{"wait", (wait + time.Second).Truncate(time.Second)},
	}
}

// enterManager opens the session, and marks the browser as known.
func (s *Server) enterManager(c echo.Context, ev coordinator.SignInManager) error {
	return s.openSession(c, func(session coordinator.NewSession, known string) coordinator.PeopleEvent {
		ev.NewSession, ev.Old, ev.Known = session, sessionHash(c, s.cookies.manager), known
		return ev
	})
}

// openSession tells the people what opens a manager's session, and gives the
// browser its cookies: a new one for the session always, and one that outlives it
// where the browser has none. known is that one's hash.
func (s *Server) openSession(c echo.Context, event func(session coordinator.NewSession, known string) coordinator.PeopleEvent) error {
	secret, session, err := s.newManagerSession(c)
	if err != nil {
		return err
	}
	mark, known := "", sessionHash(c, s.cookies.known)
	if known == "" {
		if mark, known, err = s.newSecret(); err != nil {
			return err
		}
	}
	if err := s.o.House.DoPeople(c.Request().Context(), event(session, known)); err != nil {
		return err
	}
	s.setCookie(c, s.cookies.manager, secret, managerDays)
	replaceCookie(c.Request(), s.cookies.manager, secret)
	if mark != "" {
		s.setCookie(c, s.cookies.known, mark, residentDays)
	}
	return nil
}

// jsonOptions is what a page's script is to ask the browser.
type jsonOptions struct {
	Ticket  string  `json:"ticket"`
	Options rawJSON `json:"options"`
}

// rawJSON is JSON that is made already.
type rawJSON []byte

// MarshalJSON implements json.Marshaler.
func (r rawJSON) MarshalJSON() ([]byte, error) { return r, nil }

// source is whose challenges are whose: a known browser's, or those of an address.
func (s *Server) source(c echo.Context) string {
	if known := sessionHash(c, s.cookies.known); known != "" && s.knowsAny(known) {
		return "browser " + known
	}
	return "from " + limitKey(c.RealIP())
}

func (s *Server) knowsAny(known string) bool {
	for _, w := range s.o.House.People().WaysIn {
		if w.Knows(known) {
			return true
		}
	}
	return false
}

// noDoorHere is the refusal where there can be no passkeys.
var noDoorHere = coordinator.Refuse(coordinator.Conflict, "no-passkeys", "This address can have no passkeys.")

// beginPasskey gives a challenge to sign in by.
func (s *Server) beginPasskey(c echo.Context) error { return s.challengeFor(c, s.source(c)) }

// challengeFor gives a challenge that source may answer.
func (s *Server) challengeFor(c echo.Context, source string) error {
	_, err := parseForm(c.Request())
	switch {
	case err != nil:
	case s.door == nil:
		err = noDoorHere
	case !s.limits.passkey.allow(s.source(c), time.Now()):
		err = tooMany
	}
	if err != nil {
		return s.answerPlain(c, err)
	}
	options, ticket, err := s.door.BeginSignIn(source, time.Now())
	if err != nil {
		return err
	}
	return s.answerOptions(c, options, ticket)
}

func (s *Server) answerOptions(c echo.Context, options []byte, ticket string) error {
	c.Response().Header().Set("Cache-Control", "no-store")
	return c.JSON(http.StatusOK, jsonOptions{ticket, options})
}

// passkeyIn takes the answer to it.
func (s *Server) passkeyIn(c echo.Context) error { return s.answerFrom(c, s.source(c), "") }

// answerFrom takes the answer of source to its challenge, by a passkey of one
// manager, or of any where who is empty.
func (s *Server) answerFrom(c echo.Context, source string, who coordinator.PersonID) error {
	f, err := parseForm(c.Request(), field{"ticket", "Ticket", 64, false}, field{"answer", "Answer", 12_000, false})
	switch {
	case err != nil:
	case s.door == nil:
		err = noDoorHere
	case !s.limits.passkey.allow(s.source(c), time.Now()):
		err = tooMany
	default:
		err = s.openByPasskey(c, f, source, who)
	}
	if err != nil {
		return s.answerPlain(c, err)
	}
	return c.NoContent(http.StatusNoContent)
}

func (s *Server) openByPasskey(c echo.Context, f form, source string, who coordinator.PersonID) error {
	people := s.o.House.People()
	var way coordinator.WayIn
	_, key, err := s.door.FinishSignIn(source, f["ticket"], []byte(f["answer"]), func(handle string) (passkey.User, bool) {
		var ok bool
		way, ok = people.ByHandle(handle)
		return keysOf(people, way), ok && (who == "" || way.Person == who)
	}, time.Now())
	if err != nil {
		return s.passkeyRefusal(c, err)
	}
	if key.Suspect {
		s.o.Log.Warn("a passkey's counter went back: it may have been copied", "manager", way.Person, "from", limitKey(c.RealIP()))
		err := s.o.House.DoPeople(context.WithoutCancel(c.Request().Context()), coordinator.SuspectPasskey{Person: way.Person, ID: key.ID})
		return errors.Join(err, coordinator.Refuse(coordinator.NotAllowed, "passkey-copied",
			"This passkey may have been copied, so it opens nothing any more. Sign in another way, remove it, and add a new one."))
	}
	return s.enterManager(c, coordinator.SignInManager{Person: way.Person, Key: key.ID, Record: key.Record})
}

// keysOf is a manager as the passkeys' door wants to see them. A suspect key is
// not among what can sign in.
func keysOf(people *coordinator.People, way coordinator.WayIn) passkey.User {
	u := passkey.User{Handle: way.Handle, Name: people.Persons[way.Person].Name}
	for _, k := range way.Keys {
		if !k.Suspect {
			u.Keys = append(u.Keys, passkey.Key{ID: k.ID, Record: k.Record})
		}
	}
	return u
}

// passkeyRefusal is what somebody may read of a ceremony that failed.
func (s *Server) passkeyRefusal(c echo.Context, err error) error {
	switch {
	case errors.Is(err, passkey.ErrOver):
		return coordinator.Refuse(coordinator.Conflict, "passkey-late", "That took too long, or was done already. Please try again.")
	case errors.Is(err, passkey.ErrUnknown):
		return coordinator.Refuse(coordinator.NotAllowed, "passkey.unknown", "That passkey opens nothing here: it was removed, or never was added.")
	case errors.Is(err, passkey.ErrBad):
		s.o.Log.Warn("a passkey's answer was refused", "from", limitKey(c.RealIP()), "err", err)
		return coordinator.Refuse(coordinator.NotAllowed, "passkey-bad", "The answer of the passkey does not hold. Please try again.")
	}
	return err
}

// answerPlain says a refusal to a script, which shows it on its page.
func (s *Server) answerPlain(c echo.Context, err error) error {
	status, text, known := refusal(s.lang(c), err)
	if !known {
		return err
	}
	c.Response().Header().Set("Cache-Control", "no-store")
	return c.String(status, text)
}
