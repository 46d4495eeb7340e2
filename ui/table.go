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
func tableWords(sc *scene) string { return sc.tableWords(sc.snap.Table) }

// tableWords says of some of the loads on the table how many, and since when; "" for none.
func (sc *scene) tableWords(list []coordinator.TableLoad) string {
	if len(list) == 0 {
		return ""
	}
	oldest := sc.tableView(&list[0])
	return sc.lang().Count("board.table", len(list), "at", oldest.At, "machine", oldest.Machine)
}

// allForgotten is what the manager's form sends in the place of a load's number.
const allForgotten = "forgotten"

// tableHand is what the manager should do about the loads that were forgotten on the
// table: one thing, however many lie there.
func tableHand(sc *scene) []handView {
	var old []coordinator.TableLoad
	for _, l := range sc.snap.Table {
		if l.Forgotten {
			old = append(old, l)
		}
	}
	h := handView{Link: roomPath(sc.snap.Room), Act: "/manager" + roomPath(sc.snap.Room) + "/table"}
	switch len(old) {
	case 0:
		return nil
	case 1:
		v := sc.tableView(&old[0])
		h.Room, h.Machine, h.What = sc.snap.Name, v.Machine, sc.lang().Say("hand.table", "at", v.At)
		h.Do, h.Button = strconv.FormatUint(uint64(v.Load), 10), sc.lang().Say("hand.gone")
	default:
		h.Machine, h.What = sc.snap.Name, sc.tableWords(old)
		h.Do, h.Button = allForgotten, sc.lang().Say("hand.all-gone")
	}
	return []handView{h}
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
		_, err = s.do(c, sc, coordinator.Fetched{Load: coordinator.LoadID(id), Person: who.ID, Manager: true, Forgotten: f["do"] == allForgotten})
	}
	if err == nil {
		return s.redirect(c, "/manager")
	}
	return s.refuseToday(c, err, problem{Form: "table", Typed: f})
}
