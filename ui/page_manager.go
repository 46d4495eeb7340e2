package ui

import (
	"context"
	"net/http"
	"net/url"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// managerView is "today": what needs a hand, then everything else.
type managerView struct {
	Use      bool // there is a page about the use
	Day      string
	Answers  []answerView
	Hands    []handView
	Rooms    []managerRoom
	Advice   []Advice
	Notices  []noticeLine
	Failed   int
	Plain    bool // cookies cross the network unprotected
	Push     bool
	Devices  int
	Thanks   string
	NoWay    string // the manager cannot be told of anything, and what to do
	Problem  *problem
	WallKeys bool
}

// handView is one thing that needs a hand, with the button that deals with it.
type handView struct {
	Room, Machine, What, Link string
	Act                       string // path of the form; empty when no button helps
	Do, Button                string
	Go                        string // page on which it is dealt with, where no form can
}

// managerRoom is a room with its invitation and machines.
type managerRoom struct {
	Name, Link, WallLink, InvitePath string
	SheetsLink, LogLink, RulesLink   string
	EnoughLink                       string
	Code, JoinAddress, QR            string
	Head                             headView
	Machines                         []managerMachine
	Longer                           longerView
}

// managerMachine is a machine's row with what the manager can do to it.
type managerMachine struct {
	Row       row
	Act       string
	Out, Hand bool
	Past      bool // there is a page about it, where Act is
	Faults    []faultLine
	Load      bool
	// Learned is what was learned of its power, a line each.
	Learned []string
}

// faultLine is a report as the manager reads it.
type faultLine struct{ At, Text, Home string }

// managerPage shows today, or the door.
func (s *Server) managerPage(c echo.Context) error {
	if s.manager(c) == nil {
		return s.showSignIn(c, http.StatusOK, signInView{})
	}
	return s.showToday(c, http.StatusOK, nil)
}

func (s *Server) showToday(c echo.Context, status int, p *problem) error {
	v, err := s.today(c.Request().Context(), s.lang(c), s.manager(c))
	if err != nil {
		return err
	}
	v.Problem = p
	return s.render(c, status, "manager", v)
}

// today gathers the page.
func (s *Server) today(ctx context.Context, l *words.Language, who *coordinator.Person) (managerView, error) {
	v := managerView{Use: s.o.Report != nil, Plain: !s.cookies.secure && !s.o.PlainCookies, Push: s.o.VAPIDKey != "", WallKeys: s.o.WallKey != ""}
	people := s.o.House.People()
	v.Devices = len(people.Devices(who.ID))
	var worn []handView
	for _, id := range s.o.House.Rooms() {
		sc := s.scenes.get(id, l)
		if sc == nil {
			continue
		}
		if v.Day == "" {
			local := sc.now.In(sc.tell().zone)
			v.Day = l.Day(local) + l.Say("list.comma") + local.Format("15:04")
		}
		v.Hands = append(v.Hands, hands(sc)...)
		if s.o.Worn != nil {
			drifts, err := s.o.Worn.Drifts(ctx, id)
			if err != nil {
				return v, err
			}
			worn = append(worn, driftHands(sc, drifts)...)
			v.Hands = append(v.Hands, driftHands(sc, drifts)...)
		}
		v.Rooms = append(v.Rooms, s.managerRoom(sc, people))
	}
	var err error
	if v.Answers, err = s.answers(ctx, l, len(v.Hands), worn); err != nil {
		return v, err
	}
	if s.o.NoWayToManager != nil {
		_, v.NoWay = s.o.NoWayToManager(l.Code())
	}
	if s.o.Advice != nil {
		v.Advice = s.o.Advice(l.Code())
	}
	if s.o.Deliveries != nil {
		rows, err := s.o.Deliveries(ctx, noticesShown)
		if err != nil {
			return v, err
		}
		v.Notices, v.Failed = s.noticeLines(l, rows, people)
	}
	return v, nil
}

func (s *Server) managerRoom(sc *scene, people *coordinator.People) managerRoom {
	room := sc.snap.Room
	v := managerRoom{
		Name: sc.snap.Name, Link: roomPath(room), WallLink: roomPath(room) + "/wall",
		InvitePath: "/manager" + roomPath(room) + "/invitation", SheetsLink: "/manager" + roomPath(room) + "/sheets", RulesLink: "/manager" + roomPath(room) + "/rules", LogLink: "/manager" + roomPath(room) + "/log", Head: boardHead(sc),
	}
	if s.o.Capacity != nil {
		v.EnoughLink = "/manager" + roomPath(room) + "/enough"
	}
	if s.o.WallKey != "" {
		v.WallLink += "?key=" + url.QueryEscape(s.o.WallKey)
	}
	if inv := people.Invitations[room]; inv.Code != "" {
		v.Code, v.JoinAddress = inv.Code, s.joinAddress(room, inv.Code)
		v.QR = roomPath(room) + "/join.svg?v=" + hashSecret(inv.Code)[:8]
	}
	v.Longer = longerHolds(sc, people)
	for i := range sc.snap.Machines {
		m := &sc.snap.Machines[i]
		mm := managerMachine{
			Past: s.o.Past != nil,
			Row:  machineRow(sc.snap, sc.axis, m, false), Act: "/manager" + machinePath(room, m.ID),
			Out: m.Status == coordinator.Out, Hand: m.ByHand, Load: m.Load != nil && m.Load.Ready() || m.MayHoldLoad,
		}
		mm.Learned = learnedLines(m.Learned, sc)
		for _, f := range m.Faults {
			home := people.Homes[f.Home].Name
			mm.Faults = append(mm.Faults, faultLine{At: sc.tell().at(f.At), Text: f.Text, Home: home})
		}
		v.Machines = append(v.Machines, mm)
	}
	return v
}
