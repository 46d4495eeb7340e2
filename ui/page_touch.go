package ui

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/queue"
)

// touchFor is how long the screen in the room takes somebody for who they said
// they are. Its script ends that a minute after the last touch.
const touchFor = 5 * time.Minute

// touchView is the page at the room's screen for people without a phone.
type touchView struct {
	Name, Path, Wall string
	Open             bool // residents name their home themselves
	Known            bool
	Home             string
	Typed            form
	Turns            []touchTurn
	Machines         []touchMachine
	Needs            []needChoice
	Thanks           string
	Problem          *problem
}

// touchTurn is a turn of the home's. Where homes are open, anybody may say at the
// screen that they live there: the word of a turn that was taken before is not
// shown then, and is asked for before the turn is changed.
type touchTurn struct {
	turnView
	Hidden bool
}

// touchTurns are the turns of who stands at the screen since so long.
func (sc *scene) touchTurns(own *ownership, since time.Time) []touchTurn {
	if own == nil {
		return nil
	}
	var out []touchTurn
	for i, v := range sc.mine(own).Turns {
		out = append(out, touchTurn{v, sc.wordHidden(own.turns[i], since)})
	}
	return out
}

func (sc *scene) wordHidden(t *queue.Turn, since time.Time) bool {
	return sc.snap.Rules.OpenHomes && t.Joined.Before(since)
}

// touchMachine is a machine at which the visitor has something to do.
type touchMachine struct {
	ID                 coordinator.MachineID
	Name, Word, Detail string
	Claim, Collect     bool
}

// touchPath is the page's address below the base.
func touchPath(sc *scene, key, done string) string {
	q := url.Values{"key": {key}}
	if done != "" {
		q.Set("done", done)
	}
	return roomPath(sc.snap.Room) + "/touch?" + q.Encode()
}

// touchScene finds the room, and refuses where the house has no screen to touch
// or the page was not opened at it.
func (s *Server) touchScene(c echo.Context) (*scene, error) {
	sc, err := s.sceneOf(c)
	if err != nil {
		return nil, err
	}
	if !sc.snap.Rules.WallTouch || !s.mayInvite(c) {
		return nil, echo.ErrNotFound
	}
	return sc, nil
}

// touchPage asks for the home, then shows what is theirs and what they can do.
func (s *Server) touchPage(c echo.Context) error {
	sc, err := s.touchScene(c)
	if err != nil {
		return err
	}
	return s.showTouch(c, sc, http.StatusOK, nil)
}

func (s *Server) showTouch(c echo.Context, sc *scene, status int, p *problem) error {
	key := c.QueryParam("key")
	v := touchView{
		Name: sc.snap.Name, Path: touchPath(sc, key, ""), Open: sc.snap.Rules.OpenHomes, Problem: p, Thanks: s.thanks(c),
		Wall: roomPath(sc.snap.Room) + "/wall?" + url.Values{"key": {key}}.Encode(), Typed: form{},
	}
	if p != nil {
		v.Typed = p.Typed
	}
	if who := s.atWall(c); who != nil {
		v.Known, v.Home = true, s.o.House.People().Homes[who.Home].Name
		v.Needs = takeForm(sc).Needs
		v.Turns = sc.touchTurns(ownershipOf(sc.snap, who), s.atWallSince(c))
		v.Machines = sc.touchMachines(who)
	}
	c.Response().Header().Set("Cache-Control", "no-store")
	return s.render(c, status, "touch", v)
}

// atWall is who stands at the screen; nil for nobody.
func (s *Server) atWall(c echo.Context) *coordinator.Person {
	return s.personOf(sessionHash(c, s.cookies.wall))
}

// atWallSince is when they said who they are.
func (s *Server) atWallSince(c echo.Context) time.Time {
	return s.o.House.People().Sessions[sessionHash(c, s.cookies.wall)].Made
}

// touchMachines are those with a load that could be the visitor's.
func (sc *scene) touchMachines(who *coordinator.Person) []touchMachine {
	var out []touchMachine
	t := sc.tell()
	for i := range sc.snap.Machines {
		m := &sc.snap.Machines[i]
		if v := viewMachine(sc, m, who); v.CanClaim || v.CanCollect {
			out = append(out, touchMachine{m.ID, machineName(sc.lang(), m), t.word(m), t.detail(m), v.CanClaim, v.CanCollect})
		}
	}
	return out
}

