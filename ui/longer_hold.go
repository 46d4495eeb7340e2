package ui

import (
	"cmp"
	"slices"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

// longerView lists the homes for which machines are kept longer, and the others.
type longerView struct {
	Path, Hold, Longer string
	On, Off            []homeChoice
}

type homeChoice struct {
	ID   coordinator.HomeID
	Name string
}

// longerHolds sorts the building's homes by whether the room keeps machines
// longer for them. A home of the building file that nobody joined yet has no name.
func longerHolds(sc *scene, people *coordinator.People) longerView {
	rules := &sc.snap.Rules
	v := longerView{Path: "/manager" + roomPath(sc.snap.Room) + "/longer-hold", Hold: sc.lang().Span(rules.Hold), Longer: sc.lang().Span(max(rules.Hold, rules.LongerHold))}
	for id, home := range people.Homes {
		c := homeChoice{id, home.Name}
		if slices.Contains(rules.LongerHoldHomes, id) {
			v.On = append(v.On, c)
		} else {
			v.Off = append(v.Off, c)
		}
	}
	for _, id := range rules.LongerHoldHomes {
		if _, known := people.Homes[id]; !known {
			v.On = append(v.On, homeChoice{id, sc.lang().Say("longer.unjoined")})
		}
	}
	for _, list := range [][]homeChoice{v.On, v.Off} {
		slices.SortFunc(list, func(a, b homeChoice) int { return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.ID, b.ID)) })
	}
	return v
}

// longerHold switches a home's longer hold.
func (s *Server) longerHold(c echo.Context) error {
	who, sc, err := s.managerScene(c)
	if err != nil {
		return err
	}
	f, err := parseForm(c.Request(), field{"do", "What to do", 3, false}, field{"home", "Home", 64, false})
	if err == nil && f["do"] != "on" && f["do"] != "off" {
		err = invalid("do", "This button is not known here. Please load the page anew.")
	}
	if err == nil {
		_, err = s.do(c, sc, coordinator.HoldLonger{Person: who.ID, Home: coordinator.HomeID(f["home"]), On: f["do"] == "on"})
	}
	if err == nil {
		return s.redirect(c, "/manager#rooms")
	}
	return s.refuseToday(c, err, problem{Form: "longer-hold", Typed: f})
}
