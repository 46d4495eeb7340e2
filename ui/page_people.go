package ui

import (
	"cmp"
	"net/http"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

// homesShown is how many homes the page lists at a time; the search finds the rest.
const homesShown = 60

// peopleView is the manager's page about homes and their people.
type peopleView struct {
	handed
	Rooms        []roomInvite
	Guests       []guestLine
	Homes        []homeLine
	All          []choice // every home, to choose from
	Everybody    []choice // every resident, to choose from
	Search       string
	Left         int // homes that are not shown
	Today        string
	MostGuests   int
	Open, Closed bool // some room's homes are open, or have codes
	Hidden       bool // codes of homes are not shown, the manager signed in too long ago
	Thanks       string
	Problem      *problem
}

// handed is what was made just now, to be handed to somebody: once.
type handed struct {
	Turn      *behalfView // a turn taken for somebody
	Pass      *passView   // a one-time code for who lost their phone
	Who, Home string      // whose code it is
}

// choice is one of a list to choose from.
type choice struct{ ID, Name string }

// roomInvite is a room with the code on its wall.
type roomInvite struct {
	ID, Name, Code, Until string
	Used, Most            int
	Over, Open            bool
}

type guestLine struct {
	ID, Home, Room, Code, Until string
	Used, Most                  int
}

// homeLine is a home with what can be done to it.
type homeLine struct {
	ID, Name, Code, Also, Since string
	Blocked, Shown, Hidden      bool // Shown: unfolded, where the search found it alone; Hidden: there is a code
	Members                     []memberLine
}

type memberLine struct {
	ID, Name, Joined, Guest string
	Browsers, Devices       int
	Blocked, Wall           bool // Wall: joined at the screen or by the manager, and has no phone
}

// behalfView is what to tell somebody without a phone.
type behalfView struct{ Word, Home, Room string }

// peoplePage shows the page.
func (s *Server) peoplePage(c echo.Context) error {
	if s.manager(c) == nil {
		return s.redirect(c, "/manager")
	}
	return s.showPeople(c, http.StatusOK, nil, handed{})
}

func (s *Server) showPeople(c echo.Context, status int, p *problem, given handed) error {
	people, d := s.o.House.People(), s.dates(c)
	v := peopleView{
		Search: searched(c, p), handed: given, Today: d.plain(d.now), MostGuests: coordinator.MostGuests, Thanks: s.thanks(c), Problem: p,
		Hidden: !s.fresh(c),
	}
	for _, id := range s.o.House.Rooms() {
		if snap := s.o.House.Snapshot(id); snap != nil {
			r := inviteOf(people, snap, d)
			v.Rooms, v.Open, v.Closed = append(v.Rooms, r), v.Open || r.Open, v.Closed || !r.Open
		}
	}
	v.Guests = s.guestLines(people, d)
	s.listHomes(&v, people, d)
	return s.render(c, status, "people", v)
}

// searched is what homes are searched for: by the address, or by a form that was refused.
func searched(c echo.Context, p *problem) string {
	text := c.QueryParam("home")
	if p != nil {
		text = p.Typed["search"]
	}
	if len(text) > 60 {
		return ""
	}
	return text
}

func inviteOf(people *coordinator.People, snap *coordinator.Snapshot, d dates) roomInvite {
	inv := people.Invitations[snap.Room]
	return roomInvite{
		ID: string(snap.Room), Name: snap.Name, Code: inv.Code, Until: d.at(inv.Expires), Used: inv.Used, Most: inv.Most,
		Over: !inv.Holds(d.now), Open: snap.Rules.OpenHomes,
	}
}

func (s *Server) guestLines(people *coordinator.People, d dates) []guestLine {
	var out []guestLine
	for _, g := range people.Guests {
		if d.now.Before(g.Until) {
			out = append(out, guestLine{g.ID, people.Homes[g.Home].Name, s.roomWords(g.Room), g.Code, d.at(g.Until), g.Used, g.Most})
		}
	}
	slices.SortFunc(out, func(a, b guestLine) int { return cmp.Or(cmp.Compare(a.Home, b.Home), cmp.Compare(a.ID, b.ID)) })
	return out
}

// listHomes lists homes by their names, those that are searched for only.
func (s *Server) listHomes(v *peopleView, people *coordinator.People, d dates) {
	members := map[coordinator.HomeID][]coordinator.Person{}
	for _, p := range people.Persons {
		if !p.Manager {
			members[p.Home] = append(members[p.Home], p)
		}
	}
	use := usesOf(people, d)
	for _, h := range homesByName(people) {
		v.All = append(v.All, choice{string(h.ID), h.Name})
		line := homeLine{
			ID: string(h.ID), Name: h.Name, Code: h.Code, Also: strings.Join(h.Also, d.lang.Say("list.comma")), Since: d.day(h.Joined), Blocked: h.Blocked,
		}
		if v.Hidden {
			line.Code, line.Hidden = "", h.Code != ""
		}
		list := members[h.ID]
		slices.SortFunc(list, func(a, b coordinator.Person) int {
			return cmp.Or(a.Joined.Compare(b.Joined), cmp.Compare(a.ID, b.ID))
		})
		for i := range list {
			m := memberOf(&list[i], use, d)
			line.Members = append(line.Members, m)
			v.Everybody = append(v.Everybody, choice{m.ID, h.Name + d.lang.Say("list.comma") + cmp.Or(m.Name, residentName(d.lang, &list[i]))})
		}
		switch {
		case v.Search != "" && !found(h, list, v.Search):
		case len(v.Homes) >= homesShown:
			v.Left++
		default:
			v.Homes = append(v.Homes, line)
		}
	}
	if v.Search != "" && len(v.Homes) == 1 {
		v.Homes[0].Shown = true
	}
}

// homesByName lists homes as people count: 2 before 12.
func homesByName(people *coordinator.People) []coordinator.Home {
	var out []coordinator.Home
	for _, h := range people.Homes {
		out = append(out, h)
	}
	slices.SortFunc(out, func(a, b coordinator.Home) int {
		return cmp.Or(cmp.Compare(len(a.Name), len(b.Name)), cmp.Compare(a.Name, b.Name), cmp.Compare(a.ID, b.ID))
	})
	return out
}

// found reports whether a home, or somebody of it, is called like what is searched for.
func found(h coordinator.Home, members []coordinator.Person, search string) bool {
	like := func(name string) bool { return strings.Contains(strings.ToLower(name), strings.ToLower(search)) }
	return like(h.Name) || slices.ContainsFunc(h.Also, like) ||
		slices.ContainsFunc(members, func(p coordinator.Person) bool { return p.Name != "" && like(p.Name) })
}

// uses counts browsers and devices by person.
type uses struct{ browsers, devices map[coordinator.PersonID]int }

func usesOf(people *coordinator.People, d dates) uses {
	u := uses{map[coordinator.PersonID]int{}, map[coordinator.PersonID]int{}}
	for _, v := range people.Sessions {
		if !v.Over(d.now) {
			u.browsers[v.Person]++
		}
	}
	for _, sub := range people.Subscriptions {
		u.devices[sub.Person]++
	}
	return u
}

func memberOf(p *coordinator.Person, u uses, d dates) memberLine {
	m := memberLine{
		ID: string(p.ID), Name: p.Name, Joined: d.day(p.Joined), Guest: d.at(p.Guest),
		Browsers: u.browsers[p.ID], Devices: u.devices[p.ID], Blocked: p.Blocked, Wall: strings.HasPrefix(string(p.ID), wallPrefix),
	}
	if m.Wall {
		m.Name = d.lang.Say("people.at-screen")
	}
	return m
}

// codesView is the sheet of the homes' codes, to print and cut.
type codesView struct {
	Homes   []choice // the id is the code
	Address string
	Missing int // homes without a code
}

// homeCodesPage shows it.
func (s *Server) homeCodesPage(c echo.Context) error {
	if s.manager(c) == nil {
		return s.redirect(c, "/manager")
	}
	v := codesView{Address: s.origin + s.base + "/"}
	for _, h := range homesByName(s.o.House.People()) {
		if h.Code == "" {
			v.Missing++
			continue
		}
		v.Homes = append(v.Homes, choice{h.Code, h.Name})
	}
	return s.render(c, http.StatusOK, "home-codes", v)
}
