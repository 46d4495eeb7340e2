package ui

import (
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"slices"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// meView is the visitor's own page.
type meView struct {
	Name, Home, HomeCode string
	Devices              int
	Push, Mail           bool
	Languages            []languageChoice
	Problem              *problem
	Thanks               string
	Browsers             int       // on which the visitor is signed in
	Pass                 *passView // a one-time code made just now
	KeepDays             int       // of history by person
}

// languageChoice is a language that notices can come in.
type languageChoice struct {
	Code, Name, Dir string
	Chosen          bool
}

// languageChoices offers every language under its own name; some are chosen.
func languageChoices(chosen ...*words.Language) []languageChoice {
	var out []languageChoice
	for _, l := range words.All() {
		out = append(out, languageChoice{l.Code(), l.Name(), l.Dir(), slices.Contains(chosen, l)})
	}
	return out
}

// mePage shows what is known of the visitor, and their settings.
func (s *Server) mePage(c echo.Context) error { return s.showMe(c, http.StatusOK, nil) }

func (s *Server) showMe(c echo.Context, status int, p *problem) error {
	who := s.visitor(c)
	if who == nil {
		return s.render(c, status, "me", meView{Problem: p})
	}
	v := s.viewMe(c, who)
	v.Problem = p
	return s.render(c, status, "me", v)
}

// viewMe gathers the page of a resident.
func (s *Server) viewMe(c echo.Context, who *coordinator.Person) meView {
	people := s.o.House.People()
	home := people.Homes[who.Home]
	v := meView{
		Name: who.Name, Home: home.Name, Devices: len(people.Devices(who.ID)),
		Push: s.o.VAPIDKey != "", Mail: s.o.Letters != nil, Languages: languageChoices(s.lang(c)), Thanks: s.thanks(c),
		KeepDays: s.keepDays(),
	}
	if !s.openHomes() {
		v.HomeCode = home.Code // elsewhere it opens nothing
	}
	for _, b := range people.Sessions {
		if b.Person == who.ID && s.o.House.Now().Before(b.Expires) {
			v.Browsers++
		}
	}
	return v
}

// addDevice takes a resident's subscription.
func (s *Server) addDevice(c echo.Context) error { return s.subscribe(c, s.visitor(c)) }

// addManagerDevice takes the manager's.
func (s *Server) addManagerDevice(c echo.Context) error { return s.subscribe(c, s.manager(c)) }

// subscribe stores a device. The script and the worker send it; there is no
// page to go back to.
func (s *Server) subscribe(c echo.Context, who *coordinator.Person) error {
	if who == nil {
		return signedOut
	}
	if s.o.ValidateSubscription == nil {
		return coordinator.Refuse(coordinator.Conflict, "no-push", "This building sends no notices to phones.")
	}
	f, err := parseForm(c.Request(), field{"endpoint", "Endpoint", 2048, false},
		field{"p256dh", "Key", 200, false}, field{"auth", "Secret", 100, false}, field{"old", "Endpoint before", 2048, false})
	if err != nil {
		return err
	}
	sum := sha256.Sum256([]byte(f["endpoint"]))
	sub := coordinator.Subscription{
		ID: base64.RawURLEncoding.EncodeToString(sum[:18]), Person: who.ID, Endpoint: f["endpoint"],
		P256dh: f["p256dh"], Auth: f["auth"], Made: s.o.House.Now(),
	}
	if err := s.o.ValidateSubscription(&sub); err != nil {
		s.o.Log.Warn("a device was refused", "err", err)
		if _, _, known := refusal(s.lang(c), err); known {
			return err
		}
		return coordinator.Refuse(coordinator.Invalid, "bad-device", "Notices cannot be sent to this device: {why}", "why", err)
	}
	old := ""
	if f["old"] != "" && s.o.SubscriptionID != nil {
		old = s.o.SubscriptionID(f["old"])
	}
	if err := s.o.House.DoPeople(c.Request().Context(), coordinator.Subscribe{Subscription: sub, Old: old}); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

// dropDevices switches notices off on every device of the person.
func (s *Server) dropDevices(c echo.Context) error {
	who := s.visitor(c)
	if who == nil {
		return signedOut
	}
	if _, err := parseForm(c.Request()); err != nil {
		return err
	}
	for _, d := range s.o.House.People().Devices(who.ID) {
		ev := coordinator.Unsubscribe{Person: who.ID, ID: d.ID}
		if err := s.o.House.DoPeople(c.Request().Context(), ev); err != nil {
			return err
		}
	}
	return s.redirect(c, "/me")
}

// signOut ends this browser's session.
func (s *Server) signOut(c echo.Context) error { return s.endSession(c, s.cookies.resident, "/") }

// managerSignOut ends the manager's.
func (s *Server) managerSignOut(c echo.Context) error {
	return s.endSession(c, s.cookies.manager, "/manager")
}

func (s *Server) endSession(c echo.Context, cookie, to string) error {
	if _, err := parseForm(c.Request()); err != nil {
		return err
	}
	if hash := sessionHash(c, cookie); s.personOf(hash) != nil {
		if err := s.o.House.DoPeople(c.Request().Context(), coordinator.SignOut{SessionHash: hash}); err != nil {
			return err
		}
	}
	s.setCookie(c, cookie, "", 0)
	return s.redirect(c, to)
}

// keepDays is for how many days the rooms keep history by person, the longest of
// them.
func (s *Server) keepDays() int {
	days := 0
	for _, room := range s.o.House.Rooms() {
		if snap := s.o.House.Snapshot(room); snap != nil {
			days = max(days, snap.Rules.KeepDays)
		}
	}
	return days
}

// forgetMe removes the person; with "past", also from what the history says of
// past loads. The rooms are told who left: turns end there, loads are nobody's.
func (s *Server) forgetMe(c echo.Context) error {
	who := s.visitor(c)
	if who == nil {
		return signedOut
	}
	f, err := parseForm(c.Request(), field{"sure", "Yes, forget me", 3, false}, field{"past", "Also past loads", 3, false})
	if err == nil && f["sure"] != "yes" {
		err = invalid("sure", "Please tick the box first: this cannot be undone.")
	}
	if err != nil {
		_, text, _ := refusal(s.lang(c), err)
		return s.showMe(c, http.StatusUnprocessableEntity, &problem{Form: "forget", Text: text})
	}
	ev := coordinator.Forget{Person: who.ID, Erase: f["past"] == "yes"}
	if err := s.o.House.DoPeople(c.Request().Context(), ev); err != nil {
		return err
	}
	s.setCookie(c, s.cookies.resident, "", 0)
	return s.redirect(c, "/")
}
