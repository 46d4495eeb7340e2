package ui

import (
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

// shareLetters is the length of a code by which a load is shared: it holds once,
// for as long as the load is there.
const shareLetters = 8

// shareHash is what the room keeps of such a code.
func shareHash(code string) string {
	sum := sha256.Sum256([]byte("share " + coordinator.PlainCode(code)))
	return hex.EncodeToString(sum[:])
}

// offerShare makes a code for the visitor's load, and shows it once.
func (s *Server) offerShare(c echo.Context) error {
	sc, m, err := s.machineScene(c)
	if err != nil {
		return err
	}
	who := s.visitor(c)
	if who == nil {
		return signedOut
	}
	f, err := parseForm(c.Request())
	if err != nil {
		return err
	}
	code, err := s.newCode(shareLetters)
	if err == nil {
		_, err = s.do(c, sc, coordinator.OfferShare{Machine: m.ID, Person: who.ID, Home: who.Home, Hash: shareHash(code)})
	}
	if err != nil {
		return s.refuseAtMachine(c, sc, m, err, problem{Form: "share", Typed: f})
	}
	v := viewMachine(sc, m, who)
	v.ShareCode, v.AtMachine = code, true
	c.Response().Header().Set("Cache-Control", "no-store")
	return s.render(c, http.StatusOK, "machine", v)
}

// shareLoad takes a neighbour's offer.
func (s *Server) shareLoad(c echo.Context) error {
	who, sc, err := s.residentScene(c)
	if err != nil {
		return err
	}
	f, err := parseForm(c.Request(), field{"code", "Code", 20, false})
	if err == nil && !s.limits.code.allow(limitKey(c.RealIP()), time.Now()) {
		err = tooMany
	}
	if err == nil {
		_, err = s.do(c, sc, coordinator.ShareLoad{Hash: shareHash(f["code"]), Person: who.ID, Home: who.Home})
	}
	return s.after(c, sc, "mine", f, err, "shares")
}
