package ui

import (
	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

// notManager sends somebody who is not signed in to the door.
var notManager = coordinator.Refuse(coordinator.NotAllowed, "not-manager", "Please sign in as the manager first.")

// managerScene finds the room that the address names, for the manager only.
func (s *Server) managerScene(c echo.Context) (*coordinator.Person, *scene, error) {
	who := s.manager(c)
	if who == nil {
		return nil, nil, notManager
	}
	sc, err := s.sceneOf(c)
	return who, sc, err
}

// managerMachine finds the machine that the address names, for the manager only.
func (s *Server) managerMachine(c echo.Context) (*coordinator.Person, *scene, *coordinator.MachineView, error) {
	who, sc, err := s.managerScene(c)
	if err != nil {
		return nil, nil, nil, err
	}
	m, err := machineOf(sc, param(c, "machine"))
	return who, sc, m, err
}

// managerAct is a button of the manager at a machine.
func (s *Server) managerAct(c echo.Context) error {
	who, sc, m, err := s.managerMachine(c)
	if err != nil {
		return err
	}
	f, err := parseForm(c.Request(), field{"do", "What to do", 20, false}, field{"text", "Why", 200, false})
	if err == nil {
		var ev coordinator.Event
		if ev, err = managerEvent(f, m.ID, who.ID); err == nil {
			_, err = s.do(c, sc, ev)
		}
	}
	if err == nil {
		return s.redirect(c, "/manager")
	}
	return s.refuseToday(c, err, problem{Form: "machine", Typed: f, About: machineName(s.lang(c), m)})
}

// refuseToday shows the manager's page with a refusal, after what it is about.
func (s *Server) refuseToday(c echo.Context, err error, p problem) error {
	status, text, known := refusal(s.lang(c), err)
	if !known {
		return err
	}
	p.Text = text
	if p.About != "" {
		p.Text = s.lang(c).Say("manager.refused", "machine", p.About, "text", text)
	}
	return s.showToday(c, status, &p)
}

// managerEvent reads what the manager does to a machine.
func managerEvent(f form, m coordinator.MachineID, who coordinator.PersonID) (coordinator.Event, error) {
	switch f["do"] {
	case "take-out":
		return coordinator.TakeOut{Machine: m, Person: who, Text: f["text"]}, nil
	case "put-back":
		return coordinator.PutBack{Machine: m, Person: who}, nil
	case "by-hand-on", "by-hand-off":
		return coordinator.ByHand{Machine: m, Person: who, On: f["do"] == "by-hand-on"}, nil
	case "seen":
		return coordinator.NoteWalkUp{Machine: m, Person: who}, nil
	case "looked-after":
		return coordinator.LookedAfter{Machine: m, Person: who, Text: f["text"]}, nil
	case "forget-learned":
		return coordinator.ForgetLearned{Machine: m, Person: who}, nil
	case "empty", "on-table":
		return coordinator.Collect{Machine: m, Person: who, OnTable: f["do"] == "on-table"}, nil
	}
	return nil, invalid("do", "This button is not known here. Please load the page anew.")
}

// invitationLetters is the length of an invitation code: about 40 bits, which
// the limit on tries keeps out of reach.
const invitationLetters = 8

// rotateInvitation gives a room a new code; the old one stops to hold.
func (s *Server) rotateInvitation(c echo.Context) error {
	who, sc, err := s.managerScene(c)
	if err != nil {
		return err
	}
	return s.rotate(c, "/manager#rooms", func(code string) coordinator.PeopleEvent {
		return coordinator.SetInvitation{By: who.ID, Room: sc.snap.Room, Code: code}
	})
}

// rotate answers a button that makes a new code: set is the event that puts it
// into the place of the old one, next the page to go on to.
func (s *Server) rotate(c echo.Context, next string, set func(code string) coordinator.PeopleEvent) error {
	if _, err := parseForm(c.Request()); err != nil {
		return err
	}
	code, err := s.newCode(invitationLetters)
	if err != nil {
		return err
	}
	if err := s.o.House.DoPeople(c.Request().Context(), set(code)); err != nil {
		return err
	}
	return s.redirect(c, next)
}

// noticesSeen takes the notices that reached nobody off the manager's list.
func (s *Server) noticesSeen(c echo.Context) error {
	who := s.manager(c)
	if who == nil {
		return notManager
	}
	if _, err := parseForm(c.Request()); err != nil {
		return err
	}
	if err := s.o.House.DoPeople(c.Request().Context(), coordinator.SeeNotices{By: who.ID, At: s.o.House.Now()}); err != nil {
		return err
	}
	return s.redirect(c, "/manager")
}
