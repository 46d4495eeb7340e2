package ui

import (
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// logView is one day of a room's log, newest first.
type logView struct {
	Name, Back, Day    string
	Path, Before, Next string // addresses of the days around it; empty for none
	Lines              []logLine
	More               bool // the day has more than are shown
}

type logLine struct{ At, What, Machine, Home string }

// longestLog is how many lines of a day are shown.
const longestLog = 500

// logPage shows what happened in a room on one day, to the manager.
func (s *Server) logPage(c echo.Context) error {
	_, sc, err := s.managerScene(c)
	if err != nil {
		return err
	}
	zone := sc.tell().zone
	day, err := time.ParseInLocation(time.DateOnly, c.QueryParam("day"), zone)
	if err != nil {
		day, err = sc.now.In(zone), nil
	}
	from := time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, zone)
	next := from.AddDate(0, 0, 1)
	v := logView{
		Name: sc.snap.Name, Back: "/manager#rooms", Day: s.lang(c).Date(from), Path: "/manager" + roomPath(sc.snap.Room) + "/log",
		Before: from.AddDate(0, 0, -1).Format(time.DateOnly),
	}
	if next.Before(sc.now) {
		v.Next = next.Format(time.DateOnly)
	}
	if s.o.Facts != nil {
		people := s.o.House.People()
		err = s.o.Facts(c.Request().Context(), sc.snap.Room, from, next, func(f coordinator.Fact) bool {
			v.Lines = append(v.Lines, lineOf(&f, sc, people))
			return true
		})
	}
	if err != nil {
		return err
	}
	slices.Reverse(v.Lines)
	if len(v.Lines) > longestLog {
		v.Lines, v.More = v.Lines[:longestLog], true
	}
	return s.render(c, http.StatusOK, "log", v)
}

// lineOf is a fact as the manager reads it: homes, never persons.
func lineOf(f *coordinator.Fact, sc *scene, people *coordinator.People) logLine {
	l := logLine{At: f.At.In(sc.tell().zone).Format("15:04:05"), What: factWords(sc.lang(), f), Home: people.Homes[f.Home].Name}
	if m := sc.snap.Machine(f.Machine); m != nil {
		l.Machine = machineName(sc.lang(), m)
	} else {
		l.Machine = string(f.Machine)
	}
	return l
}

// factWords says what happened.
func factWords(l *words.Language, f *coordinator.Fact) string {
	if f.Kind == coordinator.FactOvertaken {
		return l.Say("log.overtaken", "by", callWord(f.By), "turn", callWord(f.Turn), "why", l.Say("overtaking."+string(f.Why)))
	}
	what := string(f.Kind)
	if key := "fact." + what; l.Has(key) {
		what = l.Say(key)
	}
	parts := []string{what}
	if f.Turn != 0 {
		parts = append(parts, l.Say("log.turn", "word", callWord(f.Turn)))
	}
	if f.Note != "" {
		parts = append(parts, noteWords(l, f.Note))
	}
	if f.Wait > 0 {
		parts = append(parts, l.Say("log.waited", "span", l.Span(f.Wait)))
	}
	return strings.Join(parts, l.Say("list.comma")) + "."
}

// noteWords says what stands behind a fact: one of the room's own notes, or what
// somebody typed, which is quoted.
func noteWords(l *words.Language, note string) string {
	if step, who, ok := strings.Cut(note, ": "); ok && strings.HasPrefix(step, "step ") && l.Has("ladder."+who) {
		return l.Say("log.step", "n", strings.TrimPrefix(step, "step "), "who", l.Say("ladder."+who))
	}
	if key := noteKey(note); l.Has(key) {
		return l.Say(key)
	}
	return l.Say("log.quote", "text", note)
}

// noteKey is where the catalogue has a note.
func noteKey(note string) string {
	return "fact-note." + strings.NewReplacer(" ", "-", "_", "-").Replace(note)
}
