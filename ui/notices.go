package ui

import (
	"fmt"
	"time"

	"drumturn/coordinator"
)

// noticesShown is how many notices the manager's page lists.
const noticesShown = 50

// noticeLine is one notice in the manager's log, with what became of it and why.
type noticeLine struct {
	At, Room, What, To, State, Why string
	Failed                         bool
}

// noticeWords say what a notice is about.
var noticeWords = map[coordinator.NoticeKind]string{
	coordinator.TurnCalled:   "called to %s",
	coordinator.TurnMissed:   "missed the call to %s",
	coordinator.TurnEnded:    "missed a second call, turn ended",
	coordinator.TurnReturned: "called machine cannot be used, back at the head",
	coordinator.LoadBegun:    "load begun in %s",
	coordinator.LoadReady:    "load ready in %s",
	coordinator.LoadNudge:    "load still in %s",
	coordinator.LoadWaiting:  "next in the queue: a load is still in %s",
	coordinator.LoadLeft:     "load left in %s",
	coordinator.LoadMoved:    "load of %s put on the table",
	coordinator.LoadTaken:    "%s was said to be empty",
	coordinator.FaultTold:    "fault at %s",
	coordinator.MeterSilent:  "meter of %s silent",

	coordinator.LevelsChanged: "%s draws another power",
	coordinator.MachineOut:    "%s taken out of service, reported by two homes",
	coordinator.LoadFault:     "something is wrong with %s, load inside",
	coordinator.TurnClosed:    "the room closed, and the turn left as chosen",
	coordinator.TurnPassed:    "%s begun by somebody not called, place kept",
	coordinator.WalkUpTold:    "%s begun out of turn",
}

// noticeLines turns deliveries into lines and counts those that failed.
func (s *Server) noticeLines(rows []coordinator.Delivery, people *coordinator.People) ([]noticeLine, int) {
	var out []noticeLine
	failed := 0
	now := s.o.House.Now()
	for i := range rows {
		d := &rows[i]
		zone, room := time.UTC, string(d.Notice.Subject.Room)
		if snap := s.o.House.Snapshot(d.Notice.Subject.Room); snap != nil {
			room = snap.Name
			if snap.Zone != nil {
				zone = snap.Zone
			}
		}
		line := noticeLine{
			At: clock(d.Notice.Made, now, zone), Room: room, What: noticeText(&d.Notice), To: addressee(&d.Notice, people),
			State: stateWord(d), Why: d.Why, Failed: deliveryFailed(d),
		}
		if line.Failed {
			failed++
		}
		out = append(out, line)
	}
	return out, failed
}

func noticeText(n *coordinator.Notice) string {
	words, ok := noticeWords[n.Kind]
	if !ok {
		return string(n.Kind)
	}
	if !containsVerb(words) {
		return words
	}
	return fmt.Sprintf(words, fmt.Sprintf("%s %d", n.MachineKind, n.Machine))
}

func containsVerb(s string) bool {
	for i := 0; i+1 < len(s); i++ {
		if s[i] == '%' && s[i+1] == 's' {
			return true
		}
	}
	return false
}

// addressee says to whom a notice goes: the manager sees homes.
func addressee(n *coordinator.Notice, people *coordinator.People) string {
	if n.Role != "" {
		return "manager"
	}
	p, ok := people.Persons[n.To]
	if !ok {
		return "somebody who left"
	}
	if p.Manager {
		return "manager"
	}
	return "home " + people.Homes[p.Home].Name
}

// stateWord is what became of a notice.
func stateWord(d *coordinator.Delivery) string {
	switch d.State {
	case coordinator.Pending:
		if d.Tries > 0 {
			return "trying again"
		}
		return "waiting"
	case coordinator.Done:
		return "sent"
	case coordinator.Dropped:
		return "not sent"
	case coordinator.Withdrawn:
		return "no longer needed"
	}
	return string(d.State)
}

// deliveryFailed reports whether somebody should have been told and was not.
func deliveryFailed(d *coordinator.Delivery) bool {
	if d.State == coordinator.Dropped {
		return true
	}
	return d.State == coordinator.Pending && d.Tries > 0
}
