package ui

import (
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
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
		Name: sc.snap.Name, Back: "/manager#rooms", Day: from.Format("Monday 2 January 2006"), Path: "/manager" + roomPath(sc.snap.Room) + "/log",
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
	l := logLine{At: f.At.In(sc.tell().zone).Format("15:04:05"), What: factWords(f), Home: people.Homes[f.Home].Name}
	if m := sc.snap.Machine(f.Machine); m != nil {
		l.Machine = machineName(sc.lang(), m)
	} else {
		l.Machine = string(f.Machine)
	}
	return l
}

// factWords says what happened.
func factWords(f *coordinator.Fact) string {
	if f.Kind == coordinator.FactOvertaken {
		return "Turn " + callWord(f.By) + " was called before " + callWord(f.Turn) + ": " + overtakingWords[f.Why] + "."
	}
	what, known := factSentences[f.Kind]
	if !known {
		what = string(f.Kind)
	}
	parts := []string{what}
	if f.Turn != 0 {
		parts = append(parts, "turn "+callWord(f.Turn))
	}
	if f.Note != "" {
		parts = append(parts, f.Note)
	}
	if f.Wait > 0 {
		parts = append(parts, "after "+words.English().Span(f.Wait))
	}
	return strings.Join(parts, ", ") + "."
}

// overtakingWords say why a later turn was called first.
var overtakingWords = map[queue.Overtaking]string{
	queue.OverUnfit:    "the machine does not fit what the earlier one asked for",
	queue.OverReserved: "the machine is for other homes",
	queue.OverLater:    "the earlier one asked not to be called yet",
	queue.OverWash:     "the wash that its dryer is for is not over",
	queue.OverLimit:    "its home has as many loads in the room as it may",
	queue.OverClosed:   "its load would not be over before closing",
	queue.OverMissed:   "the earlier one missed a call",
	queue.OverLetNext:  "the earlier one let the next one go first",
	queue.OverReturned: "an earlier call of the later one had been taken back",
}

var factSentences = map[coordinator.FactKind]string{
	coordinator.FactJoined: "Joined the queue", coordinator.FactLeft: "Left the queue", coordinator.FactCalled: "Called",
	coordinator.FactMissed: "Missed a call", coordinator.FactForgiven: "A missed call counts no more: the machine had been started in time",
	coordinator.FactTakenBack: "A call was taken back", coordinator.FactPassed: "Put the turn off", coordinator.FactStarted: "Started",
	coordinator.FactWalkUp: "Started with nobody called", coordinator.FactCycle: "A cycle is over", coordinator.FactClaimed: "Claimed the load",
	coordinator.FactNotMine: "Said that the start was not theirs", coordinator.FactCollected: "The load was collected",
	coordinator.FactStillIn: "Said that the load is still inside", coordinator.FactNudged: "The ladder went on", coordinator.FactFault: "A fault was reported",
	coordinator.FactOut: "Out of service", coordinator.FactBack: "Back in service", coordinator.FactSilent: "The meter is silent",
	coordinator.FactHeard: "The meter is heard again", coordinator.FactSupply: "Supply interruption", coordinator.FactRules: "House rules changed",
	coordinator.FactLevels: "The machine's levels changed", coordinator.FactAssumed: "Nobody waits: assumed to be empty",
	coordinator.FactForgotten: "A load is forgotten", coordinator.FactOvertook: "Started by nobody who was called while somebody waited",
	coordinator.FactMoreTime: "Asked for more time", coordinator.FactTestRun: "A short test run gave the turn back", coordinator.FactChose: "Chose",
	coordinator.FactOnWay: "Is on the way", coordinator.FactShared: "A neighbour shares the load", coordinator.FactFetched: "Taken from the table",
}
