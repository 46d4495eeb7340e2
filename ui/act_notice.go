package ui

import (
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// noticeAnswer is what a phone shows after a button of a notice was pressed: it
// takes the notice's place, with the buttons that are still of use.
type noticeAnswer struct {
	Title   string         `json:"title"`
	Body    string         `json:"body"`
	Buttons []noticeButton `json:"buttons,omitempty"`
}

type noticeButton struct {
	Do    string `json:"do"`
	Title string `json:"title"`
}

// What of a notice can still be done after one of its buttons was pressed, and
// after one was refused; all else settles what the notice was about.
var (
	stillAfter   = map[string]string{"on-my-way": "let-next", "more-time": "collected"}
	stillRefused = map[string]string{"on-my-way": "let-next", "let-next": "on-my-way", "more-time": "collected"}
)

// stillOffered is that button in words.
func stillOffered(l *words.Language, left map[string]string, pressed string) []noticeButton {
	do := left[pressed]
	if do == "" {
		return nil
	}
	return []noticeButton{{do, l.Say("button." + do)}}
}

// fromNotice reports whether the service worker asks, which shows no page.
func fromNotice(c echo.Context) bool {
	return strings.HasPrefix(c.Request().Header.Get("Accept"), "application/json")
}

// loadAct is a button of a notice about a load. It is posted by the service
// worker, whose requests carry the browser's own word for where they come from,
// as a page's do: another site cannot press it.
func (s *Server) loadAct(c echo.Context) error {
	who, sc, err := s.residentScene(c)
	if err != nil {
		return err
	}
	id, err := strconv.ParseUint(param(c, "load"), 10, 64)
	if err != nil || id == 0 {
		return echo.ErrNotFound
	}
	f, err := parseForm(c.Request(), field{"do", "What to do", 20, false})
	if err == nil {
		var ev coordinator.Event
		if ev, err = loadEvent(f["do"], coordinator.LoadID(id), who); err == nil {
			_, err = s.do(c, sc, ev)
		}
	}
	return s.answerNotice(c, sc, f["do"], err)
}

// loadEvent reads what is said about a load.
func loadEvent(do string, load coordinator.LoadID, who *coordinator.Person) (coordinator.Event, error) {
	switch do {
	case "collected":
		return coordinator.Collect{Load: load, Person: who.ID, Home: who.Home}, nil
	case "more-time":
		return coordinator.MoreTime{Load: load, Person: who.ID, Home: who.Home}, nil
	case "not-me":
		return coordinator.NotMe{Load: load, Person: who.ID, Home: who.Home}, nil
	case "still-inside":
		return coordinator.StillInside{Load: load, Person: who.ID, Home: who.Home}, nil
	}
	return nil, invalid("do", "This button is not known here. Please load the page anew.")
}

// answerNotice says in the person's language what came of a button.
func (s *Server) answerNotice(c echo.Context, sc *scene, do string, err error) error {
	lang := s.lang(c)
	c.Response().Header().Set("Cache-Control", "no-store")
	if err != nil {
		status, text, known := refusal(lang, err)
		if !known {
			return err
		}
		return c.JSON(status, noticeAnswer{lang.Say("answer.refused"), text, stillOffered(lang, stillRefused, do)})
	}
	until := ""
	if id, e := strconv.ParseUint(param(c, "load"), 10, 64); e == nil {
		until = s.moreUntil(sc.snap.Room, coordinator.LoadID(id), lang)
	}
	return c.JSON(http.StatusOK, noticeAnswer{lang.Say("answer.done"), lang.Say("answer."+do, "until", until), stillOffered(lang, stillAfter, do)})
}

// moreUntil is until when a load's owner has more time, on the room's clock.
func (s *Server) moreUntil(room coordinator.RoomID, load coordinator.LoadID, lang *words.Language) string {
	snap := s.o.House.Snapshot(room)
	for i := range snap.Machines {
		if l := snap.Machines[i].Load; l != nil && l.ID == load && snap.Zone != nil {
			return lang.Clock(l.MoreUntil.In(snap.Zone), s.o.House.Now().In(snap.Zone))
		}
	}
	return ""
}
