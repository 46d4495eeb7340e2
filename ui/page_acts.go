package ui

import (
	"context"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// actsView is the log of what managers did, newest first.
type actsView struct {
	From, To       string // the days, as the form has them
	Who, What      string // what is chosen; empty for all
	Managers       []actor
	Kinds          []string
	Lines          []actLine
	More           bool
	ManagerNames   map[coordinator.PersonID]string
	earliest, last time.Time
}

type actor struct {
	ID   coordinator.PersonID
	Name string
}

type actLine struct{ At, Who, What, About string }

// actGroups are the choices of what to see, with the kinds of fact in each. What
// a manager does in a room is in none of the others, and so among "machines".
var actGroups = map[string][]coordinator.FactKind{
	"sign-in": {coordinator.FactSignedIn, coordinator.FactSignedOut, coordinator.FactSessionsEnded},
	"managers": {
		coordinator.FactManagerMade, coordinator.FactManagerRenamed, coordinator.FactManagerInvited, coordinator.FactInviteDropped, coordinator.FactManagerGone,
		coordinator.FactPassphrase, coordinator.FactPasskeyAdded, coordinator.FactPasskeyNamed, coordinator.FactPasskeyGone, coordinator.FactPasskeyCopied,
	},
	"codes": {
		coordinator.FactInvitation, coordinator.FactGuestInvited, coordinator.FactGuestsEnded, coordinator.FactPassMade, coordinator.FactMachineCode, coordinator.FactHomeCode,
		coordinator.FactTokenMade, coordinator.FactTokenRevoked, coordinator.FactHookAdded, coordinator.FactHookRemoved,
	},
	"people": {
		coordinator.FactHomeAdded, coordinator.FactBlocked, coordinator.FactUnblocked, coordinator.FactMerged,
		coordinator.FactMovedAway, coordinator.FactErased,
	},
	"machines": {coordinator.FactTariffSet, coordinator.FactNoticesSeen},
}

// actChoices are the groups in their order on the page.
var actChoices = []string{"sign-in", "managers", "codes", "people", "machines"}

// actGroup is the group that a kind of fact is in.
func actGroup(kind coordinator.FactKind) string {
	for group, kinds := range actGroups {
		if slices.Contains(kinds, kind) {
			return group
		}
	}
	return "machines"
}

// Days that the log shows: these when nothing is chosen, at most so many.
const (
	actDays     = 7
	mostActDays = 400
)

// actsPage shows what managers did.
func (s *Server) actsPage(c echo.Context) error {
	if s.manager(c) == nil {
		return s.redirect(c, "/manager")
	}
	v, d := s.readActs(c)
	if s.o.Facts != nil {
		if err := s.gatherActs(c.Request().Context(), &v, d); err != nil {
			return err
		}
	}
	return s.render(c, http.StatusOK, "acts", v)
}

// readActs reads what is chosen; what does not read is as if nothing were.
func (s *Server) readActs(c echo.Context) (actsView, dates) {
	d, people := s.dates(c), s.o.House.People()
	day := func(name string, otherwise time.Time) time.Time {
		at, err := time.ParseInLocation(time.DateOnly, c.QueryParam(name), d.zone)
		if err != nil {
			return otherwise
		}
		return at
	}
	today := d.now.In(d.zone)
	today = time.Date(today.Year(), today.Month(), today.Day(), 0, 0, 0, 0, d.zone)
	to := day("to", today)
	from := day("from", to.AddDate(0, 0, 1-actDays))
	if from.After(to) || to.Sub(from) > mostActDays*24*time.Hour {
		from = to.AddDate(0, 0, 1-actDays)
	}
	v := actsView{
		From: d.plain(from), To: d.plain(to), Kinds: actChoices, earliest: from, last: to.AddDate(0, 0, 1), ManagerNames: map[coordinator.PersonID]string{},
	}
	for _, m := range people.Managers() {
		v.Managers = append(v.Managers, actor{m.ID, m.Name})
		v.ManagerNames[m.ID] = m.Name
		if string(m.ID) == c.QueryParam("who") {
			v.Who = string(m.ID)
		}
	}
	if slices.Contains(actChoices, c.QueryParam("what")) {
		v.What = c.QueryParam("what")
	}
	return v, d
}

// gatherActs collects from the building's log and from the rooms'.
func (s *Server) gatherActs(ctx context.Context, v *actsView, d dates) error {
	type act struct {
		coordinator.Fact
		room coordinator.RoomID
	}
	var found []act
	people := s.o.House.People()
	for _, unit := range append([]coordinator.RoomID{coordinator.Building}, s.o.House.Rooms()...) {
		err := s.o.Facts(ctx, unit, v.earliest, v.last, func(f coordinator.Fact) bool {
			if unit == coordinator.Building || v.ManagerNames[f.Person] != "" {
				if (v.Who == "" || v.Who == string(f.Person)) && (v.What == "" || v.What == actGroup(f.Kind)) {
					found = append(found, act{f, unit})
				}
			}
			return true
		})
		if err != nil {
			return err
		}
	}
	slices.SortStableFunc(found, func(a, b act) int { return b.At.Compare(a.At) })
	if len(found) > longestLog {
		found, v.More = found[:longestLog], true
	}
	for i := range found {
		f := &found[i]
		line := actLine{At: d.at(f.At), Who: v.actor(d.lang, people, &f.Fact), What: strings.TrimSuffix(factWords(d.lang, &f.Fact), ".")}
		line.About = s.aboutWords(d.lang, people, f.room, &f.Fact)
		v.Lines = append(v.Lines, line)
	}
	return nil
}

// actor says who did it: a manager, or a program with a token.
func (v *actsView) actor(l *words.Language, people *coordinator.People, f *coordinator.Fact) string {
	if kind, id := coordinator.About(f.About); kind == "token" {
		if token, there := people.Tokens[id]; there {
			return l.Say("acts.program", "name", token.Name)
		}
		return l.Say("acts.former-program")
	}
	if name := v.ManagerNames[f.Person]; name != "" {
		return name
	}
	return l.Say("acts.former")
}

// aboutWords says what a fact is about.
func (s *Server) aboutWords(l *words.Language, people *coordinator.People, room coordinator.RoomID, f *coordinator.Fact) string {
	switch kind, id := coordinator.About(f.About); {
	case f.Machine != "":
		return s.placeWords(l, room, f.Machine)
	case kind == "machine":
		in, machine, _ := strings.Cut(id, "/")
		return s.placeWords(l, coordinator.RoomID(in), coordinator.MachineID(machine))
	case kind == "room":
		return s.roomWords(coordinator.RoomID(id))
	case room != coordinator.Building:
		return s.roomWords(room)
	case kind == "home":
		return homeWords(l, people, coordinator.HomeID(id))
	case kind == "person":
		return personWords(l, people, coordinator.PersonID(id))
	}
	return ""
}

func (s *Server) roomWords(room coordinator.RoomID) string {
	if snap := s.o.House.Snapshot(room); snap != nil {
		return snap.Name
	}
	return string(room)
}

func (s *Server) placeWords(l *words.Language, room coordinator.RoomID, machine coordinator.MachineID) string {
	name := string(machine)
	if snap := s.o.House.Snapshot(room); snap != nil {
		if m := snap.Machine(machine); m != nil {
			name = machineName(l, m)
		}
	}
	return l.Say("acts.place", "machine", name, "room", s.roomWords(room))
}

func homeWords(l *words.Language, people *coordinator.People, id coordinator.HomeID) string {
	h, ok := people.Homes[id]
	if !ok {
		return l.Say("acts.gone")
	}
	return l.Say("acts.home", "home", h.Name)
}

func personWords(l *words.Language, people *coordinator.People, id coordinator.PersonID) string {
	p, ok := people.Now(id)
	switch {
	case !ok:
		return l.Say("acts.gone")
	case p.Manager:
		return p.Name
	}
	return l.Say("acts.of-home", "home", people.Homes[p.Home].Name)
}
