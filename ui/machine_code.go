package ui

import (
	"net/url"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

// notThere answers somebody without an account who does not show the code of
// the machine: they may be anywhere in the world.
var notThere = coordinator.Refuse(coordinator.NotAllowed, "machine-code",
	"Without an account this takes the code printed on the machine: point your phone at it. If it does not open this page, the code is an old one.")

// mayTell checks that whoever says something about a machine's drum lives in
// the building or stands before the machine.
func (s *Server) mayTell(c echo.Context, sc *scene, m *coordinator.MachineView, f form) error {
	if f["do"] == "fault" || s.visitor(c) != nil || s.manager(c) != nil {
		return nil
	}
	if !s.o.House.People().AtMachine(sc.snap.Room, m.ID, f["code"]) {
		return notThere
	}
	return nil
}

// shownCode is the machine's code when it is the right one; empty when not.
// Guesses are limited: 40 bits stand that for longer than the machine.
func (s *Server) shownCode(c echo.Context, sc *scene, m *coordinator.MachineView, code string) (string, error) {
	if code == "" || len(code) > 64 {
		return "", nil
	}
	if !s.limits.code.allow(limitKey(c.RealIP()), time.Now()) {
		return "", tooMany
	}
	if !s.o.House.People().AtMachine(sc.snap.Room, m.ID, code) {
		return "", nil
	}
	return code, nil
}

// machineAddress is where the code printed on a machine leads.
func (s *Server) machineAddress(room coordinator.RoomID, m coordinator.MachineID, code string) string {
	return s.origin + s.base + machinePath(room, m) + "?code=" + url.QueryEscape(code)
}
