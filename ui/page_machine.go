package ui

import (
	"net/http"
	"net/url"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/queue"
)

// machineView is the page behind the code on a machine.
type machineView struct {
	Room, Name, Link, RoomLink  string
	Row                         row
	Axis                        headView
	Resident, Own               bool
	CanClaim, CanCollect        bool
	CanEmpty, CanNotMe          bool
	CanStill, CanStart, CanStop bool
	Dryer, Washer, Out          bool
	Thanks                      string
	Problem                     *problem
	MoreTime                    string
	CanDry, CanShare            bool
	ShareCode                   string // the offer just made
	ID                          string
	// Code is the machine's secret, once the visitor has shown it; AtMachine
	// says that they may speak for what is in it, by that code or as a resident.
	Code      string
	AtMachine bool
	// Point: whoever stands at it could say more there. HasLoad: what is in it, or
	// may be, could be the visitor's.
	Point, HasLoad bool
}

// machineOf finds the machine that the address names.
func machineOf(sc *scene, id string) (*coordinator.MachineView, error) {
	m := sc.snap.Machine(coordinator.MachineID(id))
	if m == nil {
		return nil, coordinator.Refuse(coordinator.NotFound, "no-machine",
			"There is no such machine in this room. It may have been replaced: look for its number on the room's page.")
	}
	return m, nil
}

// machineScene finds the room and the machine that the address names.
func (s *Server) machineScene(c echo.Context) (*scene, *coordinator.MachineView, error) {
	sc, err := s.sceneOf(c)
	if err != nil {
		return nil, nil, err
	}
	m, err := machineOf(sc, param(c, "machine"))
	return sc, m, err
}

// machinePage shows one machine and what can be done at it.
func (s *Server) machinePage(c echo.Context) error {
	sc, m, err := s.machineScene(c)
	if err != nil {
		return err
	}
	return s.showMachine(c, sc, m, http.StatusOK, nil)
}

func (s *Server) showMachine(c echo.Context, sc *scene, m *coordinator.MachineView, status int, p *problem) error {
	v := viewMachine(sc, m, s.visitor(c))
	given := c.QueryParam("code")
	if p != nil {
		given = p.Typed["code"]
	}
	var err error
	if v.Code, err = s.shownCode(c, sc, m, given); err != nil {
		return err
	}
	v.AtMachine = true
	if v.Code == "" && !v.Resident && s.manager(c) == nil {
		v.Point = v.CanEmpty || v.CanStart || v.CanStop
		v.AtMachine, v.CanEmpty, v.CanStart, v.CanStop = false, false, false, false
	}
	v.Thanks, v.Problem = s.thanks(c), p
	return s.render(c, status, "machine", v)
}

// viewMachine decides which buttons make sense for whom. What a button then
// does is decided anew by the room.
func viewMachine(sc *scene, m *coordinator.MachineView, who *coordinator.Person) machineView {
	own := ownershipOf(sc.snap, who).has(m)
	ready := m.Load != nil && m.Load.Ready()
	mine := ownLoad(m, who)
	v := machineView{
		Room: sc.snap.Name, Name: machineName(sc.lang(), m), Link: machinePath(sc.snap.Room, m.ID), RoomLink: roomPath(sc.snap.Room),
		Row: machineRow(sc.snap, sc.axis, m, own), Axis: boardHead(sc), Resident: who != nil, Own: mine,
		CanClaim:   who != nil && m.Load != nil && m.Load.Owner == "",
		CanCollect: ready && mine,
		CanEmpty:   !mine && (ready || m.MayHoldLoad || (m.Hold != nil && m.Hold.LoadInside)),
		CanStill:   who != nil && m.Load == nil && m.Status != coordinator.Running,
		CanStart:   m.ByHand && m.Status != coordinator.Running && m.Status != coordinator.Out,
		CanStop:    m.ByHand && m.Status == coordinator.Running,
		Dryer:      m.Kind != queue.Washer, Washer: m.Kind != queue.Dryer, Out: m.Status == coordinator.Out, ID: sc.id,
		HasLoad: m.Load != nil || m.MayHoldLoad || m.Status == coordinator.Running,
	}
	if mine {
		v.CanShare = !m.Load.SharedWith(who.ID, who.Home)
		v.MoreTime, v.CanDry = moreTime(sc.lang(), m), canDryAfter(sc.snap, m)
	}
	if mine && !ready {
		v.CanNotMe = sc.loadView(m, who).CanNotMe
	}
	return v
}

