package ui

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net/http"
	"slices"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// passFor is how long a one-time code holds: long enough to find the other
// phone, short enough to be useless to whoever reads it later.
const (
	passFor     = 15 * time.Minute
	passMinutes = int(passFor / time.Minute)
)

// passHash is what is stored of a one-time code: the hash of how it is read.
func passHash(code string) string {
	sum := sha256.Sum256([]byte("pass " + coordinator.PlainCode(code)))
	return hex.EncodeToString(sum[:])
}

// offerPass makes a one-time code for a person; by is the manager who does it,
// empty for the person.
func (s *Server) offerPass(c echo.Context, who, by coordinator.PersonID) (string, error) {
	code, err := s.newCode(invitationLetters)
	if err != nil {
		return "", err
	}
	ev := coordinator.OfferPass{By: by, Person: who, Hash: passHash(code), Expires: s.o.House.Now().Add(passFor)}
	return code, s.o.House.DoPeople(c.Request().Context(), ev)
}

// makePass shows the visitor a code for their other phone, once.
func (s *Server) makePass(c echo.Context) error {
	who := s.visitor(c)
	if who == nil {
		return signedOut
	}
	if _, err := parseForm(c.Request()); err != nil {
		return err
	}
	code, err := s.offerPass(c, who.ID, "")
	if err != nil {
		return err
	}
	v := s.viewMe(c, who)
	if v.Pass, err = s.viewPass(code); err != nil {
		return err
	}
	c.Response().Header().Set("Cache-Control", "no-store")
	return s.render(c, http.StatusOK, "me", v)
}

// passView is a one-time code as it is shown.
type passView struct {
	Code, Address string
	QR            htmlText
	Minutes       int
}

// codeView is the page that takes a code and makes this browser known.
type codeView struct {
	Code, Problem string
	Open          bool         // the code of a home opens nothing here
	Who           []codePerson // of the home whose code it is, when there are several
	// Mail: a code can come by letter; Sent is where to, if it is anybody's.
	Mail              bool
	Sent, MailProblem string
}

// codePerson is one of a home, to choose from.
type codePerson struct{ ID, Name string }

// codePage asks for the code; a scanned one is there already.
func (s *Server) codePage(c echo.Context) error {
	return s.showCode(c, http.StatusOK, codeView{Code: scannedCode(c)})
}

// showCode completes and renders the page.
func (s *Server) showCode(c echo.Context, status int, v codeView) error {
	v.Mail, v.Open = s.o.Letters != nil, s.openHomes()
	return s.render(c, status, "code", v)
}

// openHomes reports whether residents of a room of the building name their home
// themselves: whoever can join any home learns its code.
func (s *Server) openHomes() bool {
	return slices.ContainsFunc(s.o.House.Rooms(), func(room coordinator.RoomID) bool {
		snap := s.o.House.Snapshot(room)
		return snap != nil && snap.Rules.OpenHomes
	})
}

// useCode takes a one-time code, or the code of a home with whom of it this is.
func (s *Server) useCode(c echo.Context) error {
	f, err := parseForm(c.Request(), field{"code", "Code", 64, false}, field{"person", "Who you are", 40, false})
	if err == nil && !s.limits.join.allow(limitKey(c.RealIP()), time.Now()) {
		err = tooMany
	}
	if err == nil && f["code"] == "" {
		err = invalid("code-empty", "Please type the code.")
	}
	var choose []codePerson
	secret := ""
	if err == nil {
		secret, choose, err = s.enterByCode(c, f)
	}
	switch {
	case err != nil:
		status, text, known := refusal(s.lang(c), err)
		if !known {
			return err
		}
		return s.showCode(c, status, codeView{Code: f["code"], Problem: text})
	case choose != nil:
		return s.showCode(c, http.StatusOK, codeView{Code: f["code"], Who: choose})
	}
	s.setCookie(c, s.cookies.resident, secret, residentDays)
	return s.redirect(c, "/me?done=known")
}

// enterByCode opens a session; choose is whom the visitor may be, when the code
// of a home leaves that open.
func (s *Server) enterByCode(c echo.Context, f form) (secret string, choose []codePerson, err error) {
	secret, hash, err := s.newSecret()
	if err != nil {
		return "", nil, err
	}
	ctx := c.Request().Context()
	if f["person"] == "" {
		err = s.o.House.DoPeople(ctx, coordinator.UsePass{Hash: passHash(f["code"]), SessionHash: hash, Expires: s.expiry(residentDays)})
		var refused *coordinator.Error
		if !errors.As(err, &refused) || refused.Code != coordinator.NotAllowed {
			return secret, nil, err
		}
		choose = ofHome(s.lang(c), s.o.House.People(), f["code"])
		switch {
		case len(choose) == 0:
			return "", nil, err
		case len(choose) > 1 && !s.openHomes():
			return "", choose, nil
		}
		f["person"] = choose[0].ID
	}
	return secret, nil, s.o.House.DoPeople(ctx, coordinator.ReturnHome{
		HomeCode: f["code"], Person: coordinator.PersonID(f["person"]), Open: s.openHomes(), SessionHash: hash, Expires: s.expiry(residentDays),
	})
}

// ofHome lists who lives in the home whose code it is, the latest to join first.
func ofHome(l *words.Language, people *coordinator.People, code string) []codePerson {
	home, ok := people.HomeByCode(code)
	if !ok {
		return nil
	}
	var list []coordinator.Person
	for _, p := range people.Persons {
		if p.Home == home.ID && !p.Manager {
			list = append(list, p)
		}
	}
	slices.SortFunc(list, func(a, b coordinator.Person) int {
		return cmp.Or(b.Joined.Compare(a.Joined), cmp.Compare(a.ID, b.ID))
	})
	var out []codePerson
	for _, p := range list {
		out = append(out, codePerson{string(p.ID), residentName(l, &p)})
	}
	return out
}

// signOutOthers leaves the person this browser only.
func (s *Server) signOutOthers(c echo.Context) error {
	who := s.visitor(c)
	if who == nil {
		return signedOut
	}
	if _, err := parseForm(c.Request()); err != nil {
		return err
	}
	ev := coordinator.SignOutOthers{Person: who.ID, Keep: sessionHash(c, s.cookies.resident)}
	if err := s.o.House.DoPeople(c.Request().Context(), ev); err != nil {
		return err
	}
	return s.redirect(c, "/me?done=others-out")
}
