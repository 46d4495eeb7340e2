package ui

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"drumturn/coordinator"
)

// whyLine answers "why did I get this?", or why not, for one notice.
type whyLine struct {
	At, Room, What string
	// Because is why the notice concerns the person, Then what became of it.
	Because, Then string
	Untold        bool
}

// whyLines explains deliveries to a person.
func (s *Server) whyLines(rows []coordinator.Delivery, who *coordinator.Person) []whyLine {
	var out []whyLine
	now := s.o.House.Now()
	for i := range rows {
		d := &rows[i]
		room, zone := string(d.Notice.Subject.Room), time.UTC
		if snap := s.o.House.Snapshot(d.Notice.Subject.Room); snap != nil {
			room = snap.Name
			if snap.Zone != nil {
				zone = snap.Zone
			}
		}
		then, told := whatBecame(d, who.ID, func(t time.Time) string { return clock(t, now, zone) })
		out = append(out, whyLine{
			At: clock(d.Notice.Made, now, zone), Room: room, What: noticeText(&d.Notice),
			Because: because(d, who.ID), Then: then, Untold: !told,
		})
	}
	return out
}

// because is why a notice concerns the person at all.
func because(d *coordinator.Delivery, who coordinator.PersonID) string {
	switch told := toldOf(d, who); {
	case d.Notice.Role == coordinator.Managers:
		return "You look after the building."
	case told != nil && told.ForHome:
		return "It is a load of your home, and you asked to be told of those."
	case d.Notice.Kind == coordinator.LoadWaiting, d.Notice.Subject.Turn != 0:
		return "You stood in the queue."
	default:
		return "It is about your load."
	}
}

func toldOf(d *coordinator.Delivery, who coordinator.PersonID) *coordinator.Told {
	i := slices.IndexFunc(d.Told, func(t coordinator.Told) bool { return t.Person == who })
	if i < 0 {
		return nil
	}
	return &d.Told[i]
}

// whatBecame says whether and how the person was told, or why not.
func whatBecame(d *coordinator.Delivery, who coordinator.PersonID, at func(time.Time) string) (text string, told bool) {
	sent, letter, first, last := deviceOutcomes(d, who)
	decided := toldOf(d, who)
	switch {
	case sent > 0:
		text := fmt.Sprintf("Sent to %s of yours at %s.", countOf(sent, "device"), at(first))
		if letter != nil {
			text += byLetter(letter, decided, at)
		}
		return text, true
	case letter != nil:
		return strings.TrimSpace(byLetter(letter, decided, at)), true
	case d.State == coordinator.Withdrawn:
		return "Not sent: it was settled before.", false
	case decided == nil:
		return "Not decided yet.", false
	case decided.Reason == coordinator.ReasonNow && last != nil:
		return undelivered(last, at), false
	}
	return untold(decided, at), false
}

// untold says why a person is not told, or not yet.
func untold(t *coordinator.Told, at func(time.Time) string) string {
	switch t.Reason {
	case coordinator.ReasonNow:
		return "It is being sent."
	case coordinator.ReasonLater:
		return "It waits for your quiet hours to end at " + at(t.Until) + "."
	case coordinator.ReasonReplaced:
		return "Not sent: a newer notice about the same took its place."
	case coordinator.ReasonUnwanted:
		return "Not sent: you do not want to be told of this."
	case coordinator.ReasonMuted:
		return "Not sent: you wanted to hear nothing until " + at(t.Until) + "."
	case coordinator.ReasonLate:
		return "Not sent: it was too late to be of use."
	case coordinator.ReasonNoWay:
		return "Not sent: no device of yours is told anything, nor an e-mail address."
	}
	return "Not sent."
}

// byLetter says that a letter was sent, and why.
func byLetter(r *coordinator.DeviceResult, decided *coordinator.Told, at func(time.Time) string) string {
	text := " An e-mail was sent at " + at(r.At)
	if decided == nil {
		return text + "."
	}
	switch decided.Mail {
	case coordinator.MailAlso:
		return text + ", as you asked for both."
	case coordinator.MailOnly:
		return text + ": no phone of yours takes notices."
	case coordinator.MailInstead:
		return text + ": no phone of yours could be reached."
	}
	return text + "."
}

// deviceOutcomes counts the person's devices that were served, with the first
// such instant, and finds the letter that was sent, and the last of what was not.
func deviceOutcomes(d *coordinator.Delivery, who coordinator.PersonID) (sent int, letter *coordinator.DeviceResult, first time.Time, last *coordinator.DeviceResult) {
	for i := range d.Devices {
		r := &d.Devices[i]
		switch {
		case r.Person != who:
		case r.Sent && r.ByMail():
			letter = r
		case !r.Sent:
			last = r
		default:
			if sent++; first.IsZero() || r.At.Before(first) {
				first = r.At
			}
		}
	}
	return sent, letter, first, last
}

func undelivered(r *coordinator.DeviceResult, at func(time.Time) string) string {
	switch {
	case !r.Next.IsZero():
		return "Not through yet: it is tried again at " + at(r.Next) + "."
	case r.ByMail():
		return "Not sent: the mail server did not take the e-mail."
	case r.Gone:
		return "Not sent: your device no longer takes notices from here. Switch them on again on it."
	case r.Status == 0:
		return "Not sent: your device's push service did not answer in time."
	}
	return fmt.Sprintf("Not sent: your device's push service refused it (%d).", r.Status)
}
