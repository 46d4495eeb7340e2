package ui

import (
	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

// notManager sends somebody who is not signed in to the door.
var notManager = coordinator.Refuse(coordinator.NotAllowed, "not-manager", "Please sign in as the manager first.")

// managerAct is a button of the manager at a machine.
func (s *Server) managerAct(c echo.Context) error {
	who := s.manager(c)
	if who == nil {
		return notManager
	}
	sc, err := s.sceneOf(c)
	if err != nil {
		return err
	}
	m, err := machineOf(sc, param(c, "machine"))
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
	status, text, known := refusal(err)
	if !known {
		return err
	}
	return s.showToday(c, status, &problem{Form: "machine", Text: machineName(m) + ": " + text, Typed: f})
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
	if s.manager(c) == nil {
		return notManager
	}
	sc, err := s.sceneOf(c)
	if err != nil {
		return err
	}
	if _, err := parseForm(c.Request()); err != nil {
		return err
	}
	code, err := s.newCode(invitationLetters)
	if err != nil {
		return err
	}
	ev := coordinator.SetInvitation{Room: sc.snap.Room, Code: code}
	if err := s.o.House.DoPeople(c.Request().Context(), ev); err != nil {
		return err
	}
	return s.redirect(c, "/manager#rooms")
}
