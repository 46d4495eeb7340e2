package ui

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

// peopleFields are those of the forms on that page.
func peopleFields() []field {
	return []field{
		{"do", "What to do", 20, false}, {"id", "Which", 80, false}, {"into", "Into", 80, false}, {"room", "Room", 64, false},
		{"home", "Home", 80, false}, {"new-home", "Home", 40, false}, {"names", "Homes", 4000, false}, {"need", "What to do", 20, false},
		{"most", "How many", 6, false}, {"until", "Last day", 10, false}, {"sure", "Yes, remove", 3, false}, {"search", "Search", 60, false},
	}
}

// peopleAct is a button of the page about homes and people.
func (s *Server) peopleAct(c echo.Context) error {
	who := s.manager(c)
	if who == nil {
		return notManager
	}
	f, err := parseForm(c.Request(), peopleFields()...)
	if err == nil && f["do"] == "turn" {
		var turn *behalfView
		if turn, err = s.turnFor(c, who, f); err == nil {
			return s.showPeople(c, http.StatusOK, nil, handed{Turn: turn})
		}
	} else if err == nil {
		err = s.doPeople(c, who, f)
	}
	if err == nil {
		return s.redirect(c, "/manager/people?"+url.Values{"done": {peopleDone[f["do"]]}, "home": {f["search"]}}.Encode())
	}
	status, text, known := refusal(s.lang(c), err)
	if !known {
		return err
	}
	return s.showPeople(c, status, &problem{Form: f["do"], Text: text, Typed: f}, handed{})
}

// peopleDone is what the page says after a button.
var peopleDone = map[string]string{
	"invite": "code-made", "guests": "code-made", "guests-end": "taken-back", "open": "kept", "codes": "kept", "add": "homes-added",
	"home-code": "code-made", "block": "blocked", "unblock": "unblocked", "block-home": "blocked", "unblock-home": "unblocked",
	"merge": "merged", "merge-homes": "merged", "move-out": "moved-out", "forget": "erased",
}

// doPeople does what a button says.
func (s *Server) doPeople(c echo.Context, who *coordinator.Person, f form) error {
	ctx := c.Request().Context()
	switch f["do"] {
	case "open", "codes":
		_, err := s.o.House.Do(ctx, coordinator.RoomID(f["room"]), coordinator.OpenHomes{Person: who.ID, On: f["do"] == "open"})
		return err
	case "add":
		return s.addHomes(c, who, f["names"])
	case "move-out", "forget":
		if f["sure"] != "yes" {
			return invalid("sure", "Please tick the box first: this cannot be undone.")
		}
	}
	ev, err := s.peopleEvent(c, who, f)
	if err != nil {
		return err
	}
	return s.o.House.DoPeople(ctx, ev)
}

// peopleEvent reads what is to be told to the building's people.
func (s *Server) peopleEvent(c echo.Context, who *coordinator.Person, f form) (coordinator.PeopleEvent, error) {
	person, home := coordinator.PersonID(f["id"]), coordinator.HomeID(f["id"])
	switch f["do"] {
	case "guests-end":
		return coordinator.DropGuestInvitation{By: who.ID, ID: f["id"]}, nil
	case "block", "unblock":
		return coordinator.Block{By: who.ID, Person: person, On: f["do"] == "block"}, nil
	case "block-home", "unblock-home":
		return coordinator.Block{By: who.ID, Home: home, On: f["do"] == "block-home"}, nil
	case "merge":
		return coordinator.MergePersons{By: who.ID, From: person, Into: coordinator.PersonID(f["into"])}, nil
	case "merge-homes":
		return coordinator.MergeHomes{By: who.ID, From: home, Into: coordinator.HomeID(f["into"])}, nil
	case "forget":
		return coordinator.Forget{By: who.ID, Person: person, Erase: true}, nil
	}
	return s.codeEvent(c, who, f)
}