// touch is a tap at the screen.
func (s *Server) touch(c echo.Context) error {
	sc, err := s.touchScene(c)
	if err != nil {
		return err
	}
	f, err := parseForm(c.Request(), field{"do", "What to do", 20, false}, field{"home", "Home", 40, false},
		field{"home-code", "Code of the home", 64, false}, field{"need", "What to do", 20, false},
		field{"machine", "Machine", 64, false}, field{"turn", "Turn", 20, false}, field{"word", "Your word", 20, false})
	done := ""
	if err == nil {
		done, err = s.touched(c, sc, f)
	}
	if err == nil {
		if done == "done" {
			return s.redirect(c, roomPath(sc.snap.Room)+"/wall?"+url.Values{"key": {c.QueryParam("key")}}.Encode())
		}
		return s.redirect(c, touchPath(sc, c.QueryParam("key"), done))
	}
	status, text, known := refusal(s.lang(c), err)
	if !known {
		return err
	}
	return s.showTouch(c, sc, status, &problem{Form: f["do"], Text: text, Typed: f})
}

// touched does what was tapped; done is what the next page says.
func (s *Server) touched(c echo.Context, sc *scene, f form) (done string, err error) {
	switch f["do"] {
	case "enter":
		return "", s.enterAtWall(c, sc, f)
	case "done":
		hash := sessionHash(c, s.cookies.wall)
		s.setCookie(c, s.cookies.wall, "", 0)
		if s.personOf(hash) == nil {
			return "done", nil
		}
		return "done", s.o.House.DoPeople(c.Request().Context(), coordinator.SignOut{SessionHash: hash})
	}
	who := s.atWall(c)
	if who == nil {
		return "", coordinator.Refuse(coordinator.NotAllowed, "touch-over", "That took a while, so the screen forgot who you are. Please begin anew.")
	}
	ev, done, err := touchEvent(sc, f, who, s.o.House.Now())
	if err == nil {
		err = sc.checkWord(f, s.atWallSince(c))
	}
	if err == nil {
		_, err = s.do(c, sc, ev)
	}
	return done, err
}

// touchEvent reads what somebody at the screen wants.
func touchEvent(sc *scene, f form, who *coordinator.Person, now time.Time) (coordinator.Event, string, error) {
	switch f["do"] {
	case "join":
		ev, err := readJoin(f)
		ev.Person, ev.Home = who.ID, who.Home
		return ev, "", err
	case "claim", "collected":
		m, err := machineOf(sc, f["machine"])
		if err != nil {
			return nil, "", err
		}
		return machineEvent(f, m.ID, who)
	}
	turn, err := strconv.ParseUint(f["turn"], 10, 64)
	if err != nil {
		return nil, "", invalid("do", "This button is not known here. Please load the page anew.")
	}
	return turnEvent(f, coordinator.TurnID(turn), who, now)
}

// checkWord asks for the word of a turn that is to be changed, where it is hidden.
func (sc *scene) checkWord(f form, since time.Time) error {
	for i := range sc.snap.Turns {
		t := &sc.snap.Turns[i]
		if f["turn"] != strconv.FormatUint(uint64(t.ID), 10) || !sc.wordHidden(t, since) {
			continue
		}
		if !strings.EqualFold(f["word"], callWord(t.ID)) {
			return coordinator.Refuse(coordinator.NotAllowed, "touch-word", "That is not the word of this turn.")
		}
	}
	return nil
}

// enterAtWall takes the home's word for it, or its code. Whoever joins at the
// screen is one person for the whole home: the screen is all that can call them.
func (s *Server) enterAtWall(c echo.Context, sc *scene, f form) error {
	if !s.limits.join.allow(limitKey(c.RealIP()), time.Now()) {
		return tooMany
	}
	people := s.o.House.People()
	f["code"] = people.Invitations[sc.snap.Room].Code
	if err := joinProblem(sc, f); err != nil {
		return err
	}
	secret, hash, err := s.newSecret()
	if err != nil {
		return err
	}
	homeCode, err := s.newCode(invitationLetters)
	if err != nil {
		return err
	}
	err = s.o.House.DoPeople(c.Request().Context(), coordinator.JoinBuilding{
		Room: sc.snap.Room, Code: f["code"], HomeName: f["home"], HomeCode: f["home-code"], Open: sc.snap.Rules.OpenHomes,
		Lang:  s.lang(c).Code(),
		NewID: wallPerson(people, sc.snap.Rules.OpenHomes, f), NewHomeCode: homeCode,
		SessionHash: hash, Expires: s.o.House.Now().Add(touchFor), Inside: true,
	})
	if err != nil {
		return err
	}
	cookie := s.cookie(s.cookies.wall, secret, 1)
	cookie.MaxAge = int(touchFor / time.Second)
	c.SetCookie(cookie)
	return nil
}

// wallPrefix begins the ids of those who have no phone: a whole home each.
const wallPrefix = "wall-"

// wallPerson is who a home is at the screens.
func wallPerson(people *coordinator.People, open bool, f form) coordinator.PersonID {
	home := coordinator.HomeIDFor(f["home"])
	if open {
		if h, ok := people.HomeCalled(f["home"]); ok {
			home = h.ID
		}
	} else if h, ok := people.HomeByCode(f["home-code"]); ok {
		home = h.ID
	}
	return coordinator.PersonID(wallPrefix + string(home))
}
