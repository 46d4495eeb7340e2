package ui

import (
	"strconv"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

// tableView is a load of the visitor's that lies on the table.
type tableView struct {
	Load        coordinator.LoadID
	At, Machine string
}

func (sc *scene) tableView(l *coordinator.TableLoad) tableView {
	v := tableView{Load: l.Load, At: sc.tell().at(l.At), Machine: sc.lang().Say("need.any")}
	if m := sc.snap.Machine(l.Machine); m != nil {
		v.Machine = machineName(sc.lang(), m)
	}
	return v
}

// tableWords says what lies on the table, for everybody and without names.
func tableWords(sc *scene) string {
	list := sc.snap.Table
	if len(list) == 0 {
		return ""
	}
	oldest := sc.tableView(&list[0])
	return sc.lang().Count("board.table", len(list), "at", oldest.At, "machine", oldest.Machine)
}

// tableHands are the loads that the manager should do something about.
func tableHands(sc *scene) []handView {
	var out []handView
	for i := range sc.snap.Table {
		l := &sc.snap.Table[i]
		if !l.Forgotten {
			continue
		}
		v := sc.tableView(l)
		out = append(out, handView{
			Room: sc.snap.Name, Machine: v.Machine, Link: roomPath(sc.snap.Room), What: sc.lang().Say("hand.table", "at", v.At),
			Act: "/manager" + roomPath(sc.snap.Room) + "/table", Do: strconv.FormatUint(uint64(l.Load), 10), Button: sc.lang().Say("hand.gone"),
		})
	}
	return out
}

// fetch is somebody who took their load from the table.
func (s *Server) fetch(c echo.Context) error {
	who, sc, err := s.residentScene(c)
	if err != nil {
		return err
	}
	f, err := parseForm(c.Request(), field{"load", "Load", 20, false})
	if err == nil {
		id, _ := strconv.ParseUint(f["load"], 10, 64)
		_, err = s.do(c, sc, coordinator.Fetched{Load: coordinator.LoadID(id), Person: who.ID, Home: who.Home})
	}
	return s.after(c, sc, "mine", f, err, "fetched")
}

// clearTable is the manager who found the table empty, or emptied it.
func (s *Server) clearTable(c echo.Context) error {
	who, sc, err := s.managerScene(c)
	if err != nil {
		return err
	}
	f, err := parseForm(c.Request(), field{"do", "Load", 20, false})
	if err == nil {
		id, _ := strconv.ParseUint(f["do"], 10, 64)
		_, err = s.do(c, sc, coordinator.Fetched{Load: coordinator.LoadID(id), Person: who.ID, Manager: true})
	}
	if err == nil {
		return s.redirect(c, "/manager")
	}
	return s.refuseToday(c, err, problem{Form: "table", Typed: f})
}
