package ui

import (
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// noticesShown is how many notices the manager's page lists.
const noticesShown = 50

// noticeLine is one notice in the manager's log, with what became of it and why.
type noticeLine struct {
	At, Room, What, To, State, Why string
	Failed                         bool
}

// noticeLines turns deliveries into lines and counts those that failed.
func (s *Server) noticeLines(l *words.Language, rows []coordinator.Delivery, people *coordinator.People) ([]noticeLine, int) {
	var out []noticeLine
	failed := 0
	for i := range rows {
		d := &rows[i]
		room, tell := s.tellOf(l, d.Notice.Subject.Room)
		line := noticeLine{
			At: tell.at(d.Notice.Made), Room: room, What: noticeText(l, &d.Notice), To: addressee(l, &d.Notice, people),
			State: stateWord(l, d), Why: tell.rowWhy(d), Failed: deliveryFailed(d),
		}
		if line.Failed && d.Notice.Made.After(people.NoticesSeen) {
			failed++
		}
		out = append(out, line)
	}
	return out, failed
}

// noticeText says what a notice is about.
func noticeText(l *words.Language, n *coordinator.Notice) string {
	key := "about." + string(n.Kind)
	if !l.Has(key) {
		return string(n.Kind)
	}
	return l.Say(key, "machine", l.Say("kind."+n.MachineKind.String(), "n", n.Machine))
}

// tellOf is a room's name, and how to tell of it; a room that is no more has its
// id only.
func (s *Server) tellOf(l *words.Language, id coordinator.RoomID) (name string, tell teller) {
	tell = teller{now: s.o.House.Now(), zone: time.UTC, lang: l}
	snap := s.o.House.Snapshot(id)
	if snap == nil {
		return string(id), tell
	}
	if snap.Zone != nil {
		tell.zone = snap.Zone
	}
	return snap.Name, tell
}

// addressee says to whom a notice goes: the manager sees homes.
func addressee(l *words.Language, n *coordinator.Notice, people *coordinator.People) string {
	if n.Role != "" {
		return l.Say("log.manager")
	}
	p, ok := people.Now(n.To)
	if !ok {
		return l.Say("log.left")
	}
	if p.Manager {
		return l.Say("log.manager")
	}
	return l.Say("log.home", "home", people.Homes[p.Home].Name)
}

// stateWord is what became of a notice.
func stateWord(l *words.Language, d *coordinator.Delivery) string {
	switch d.State {
	case coordinator.Pending:
		if d.Tries > 0 {
			return l.Say("log.again")
		}
		return l.Say("log.waiting")
	case coordinator.Done:
		return l.Say("log.sent")
	case coordinator.Dropped:
		return l.Say("log.not-sent")
	case coordinator.Withdrawn:
		return l.Say("log.withdrawn")
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