// codeEvent reads the events that come with a new code.
func (s *Server) codeEvent(c echo.Context, who *coordinator.Person, f form) (coordinator.PeopleEvent, error) {
	code, err := s.newCode(invitationLetters)
	if err != nil {
		return nil, err
	}
	switch f["do"] {
	case "home-code":
		return coordinator.SetHomeCode{By: who.ID, Home: coordinator.HomeID(f["id"]), Code: code}, nil
	case "move-out":
		return coordinator.MoveOut{By: who.ID, Home: coordinator.HomeID(f["id"]), Code: code}, nil
	case "invite":
		if s.o.House.Snapshot(coordinator.RoomID(f["room"])) == nil {
			return nil, noRoom
		}
		most, until, err := s.bounds(c, f)
		return coordinator.SetInvitation{By: who.ID, Room: coordinator.RoomID(f["room"]), Code: code, Most: most, Expires: until}, err
	case "guests":
		if s.o.House.Snapshot(coordinator.RoomID(f["room"])) == nil {
			return nil, noRoom
		}
		id, err := s.newID("g")
		if err != nil {
			return nil, err
		}
		most, until, err := s.bounds(c, f)
		return coordinator.InviteGuests{
			By: who.ID, ID: id, Room: coordinator.RoomID(f["room"]), Home: coordinator.HomeID(f["home"]), Code: code, Most: most, Until: until,
		}, err
	}
	return nil, invalid("do", "This button is not known here. Please load the page anew.")
}

// bounds reads how many may use a code, and until the end of which day.
func (s *Server) bounds(c echo.Context, f form) (most int, until time.Time, err error) {
	if f["most"] != "" {
		if most, err = strconv.Atoi(f["most"]); err != nil {
			return 0, until, invalid("most", "How many may use a code is a whole number; leave it empty for any number.")
		}
	}
	if f["until"] != "" {
		day, err := time.ParseInLocation(time.DateOnly, f["until"], s.dates(c).zone)
		if err != nil {
			return 0, until, invalid("until", "A day is written like 2026-11-30.")
		}
		until = day.AddDate(0, 0, 1)
	}
	return most, until, nil
}

// mostHomesAdded is how many homes one form adds.
const mostHomesAdded = 200

// addHomes makes a home of each line, with a code.
func (s *Server) addHomes(c echo.Context, who *coordinator.Person, names string) error {
	var list []string
	for line := range strings.Lines(names) {
		if name := strings.TrimSpace(line); name != "" {
			list = append(list, name)
		}
	}
	if len(list) == 0 || len(list) > mostHomesAdded {
		return invalid("home-names", "Write the homes one under another, up to {most} at a time.", "most", mostHomesAdded)
	}
	for _, name := range list {
		code, err := s.newCode(invitationLetters)
		if err != nil {
			return err
		}
		if err := s.o.House.DoPeople(c.Request().Context(), coordinator.AddHome{By: who.ID, Name: name, Code: code}); err != nil {
			return err
		}
	}
	return nil
}

// turnFor takes a turn for somebody without a phone, who is called by a word on
// the wall. As at the room's screen, a home is one person there.
func (s *Server) turnFor(c echo.Context, who *coordinator.Person, f form) (*behalfView, error) {
	room := coordinator.RoomID(f["room"])
	snap, people := s.o.House.Snapshot(room), s.o.House.People()
	if snap == nil {
		return nil, noRoom
	}
	name := f["new-home"]
	if h, known := people.Homes[coordinator.HomeID(f["home"])]; known {
		name = h.Name
	}
	join, err := readJoin(form{"need": f["need"]})
	if err != nil {
		return nil, err
	}
	code, err := s.newCode(invitationLetters)
	if err != nil {
		return nil, err
	}
	ctx := c.Request().Context()
	id := wallPerson(people, true, form{"home": name})
	err = s.o.House.DoPeople(ctx, coordinator.JoinBuilding{Room: room, HomeName: name, Open: true, NewID: id, NewHomeCode: code, Inside: true})
	if err != nil {
		return nil, err
	}
	home := s.o.House.People().Persons[id].Home
	join.Person, join.Home, join.By = id, home, who.ID
	reply, err := s.o.House.Do(ctx, room, join)
	if err != nil {
		return nil, err
	}
	return &behalfView{Word: callWord(reply.Turn), Home: s.o.House.People().Homes[home].Name, Room: snap.Name}, nil
}
