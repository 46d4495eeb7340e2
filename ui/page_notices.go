package ui

import (
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
)

// whysShown is how many notices a person's own page explains.
const whysShown = 30

// choicesView is the page on which a person says what they want to be told of,
// and reads why they were.
type choicesView struct {
	// Path is the page's own path; its forms are below it.
	Path, Back  string
	Kinds       []kindChoice
	From, To    string // quiet hours, "22:00"; empty: none
	ForHome     bool
	Resident    bool
	MutedUntil  string
	Devices     int
	CanTry      bool
	Tried       []string
	Whys        []whyLine
	Problem     *problem
	MuteChoices []muteChoice
	Mail        *mailView
}

type kindChoice struct {
	Name, Words string
	On          bool
}

type muteChoice struct{ Value, Words string }

// muteChoices are how long one may want to hear nothing, in hours.
var muteChoices = []string{"2", "12", "24", "168"}

// muteWords are these in words.
func muteWords(l *words.Language) []muteChoice {
	var out []muteChoice
	for _, hours := range muteChoices {
		out = append(out, muteChoice{hours, l.Say("mute." + hours)})
	}
	return out
}

// party is whose page it is: a resident's or the manager's.
type party struct {
	path, back string
	who        func(*Server, echo.Context) *coordinator.Person
	kinds      func() []coordinator.NoticeKind
}

var (
	residents = party{"/me/notices", "/me", (*Server).visitor, coordinator.ResidentKinds}
	managers  = party{"/manager/notices", "/manager", (*Server).manager, coordinator.ManagerKinds}
)

// noticesPage shows the choices of a person.
func (s *Server) noticesPage(p party) echo.HandlerFunc {
	return func(c echo.Context) error {
		if p.who(s, c) == nil {
			return s.redirect(c, p.back)
		}
		return s.showChoices(c, p, http.StatusOK, nil, nil)
	}
}

func (s *Server) showChoices(c echo.Context, p party, status int, tried []string, wrong *problem) error {
	who, l := p.who(s, c), s.lang(c)
	v := choicesView{
		Path: p.path, Back: p.back, ForHome: who.TellForHome, Resident: p.path == residents.path, Tried: tried, Problem: wrong,
		Devices: len(s.o.House.People().Devices(who.ID)), CanTry: s.o.TryNotice != nil, MuteChoices: muteWords(l), Mail: s.viewMail(who),
	}
	for _, kind := range p.kinds() {
		v.Kinds = append(v.Kinds, kindChoice{string(kind), l.Say("notice-kind." + string(kind)), who.Wants(kind)})
	}
	if q := who.Quiet; !q.None() {
		v.From, v.To = q.From.String(), q.To.String()
	}
	now := s.o.House.Now()
	if who.MutedUntil.After(now) {
		v.MutedUntil = teller{now: now, zone: s.anyZone(), lang: l}.at(who.MutedUntil)
	}
	if s.o.DeliveriesTo != nil {
		rows, err := s.o.DeliveriesTo(c.Request().Context(), who.ID, whysShown)
		if err != nil {
			return err
		}
		v.Whys = s.whyLines(l, rows, who)
	}
	return s.render(c, status, "notices", v)
}

// anyZone is the clock of the building: that of its first room.
func (s *Server) anyZone() *time.Location {
	for _, id := range s.o.House.Rooms() {
		if snap := s.o.House.Snapshot(id); snap != nil && snap.Zone != nil {
			return snap.Zone
		}
	}
	return time.UTC
}

// setChoices keeps what the form says. A kind whose box is not ticked is off.
func (s *Server) setChoices(p party) echo.HandlerFunc {
	return s.choicesForm(p, func(c echo.Context, who *coordinator.Person) error {
		fields := []field{{"from", "Quiet from", 5, false}, {"to", "Quiet to", 5, false}, {"home", "Others of my home", 3, false}}
		for _, kind := range p.kinds() {
			fields = append(fields, field{string(kind), string(kind), 3, false})
		}
		f, err := parseForm(c.Request(), fields...)
		if err != nil {
			return err
		}
		quiet, err := readQuiet(f["from"], f["to"])
		if err != nil {
			return err
		}
		ev := coordinator.SetChoices{Person: who.ID, Quiet: quiet, TellForHome: f["home"] != "" || p.path != residents.path && who.TellForHome}
		for _, kind := range p.kinds() {
			if f[string(kind)] == "" {
				ev.Off = append(ev.Off, kind)
			}
		}
		return s.o.House.DoPeople(c.Request().Context(), ev)
	})
}

// mute keeps everything from a person for a while, or ends that.
func (s *Server) mute(p party) echo.HandlerFunc {
	return s.choicesForm(p, func(c echo.Context, who *coordinator.Person) error {
		f, err := parseForm(c.Request(), field{"hours", "How long", 4, false})
		if err != nil {
			return err
		}
		ev := coordinator.Mute{Person: who.ID}
		if f["hours"] != "" {
			hours, err := strconv.Atoi(f["hours"])
			if err != nil || !slices.Contains(muteChoices, f["hours"]) {
				return invalid("mute-length", "Choose how long you want to hear nothing.")
			}
			ev.Until = s.o.House.Now().Add(time.Duration(hours) * time.Hour)
		}
		return s.o.House.DoPeople(c.Request().Context(), ev)
	})
}

// choicesForm answers a form of the page: back to it, or the page with what is wrong.
func (s *Server) choicesForm(p party, do func(echo.Context, *coordinator.Person) error) echo.HandlerFunc {
	return func(c echo.Context) error {
		who := p.who(s, c)
		if who == nil {
			return signedOut
		}
		err := do(c, who)
		if _, text, known := refusal(s.lang(c), err); err != nil && known {
			return s.showChoices(c, p, http.StatusUnprocessableEntity, nil, &problem{Form: "choices", Text: text})
		}
		if err != nil {
			return err
		}
		return s.redirect(c, p.path)
	}
}

// tryNotice sends a notice now, and says what came of it.
func (s *Server) tryNotice(p party) echo.HandlerFunc {
	return func(c echo.Context) error {
		who := p.who(s, c)
		if who == nil {
			return signedOut
		}
		if _, err := parseForm(c.Request()); err != nil {
			return err
		}
		if s.o.TryNotice == nil {
			return coordinator.Refuse(coordinator.Conflict, "no-push", "This building sends no notices to phones.")
		}
		return s.showChoices(c, p, http.StatusOK, s.o.TryNotice(c.Request().Context(), who.ID, s.lang(c).Code()), nil)
	}
}

// readQuiet reads quiet hours; both fields empty mean none.
func readQuiet(from, to string) (coordinator.Quiet, error) {
	if from == "" && to == "" {
		return coordinator.Quiet{}, nil
	}
	begin, err := time.Parse("15:04", from)
	end, err2 := time.Parse("15:04", to)
	if err != nil || err2 != nil {
		return coordinator.Quiet{}, invalid("quiet", "Quiet hours need a beginning and an end, such as 22:00 and 07:00; leave both empty for none.")
	}
	return coordinator.Quiet{From: minutesOf(begin), To: minutesOf(end)}, nil
}

func minutesOf(t time.Time) queue.Clock { return queue.Clock(t.Hour()*60 + t.Minute()) }
