package ui

import (
	"crypto/subtle"
	"net/http"
	"net/url"

	"github.com/labstack/echo/v4"
	go_qr "github.com/piglig/go-qr"

	"drumturn/coordinator"
)

// wallPageView is the screen in the room.
type wallPageView struct {
	Room           coordinator.RoomID
	Lang           string // what its stream is to speak
	Name, Link, ID string
	Live           htmlText
	Code, QR       string
	Touch          string // path of the page for people without a phone; empty: none
	Address        string
	// NoWay says that the manager cannot be told of anything.
	NoWay string
}

// wallPage is read-only and needs no account. The invitation code is shown
// only to screens that know the wall's key, and to the manager: the page itself
// may be reached from anywhere.
func (s *Server) wallPage(c echo.Context) error {
	sc, err := s.sceneOf(c)
	if err != nil {
		return err
	}
	v := wallPageView{
		Room: sc.snap.Room, Name: sc.snap.Name, Link: roomPath(sc.snap.Room), ID: sc.id,
		Live: htmlText(sc.wall()), Lang: sc.lang().Code(), Address: s.origin + s.base + roomPath(sc.snap.Room),
	}
	if sc.snap.Rules.WallTouch && s.mayInvite(c) {
		v.Touch = touchPath(sc, c.QueryParam("key"), "")
	}
	if s.o.NoWayToManager != nil {
		v.NoWay, _ = s.o.NoWayToManager(s.lang(c).Code())
	}
	if inv := s.o.House.People().Invitations[sc.snap.Room]; inv.Holds(s.o.House.Now()) && s.mayInvite(c) {
		v.Code = inv.Code
		v.QR = roomPath(sc.snap.Room) + "/join.svg?key=" + url.QueryEscape(c.QueryParam("key")) +
			"&v=" + hashSecret(inv.Code)[:8] // a rotated code is another picture
	}
	return s.render(c, http.StatusOK, "wall", v)
}

// mayInvite reports whether whoever asks may see the invitation code.
func (s *Server) mayInvite(c echo.Context) bool {
	key := c.QueryParam("key")
	if s.o.WallKey != "" && subtle.ConstantTimeCompare([]byte(key), []byte(s.o.WallKey)) == 1 {
		return true
	}
	return s.manager(c) != nil
}

// joinCode draws the invitation as a QR code.
func (s *Server) joinCode(c echo.Context) error {
	room := coordinator.RoomID(param(c, "room"))
	inv, ok := s.o.House.People().Invitations[room]
	if !ok || !s.mayInvite(c) {
		return echo.ErrNotFound
	}
	svg, err := drawQR(s.joinAddress(room, inv.Code))
	if err != nil {
		return err
	}
	c.Response().Header().Set("Cache-Control", "private, max-age=3600")
	return c.Blob(http.StatusOK, "image/svg+xml", svg)
}

// joinAddress is where the code on the wall leads.
func (s *Server) joinAddress(room coordinator.RoomID, code string) string {
	return s.origin + s.base + roomPath(room) + "?code=" + url.QueryEscape(code)
}

// drawQR makes an SVG with a quiet zone of four modules, as ISO/IEC 18004 asks.
func drawQR(text string) ([]byte, error) {
	code, err := go_qr.EncodeText(text, go_qr.Medium)
	if err != nil {
		return nil, err
	}
	return code.ToSVGBytes(go_qr.NewQrCodeImgConfig(8, 4, go_qr.WithOptimalSVG()))
}