// machineAct is a tap at a machine. Without an account, but with the code
// printed on the machine, one may say that it is empty, put a load on the table,
// and start and end a machine that is run by hand: what everybody sees does not
// depend on who says it, but it must be said by somebody who is there. A fault
// may be reported by anybody.
func (s *Server) machineAct(c echo.Context) error {
	sc, m, err := s.machineScene(c)
	if err != nil {
		return err
	}
	who := s.visitor(c)
	f, err := parseForm(c.Request(), field{"do", "What to do", 20, false}, field{"text", "What is wrong", 300, false},
		field{"code", "Code on the machine", 64, false})
	if err == nil && who == nil && !s.limits.report.allow(limitKey(c.RealIP()), time.Now()) {
		err = tooMany
	}
	if err == nil {
		err = s.mayTell(c, sc, m, f)
	}
	done := ""
	if err == nil {
		var ev coordinator.Event
		if ev, done, err = machineEvent(f, m.ID, who); err == nil {
			_, err = s.do(c, sc, ev)
		}
	}
	if err == nil {
		to := machinePath(sc.snap.Room, m.ID) + "?done=" + done
		if who == nil && f["code"] != "" {
			to += "&code=" + url.QueryEscape(f["code"])
		}
		return s.redirect(c, to)
	}
	return s.refuseAtMachine(c, sc, m, err, problem{Form: f["do"], Typed: f})
}

// refuseAtMachine shows the machine's page as it is now, which the refusal is
// about, with why something was not done.
func (s *Server) refuseAtMachine(c echo.Context, sc *scene, m *coordinator.MachineView, err error, p problem) error {
	status, text, known := refusal(s.lang(c), err)
	if !known {
		return err
	}
	if now := s.scenes.get(sc.snap.Room, sc.lang()); now != nil && now.snap.Machine(m.ID) != nil {
		sc, m = now, now.snap.Machine(m.ID)
	}
	p.Text = text
	return s.showMachine(c, sc, m, status, &p)
}

// machineEvent reads what is said at a machine, and by whom it may be said.
func machineEvent(f form, m coordinator.MachineID, who *coordinator.Person) (coordinator.Event, string, error) {
	var person coordinator.PersonID
	var home coordinator.HomeID
	if who != nil {
		person, home = who.ID, who.Home
	}
	switch f["do"] {
	case "empty", "collected":
		return coordinator.Collect{Machine: m, Person: person, Home: home}, "collected", nil
	case "on-table":
		return coordinator.Collect{Machine: m, Person: person, Home: home, OnTable: true}, "collected", nil
	case "start":
		return coordinator.StartByHand{Machine: m, Person: person, Home: home}, "started", nil
	case "end":
		return coordinator.EndByHand{Machine: m, Person: person, Home: home}, "ended", nil
	case "fault":
		if f["text"] == "" {
			return nil, "", invalid("fault-text", "Please say in a few words what is wrong.")
		}
		return coordinator.ReportFault{Machine: m, Person: person, Home: home, Text: f["text"]}, "reported", nil
	}
	if who == nil {
		return nil, "", signedOut
	}
	switch f["do"] {
	case "claim":
		return coordinator.Claim{Machine: m, Person: person, Home: home}, "claimed", nil
	case "not-me":
		return coordinator.NotMe{Machine: m, Person: person, Home: home}, "not-mine", nil
	case "more-time":
		return coordinator.MoreTime{Machine: m, Person: person, Home: home}, "more", nil
	case "dry-after":
		return coordinator.DryAfter{Machine: m, Person: person, Home: home}, "dries", nil
	case "still-inside":
		return coordinator.StillInside{Machine: m, Person: person, Home: home}, "still", nil
	}
	return nil, "", invalid("do", "This button is not known here. Please load the page anew.")
}
