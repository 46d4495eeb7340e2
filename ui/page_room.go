package ui

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/queue"
)

// roomView is the room's page.
type roomView struct {
	Room        coordinator.RoomID
	Name, Link  string
	ID          string // of the scene drawn
	Board, Mine htmlText
	Resident    bool
	HasTurn     bool
	// Free: nothing here is the visitor's yet, so the way to a turn comes first.
	Free    bool
	Join    *joinView // the form to join, for who scanned the code on the wall
	Take    takeView
	Thanks  string
	PushAsk bool
	House   string // what the house tells everybody
}

// takeView is the form that joins the queue.
type takeView struct {
	Needs      []needChoice
	Accessible bool
	Lower      bool
	Sizes      []float64
	DryAfter   bool
	Closes     bool // the room has opening hours
	Problem    *problem
}

type needChoice struct {
	Value, Title, When string
}

// thanks is the sentence that a redirect asked for; empty for none.
func (s *Server) thanks(c echo.Context) string {
	key := "thanks." + c.QueryParam("done")
	if l := s.lang(c); l.Has(key) {
		return l.Say(key)
	}
	return ""
}

// noRoom answers an address that names none.
var noRoom = coordinator.Refuse(coordinator.NotFound, "no-room", "There is no such laundry room here.")

// sceneOf finds the room that the address names.
func (s *Server) sceneOf(c echo.Context) (*scene, error) {
	sc := s.scenes.get(coordinator.RoomID(param(c, "room")), s.lang(c))
	if sc == nil {
		return nil, noRoom
	}
	return sc, nil
}

// roomPage shows a room to anybody.
func (s *Server) roomPage(c echo.Context) error {
	if !s.isKept(c) {
		sc, err := s.sceneOf(c)
		if err != nil {
			return err
		}
		return s.showRoom(c, sc, http.StatusOK, nil)
	}
	who := s.visitor(c)
	c.Set("lang", s.langOf(c, who))
	sc, err := s.sceneOf(c)
	if err != nil {
		return err
	}
	file, err := s.keptRoom(c, sc, who)
	if err != nil {
		return err
	}
	s.pageHeaders(c)
	return sendFile(c, file)
}

// showRoom renders the room; p is a refusal to show in it.
func (s *Server) showRoom(c echo.Context, sc *scene, status int, p *problem) error {
	return s.render(c, status, "room", s.viewRoom(c, sc, p))
}

// roomOf is the room's page as all see it.
func (s *Server) roomOf(sc *scene) roomView {
	return roomView{
		Room: sc.snap.Room, Name: sc.snap.Name, Link: roomPath(sc.snap.Room), ID: sc.id, Board: htmlText(sc.public), Take: takeForm(sc),
		House: sc.snap.Rules.Text,
	}
}

// viewRoom is the room's page as one visitor sees it.
func (s *Server) viewRoom(c echo.Context, sc *scene, p *problem) roomView {
	who := s.visitor(c)
	own := ownershipOf(sc.snap, who)
	v := s.roomOf(sc)
	v.Resident, v.HasTurn, v.Thanks = who != nil, own != nil && len(own.turns) > 0, s.thanks(c)
	if own != nil {
		v.Board = htmlText(sc.board(own))
	}
	var mineProblem *problem
	v.Free = own == nil
	if code := scannedCode(c); who == nil && code != "" {
		join := joinForm(sc, form{"code": code}, "")
		join.Scanned = true
		v.Join = &join
	}
	if p != nil && p.Form == "take" {
		v.Take.Problem = p
	} else {
		mineProblem = p
	}
	v.Mine = htmlText(s.minePanel(sc, own, mineProblem))
	v.PushAsk = v.HasTurn && s.asksForPush(who)
	return v
}

// takeForm offers what the room's machines can serve, no more.
func takeForm(sc *scene) takeView {
	var v takeView
	t := sc.tell()
	for _, n := range needs(sc.snap) {
		choice := needChoice{Value: n.String(), Title: needTitle(t.lang, n)}
		if f, ok := sc.snap.IfYouJoin[n]; ok && f.Known {
			choice.When = t.forecast(&f)
		}
		v.Needs = append(v.Needs, choice)
	}
	machines := sc.snap.Machines
	has := func(f func(coordinator.MachineView) bool) bool { return slices.ContainsFunc(machines, f) }
	v.Accessible = has(func(m coordinator.MachineView) bool { return m.Accessible })
	v.Lower = has(func(m coordinator.MachineView) bool { return m.Stacked })
	v.DryAfter = has(func(m coordinator.MachineView) bool { return serves(m.Kind, queue.Dry) }) &&
		has(func(m coordinator.MachineView) bool { return serves(m.Kind, queue.Wash) })
	v.Closes = sc.snap.Rules.Hours != queue.AlwaysOpen()
	for i := range machines {
		if kg := machines[i].CapacityKg; kg > 0 && !slices.Contains(v.Sizes, kg) {
			v.Sizes = append(v.Sizes, kg)
		}
	}
	slices.Sort(v.Sizes)
	if len(v.Sizes) < 2 {
		v.Sizes = nil
	}
	return v
}

// Was reports whether a box was ticked, or a choice made, before the refusal.
func (v takeView) Was(name string, value any) bool {
	return v.Problem != nil && v.Problem.Typed[name] == fmt.Sprint(value)
}

// Wished reports whether anything among the folded wishes was chosen before the refusal.
func (v takeView) Wished() bool {
	if v.Problem == nil {
		return false
	}
	f := v.Problem.Typed
	return cmp.Or(f["accessible"], f["lower"], f["leave-at-closing"], f["min-kg"]) != ""
}
