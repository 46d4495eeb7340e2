package ui

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/queue"
)

// sheetsView is what hangs in a room on paper: a sheet for its door, and one
// for each machine.
type sheetsView struct {
	Name, Link, Back  string
	Code, QR, Address string
	Machines          []machineSheet
}

// machineSheet is the paper on one machine.
type machineSheet struct {
	Name, Code, QR, Address, Rotate string
	Dryer                           bool
}

// sheetsPage shows the sheets to print; only the manager may see the codes of all machines.
func (s *Server) sheetsPage(c echo.Context) error {
	_, sc, err := s.managerScene(c)
	if err != nil {
		return err
	}
	room, people := sc.snap.Room, s.o.House.People()
	v := sheetsView{Name: sc.snap.Name, Link: roomPath(room), Back: "/manager#rooms", Address: s.origin + s.base + roomPath(room)}
	if inv := people.Invitations[room]; inv.Code != "" {
		v.Code, v.QR = inv.Code, roomPath(room)+"/join.svg?v="+hashSecret(inv.Code)[:8]
	}
	for i := range sc.snap.Machines {
		m := &sc.snap.Machines[i]
		sheet := machineSheet{Name: machineName(sc.lang(), m), Dryer: m.Kind != queue.Washer, Rotate: "/manager" + machinePath(room, m.ID) + "/code"}
		if code := people.MachineCodes[coordinator.Place{Room: room, Machine: m.ID}].Code; code != "" {
			sheet.Code, sheet.Address = code, s.origin+s.base+machinePath(room, m.ID)
			sheet.QR = "/manager" + machinePath(room, m.ID) + "/code.svg?v=" + hashSecret(code)[:8]
		}
		v.Machines = append(v.Machines, sheet)
	}
	return s.render(c, http.StatusOK, "sheets", v)
}

// machineCode draws a machine's code as a QR code, for the manager to print.
func (s *Server) machineCode(c echo.Context) error {
	place := coordinator.Place{Room: coordinator.RoomID(param(c, "room")), Machine: coordinator.MachineID(param(c, "machine"))}
	code := s.o.House.People().MachineCodes[place].Code
	if s.manager(c) == nil || code == "" {
		return echo.ErrNotFound
	}
	svg, err := drawQR(s.machineAddress(place.Room, place.Machine, code))
	if err != nil {
		return err
	}
	c.Response().Header().Set("Cache-Control", "no-store")
	return c.Blob(http.StatusOK, "image/svg+xml", svg)
}

// rotateMachineCode gives a machine a new code; the paper on it stops to hold.
func (s *Server) rotateMachineCode(c echo.Context) error {
	_, sc, err := s.managerScene(c)
	if err != nil {
		return err
	}
	m, err := machineOf(sc, param(c, "machine"))
	if err != nil {
		return err
	}
	return s.rotate(c, "/manager"+roomPath(sc.snap.Room)+"/sheets", func(code string) coordinator.PeopleEvent {
		return coordinator.SetMachineCode{Room: sc.snap.Room, Machine: m.ID, Code: code}
	})
}
