package ui

import (
	"html/template"
	"net/http"
	"slices"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
)

// sheetsView is what hangs in a room on paper: a sheet for its door, and one
// for each machine.
type sheetsView struct {
	Name, Path, Back  string
	Code, QR, Address string
	// Paper is "a4" or "a6"; Languages are what the sheets can be written in.
	Paper     string
	Languages []languageChoice
	// Room, Safety and How are the room's steps, its safety line, and what a
	// machine's code is for, in each chosen language.
	Room, Safety, How []spokenText
	Machines          []machineSheet
}

// machineSheet is the paper on one machine.
type machineSheet struct {
	Name, Code, QR, Address, Rotate string
	Names, Safety                   []spokenText
}

// spokenText is a text in a language that need not be the page's.
type spokenText struct {
	Lang, Dir string
	Text      htmlText
}

// sheetsPage shows the sheets to print; only the manager may see the codes of all machines.
func (s *Server) sheetsPage(c echo.Context) error {
	_, sc, err := s.managerScene(c)
	if err != nil {
		return err
	}
	room, people, chosen := sc.snap.Room, s.o.House.People(), s.sheetLanguages(c)
	v := sheetsView{
		Name: sc.snap.Name, Path: "/manager" + roomPath(room) + "/sheets", Back: "/manager#rooms", Address: s.origin + s.base + roomPath(room),
		Paper: "a4", Languages: languageChoices(chosen...),
		Room: s.inEach(chosen, "sheet-room-words"), Safety: s.inEach(chosen, "sheet-room-safety"), How: s.inEach(chosen, "sheet-machine-words"),
	}
	if c.QueryParam("paper") == "a6" {
		v.Paper = "a6"
	}
	if inv := people.Invitations[room]; inv.Code != "" {
		v.Code, v.QR = inv.Code, roomPath(room)+"/join.svg?v="+hashSecret(inv.Code)[:8]
	}
	for i := range sc.snap.Machines {
		v.Machines = append(v.Machines, s.machineSheet(sc, &sc.snap.Machines[i], people, chosen))
	}
	return s.render(c, http.StatusOK, "sheets", v)
}

func (s *Server) machineSheet(sc *scene, m *coordinator.MachineView, people *coordinator.People, chosen []*words.Language) machineSheet {
	room, safety := sc.snap.Room, "sheet-washer-safety"
	if m.Kind != queue.Washer {
		safety = "sheet-dryer-safety"
	}
	sheet := machineSheet{Name: machineName(sc.lang(), m), Safety: s.inEach(chosen, safety), Rotate: "/manager" + machinePath(room, m.ID) + "/code"}
	for _, l := range chosen {
		sheet.Names = append(sheet.Names, spokenText{l.Code(), l.Dir(), htmlText(template.HTMLEscapeString(machineName(l, m)))})
	}
	if code := people.MachineCodes[coordinator.Place{Room: room, Machine: m.ID}].Code; code != "" {
		sheet.Code, sheet.Address = code, s.origin+s.base+machinePath(room, m.ID)
		sheet.QR = "/manager" + machinePath(room, m.ID) + "/code.svg?v=" + hashSecret(code)[:8]
	}
	return sheet
}

// sheetLanguages are those that the address asks for, in the order of the
// catalogue; else the building's, else the page's.
func (s *Server) sheetLanguages(c echo.Context) []*words.Language {
	asked := c.QueryParams()["lang"]
	if len(asked) == 0 {
		asked = s.o.Languages
	}
	var out []*words.Language
	for _, l := range words.All() {
		if slices.Contains(asked, l.Code()) {
			out = append(out, l)
		}
	}
	if len(out) == 0 {
		out = append(out, s.lang(c))
	}
	return out
}

// inEach renders a shared part in each language.
func (s *Server) inEach(languages []*words.Language, part string) []spokenText {
	var out []spokenText
	for _, l := range languages {
		out = append(out, spokenText{l.Code(), l.Dir(), htmlText(s.tongues[l].fragment(part, nil))})
	}
	return out
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
	who, sc, m, err := s.managerMachine(c)
	if err != nil {
		return err
	}
	return s.rotate(c, "/manager"+roomPath(sc.snap.Room)+"/sheets", func(code string) coordinator.PeopleEvent {
		return coordinator.SetMachineCode{By: who.ID, Room: sc.snap.Room, Machine: m.ID, Code: code}
	})
}
