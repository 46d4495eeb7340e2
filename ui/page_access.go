package ui

import (
	"cmp"
	"net/http"
	"net/url"
	"slices"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

// inviteFor is how long a manager's one-time link holds.
const inviteFor = 3 * 24 * time.Hour

// accessView is the manager's page about ways in: their own, and who else has some.
type accessView struct {
	Name       string
	Passphrase bool
	Passkeys   []passkeyLine
	OnlyKeys   int    // passkeys that are all that lets the manager in; 0: there is a passphrase
	CanAdd     bool   // passkeys are possible here
	NewKey     string // the name of the passkey that is being added
	NoKeys     string // why they are not
	Sessions   []sessionLine
	Managers   []managerLine
	Invites    []inviteLine
	Link       *inviteLink // made just now
	Hours      int         // how long a link holds
	Thanks     string
	Problem    *problem
}

type passkeyLine struct {
	ID, Name, Made, Used string
	Suspect              bool
}

type sessionLine struct {
	ID, Device, Where, Since, Seen, Until string
	This                                  bool
}

type managerLine struct {
	ID, Name, Since, Seen string
	Passphrase            bool
	Keys                  int
	You                   bool
}

type inviteLine struct{ ID, Name, By, Until string }

// inviteLink is a one-time link, shown once.
type inviteLink struct{ Name, Address string }

// accessPage shows the ways in.
func (s *Server) accessPage(c echo.Context) error {
	who := s.manager(c)
	if who == nil {
		return s.redirect(c, "/manager")
	}
	return s.showAccess(c, who, http.StatusOK, nil, nil)
}

func (s *Server) showAccess(c echo.Context, who *coordinator.Person, status int, p *problem, link *inviteLink) error {
	people, t := s.o.House.People(), s.dates(c)
	way := people.WaysIn[who.ID]
	v := accessView{
		Name: who.Name, Passphrase: way.Passphrase != "", CanAdd: s.door != nil, NewKey: newKeyName(c), NoKeys: s.noKeys(c), Link: link,
		OnlyKeys: way.OnlyKeys(), Hours: int(inviteFor / time.Hour), Thanks: s.thanks(c), Problem: p,
	}
	for _, k := range way.Keys {
		v.Passkeys = append(v.Passkeys, passkeyLine{k.ID, k.Name, t.day(k.Made), t.at(k.Used), k.Suspect})
	}
	v.Sessions = s.sessionsOf(people, who.ID, sessionHash(c, s.cookies.manager), t)
	v.Managers, v.Invites = managersOf(people, who.ID, t), invitesOf(people, t)
	return s.render(c, status, "access", v)
}

// newKeyName is the name that was typed before the manager had to sign in once more.
func newKeyName(c echo.Context) string {
	name, err := field{"key", "Name", 60, false}.clean(c.QueryParams()["key"])
	if err != nil {
		return ""
	}
	return name
}

// sessionsOf lists the browsers that somebody is signed in on, the latest used first.
func (s *Server) sessionsOf(people *coordinator.People, who coordinator.PersonID, own string, t dates) []sessionLine {
	var all []coordinator.Session
	for _, v := range people.Sessions {
		if v.Person == who && !v.Over(t.now) {
			all = append(all, v)
		}
	}
	slices.SortFunc(all, func(a, b coordinator.Session) int {
		return cmp.Or(b.LastSeen().Compare(a.LastSeen()), cmp.Compare(a.Hash, b.Hash))
	})
	var out []sessionLine
	for _, v := range all {
		out = append(out, sessionLine{
			ID: sessionID(v.Hash), Device: deviceWords(t.lang, v.Device), Where: v.Where, Since: t.at(v.Made), Seen: t.at(v.LastSeen()),
			Until: t.day(v.Expires), This: v.Hash == own,
		})
	}
	return out
}

// sessionID names a session on a page: enough of its hash to tell it from others.
func sessionID(hash string) string { return hash[:min(20, len(hash))] }

// managersOf lists everybody who can sign in.
func managersOf(people *coordinator.People, who coordinator.PersonID, t dates) []managerLine {
	var out []managerLine
	for _, m := range people.Managers() {
		way := people.WaysIn[m.ID]
		var seen time.Time
		for _, v := range people.Sessions {
			if v.Person == m.ID && v.LastSeen().After(seen) {
				seen = v.LastSeen()
			}
		}
		out = append(out, managerLine{string(m.ID), m.Name, t.day(m.Joined), t.day(seen), way.Passphrase != "", len(way.Keys), m.ID == who})
	}
	return out
}

// invitesOf lists the one-time links that hold.
func invitesOf(people *coordinator.People, t dates) []inviteLine {
	var out []inviteLine
	for hash, v := range people.ManagerInvites {
		if t.now.Before(v.Expires) {
			out = append(out, inviteLine{hash, v.Name, people.Persons[v.By].Name, t.at(v.Expires)})
		}
	}
	slices.SortFunc(out, func(a, b inviteLine) int { return cmp.Compare(a.Name, b.Name) })
	return out
}

// access is a button of that page.
func (s *Server) access(c echo.Context) error {
	who := s.manager(c)
	if who == nil {
		return notManager
	}
	f, err := parseForm(c.Request(), field{"do", "What to do", 20, false}, field{"id", "Which", 200, false}, field{"name", "Name", 60, false},
		field{"passphrase", "Passphrase", maxPassphrase, true},
		field{"again", "Passphrase again", maxPassphrase, true}, field{"sure", "Yes, remove", 3, false})
	if err == nil && f["do"] == "invite" {
		var link *inviteLink
		if link, err = s.inviteManager(c, who, f["name"]); err == nil {
			return s.showAccess(c, who, http.StatusOK, nil, link)
		}
	} else if err == nil && f["do"] == "new-key" {
		return s.redirect(c, "/manager/access?"+url.Values{"key": {f["name"]}}.Encode()+"#keys")
	} else if err == nil {
		err = s.doAccess(c, who, f)
	}
	if err == nil {
		return s.redirect(c, "/manager/access?done="+accessDone[f["do"]])
	}
	status, text, known := refusal(s.lang(c), err)
	if !known {
		return err
	}
	return s.showAccess(c, who, status, &problem{Form: f["do"], Text: text, Typed: form{"name": f["name"], "id": f["id"]}}, nil)
}

// accessDone is what the page says after a button.
var accessDone = map[string]string{
	"rename": "kept", "passphrase": "passphrase", "no-passphrase": "passphrase", "name-key": "kept", "drop-key": "key-gone",
	"end": "browser-out", "others": "others-out", "take-back": "taken-back", "remove": "manager-gone",
}

// doAccess does what a button says.
func (s *Server) doAccess(c echo.Context, who *coordinator.Person, f form) error {
	own := sessionHash(c, s.cookies.manager)
	var ev coordinator.PeopleEvent
	switch f["do"] {
	case "rename":
		ev = coordinator.RenameManager{By: who.ID, Name: f["name"]}
	case "passphrase", "no-passphrase":
		phc, err := s.newPassphrase(c, f)
		if err != nil {
			return err
		}
		ev = coordinator.ChangePassphrase{By: who.ID, Passphrase: phc, Keep: own}
	case "name-key":
		ev = coordinator.NamePasskey{By: who.ID, ID: f["id"], Name: f["name"]}
	case "drop-key":
		ev = coordinator.DropPasskey{By: who.ID, ID: f["id"]}
	case "end":
		ev = coordinator.EndSession{Person: who.ID, Hash: s.sessionCalled(who.ID, f["id"])}
	case "others":
		ev = coordinator.SignOutOthers{Person: who.ID, Keep: own}
	case "take-back":
		ev = coordinator.DropManagerInvite{By: who.ID, Hash: f["id"]}
	case "remove":
		if f["sure"] != "yes" {
			return invalid("sure", "Please tick the box first: this cannot be undone.")
		}
		ev = coordinator.RemoveManager{By: who.ID, Person: coordinator.PersonID(f["id"])}
	default:
		return invalid("do", "This button is not known here. Please load the page anew.")
	}
	return s.o.House.DoPeople(c.Request().Context(), ev)
}

// newPassphrase gives the hash of the new one; empty for none.
func (s *Server) newPassphrase(c echo.Context, f form) (string, error) {
	if f["do"] == "no-passphrase" {
		return "", nil
	}
	if p := passphraseProblem(f["passphrase"], f["again"]); p != nil {
		return "", p
	}
	return s.hashPassphrase(c.Request().Context(), f["passphrase"])
}

// sessionCalled finds the hash of a session of somebody; empty when there is none.
func (s *Server) sessionCalled(who coordinator.PersonID, id string) string {
	for hash, v := range s.o.House.People().Sessions {
		if v.Person == who && id != "" && sessionID(hash) == id {
			return hash
		}
	}
	return ""
}

// inviteManager makes a one-time link.
func (s *Server) inviteManager(c echo.Context, who *coordinator.Person, name string) (*inviteLink, error) {
	token, hash, err := s.newSecret()
	if err != nil {
		return nil, err
	}
	ev := coordinator.InviteManager{By: who.ID, Hash: hash, Name: name, Expires: s.o.House.Now().Add(inviteFor)}
	if err := s.o.House.DoPeople(c.Request().Context(), ev); err != nil {
		return nil, err
	}
	return &inviteLink{Name: name, Address: s.origin + s.base + "/manager/invited?token=" + url.QueryEscape(token)}, nil
}
