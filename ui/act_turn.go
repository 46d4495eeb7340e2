package ui

import (
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/queue"
)

// signedOut sends somebody who has no account here to the door.
var signedOut = coordinator.Refuse(coordinator.NotAllowed, "no-account",
	"This browser does not belong to a home of this building. Join with the code on the laundry room's wall first.")

// residentScene finds the room that the address names, for residents only.
func (s *Server) residentScene(c echo.Context) (*coordinator.Person, *scene, error) {
	sc, err := s.sceneOf(c)
	if err != nil {
		return nil, nil, err
	}
	who := s.visitor(c)
	if who == nil {
		return nil, nil, signedOut
	}
	return who, sc, nil
}

// takeTurn puts the visitor into the queue.
func (s *Server) takeTurn(c echo.Context) error {
	sc, err := s.sceneOf(c)
	if err != nil {
		return err
	}
	who := s.visitor(c)
	if who == nil {
		return s.redirect(c, roomPath(sc.snap.Room)+"/join")
	}
	f, err := parseForm(c.Request(), field{"need", "What to do", 20, false}, field{"accessible", "Accessible", 3, false},
		field{"lower", "Lower machine", 3, false}, field{"min-kg", "Smallest size", 8, false},
		field{"dry-after", "Dry after this", 3, false}, field{"leave-at-closing", "Leave at closing", 3, false})
	if err == nil {
		var ev coordinator.Join
		if ev, err = readJoin(f); err == nil {
			ev.Person, ev.Home = who.ID, who.Home
			_, err = s.do(c, sc, ev)
		}
	}
	return s.after(c, sc, "take", f, err, "")
}

// readJoin turns the form into the wish.
func readJoin(f form) (coordinator.Join, error) {
	var ev coordinator.Join
	if err := ev.Need.UnmarshalText([]byte(f["need"])); err != nil {
		return ev, invalid("need", "Please say what you want to do: wash or dry.")
	}
	ev.Wishes.Accessible = f["accessible"] == "yes"
	ev.Wishes.Lower = f["lower"] == "yes"
	ev.DryAfter = f["dry-after"] == "yes" && ev.Need == queue.Wash
	ev.LeaveAtClosing = f["leave-at-closing"] == "yes"
	if f["min-kg"] != "" {
		kg, err := strconv.ParseFloat(f["min-kg"], 64)
		if err != nil || !(kg >= 0 && kg <= 100) {
			return ev, invalid("min-kg", "The size of the load must be a number of kilograms.")
		}
		ev.Wishes.MinKg = kg
	}
	return ev, nil
}

// changeTurn leaves, lets the next one go first, or puts a turn off.
func (s *Server) changeTurn(c echo.Context) error {
	who, sc, err := s.residentScene(c)
	if err != nil {
		return err
	}
	id, err := strconv.ParseUint(param(c, "turn"), 10, 64)
	if err != nil {
		return echo.ErrNotFound
	}
	f, err := parseForm(c.Request(), field{"do", "What to do", 20, false}, field{"minutes", "Not before", 4, false})
	if err != nil {
		return s.after(c, sc, "mine", f, err, "")
	}
	ev, done, err := turnEvent(f, coordinator.TurnID(id), who, s.o.House.Now())
	if err == nil {
		_, err = s.do(c, sc, ev)
	}
	if (f["do"] == "let-next" || f["do"] == "on-my-way") && fromNotice(c) {
		return s.answerNotice(c, sc, f["do"], err)
	}
	return s.after(c, sc, "mine", f, err, done)
}

// turnEvent reads what is wanted of a turn.
func turnEvent(f form, turn coordinator.TurnID, who *coordinator.Person, now time.Time) (coordinator.Event, string, error) {
	switch f["do"] {
	case "leave":
		return coordinator.Leave{Turn: turn, Person: who.ID, Home: who.Home}, "left", nil
	case "leave-at-closing", "stay-at-closing":
		leave := f["do"] == "leave-at-closing"
		return coordinator.AtClosing{Turn: turn, Person: who.ID, Home: who.Home, Leave: leave}, "chosen", nil
	case "on-my-way":
		return coordinator.OnMyWay{Turn: turn, Person: who.ID, Home: who.Home}, "coming", nil
	case "let-next":
		return coordinator.LetNext{Turn: turn, Person: who.ID, Home: who.Home}, "passed", nil
	case "not-now":
		minutes, err := strconv.Atoi(f["minutes"])
		if err != nil || minutes < 1 || minutes > 24*60 {
			return nil, "", invalid("minutes", "Please choose until when you cannot come.")
		}
		until := now.Add(time.Duration(minutes) * time.Minute)
		return coordinator.NotNow{Turn: turn, Person: who.ID, Home: who.Home, Until: until}, "later", nil
	}
	return nil, "", invalid("do", "This button is not known here. Please load the page anew.")
}

// do gives an event to the scene's room; everybody has an allowance.
func (s *Server) do(c echo.Context, sc *scene, ev coordinator.Event) (coordinator.Reply, error) {
	if !s.limits.act.allow(limitKey(c.RealIP()), time.Now()) {
		return coordinator.Reply{}, tooMany
	}
	return s.o.House.Do(c.Request().Context(), sc.snap.Room, ev)
}

// after goes back to the room: by redirect when all went well, else with the
// refusal beside the form and what was typed still in it.
func (s *Server) after(c echo.Context, sc *scene, where string, f form, err error, done string) error {
	if err == nil {
		to := roomPath(sc.snap.Room)
		if done != "" {
			to += "?done=" + done
		}
		return s.redirect(c, to)
	}
	status, text, known := refusal(s.lang(c), err)
	if !known {
		return err
	}
	if now := s.scenes.get(sc.snap.Room, sc.lang()); now != nil {
		sc = now // The refusal is about the room as it is now.
	}
	return s.showRoom(c, sc, status, &problem{Form: where, Text: text, Typed: f})
}
