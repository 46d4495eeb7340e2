package ui

import (
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// whyLine answers "why did I get this?", or why not, for one notice.
type whyLine struct {
	At, Room, What string
	// Because is why the notice concerns the person, Then what became of it.
	Because, Then string
	Untold        bool
}

// whyLines explains deliveries to a person.
func (s *Server) whyLines(l *words.Language, rows []coordinator.Delivery, who *coordinator.Person) []whyLine {
	var out []whyLine
	for i := range rows {
		d := &rows[i]
		room, tell := s.tellOf(l, d.Notice.Subject.Room)
		then, told := tell.whatBecame(d, who)
		out = append(out, whyLine{
			At: tell.at(d.Notice.Made), Room: room, What: noticeText(l, &d.Notice),
			Because: because(l, d, who), Then: then, Untold: !told,
		})
	}
	return out
}

// because is why a notice concerns the person at all.
func because(l *words.Language, d *coordinator.Delivery, who *coordinator.Person) string {
	switch told := d.ToldTo(who); {
	case d.Notice.Role == coordinator.Managers:
		return l.Say("why.manager")
	case told != nil && told.ForHome:
		return l.Say("why.home")
	case d.Notice.Kind == coordinator.LoadWaiting, d.Notice.Subject.Turn != 0:
		return l.Say("why.queue")
	default:
		return l.Say("why.load")
	}
}

// whatBecame says whether and how the person was told, or why not.
func (t teller) whatBecame(d *coordinator.Delivery, who *coordinator.Person) (text string, told bool) {
	sent, letter, first, last := deviceOutcomes(d, who)
	decided := d.ToldTo(who)
	switch {
	case sent > 0:
		text := t.lang.Count("why.sent", sent, "at", t.at(first))
		if letter != nil {
			text += " " + t.byLetter(letter, decided)
		}
		return text, true
	case letter != nil:
		return t.byLetter(letter, decided), true
	case d.State == coordinator.Withdrawn:
		return t.lang.Say("why.settled"), false
	case decided == nil:
		return t.lang.Say("why.undecided"), false
	case decided.Reason == coordinator.ReasonNow && last != nil:
		return t.undelivered(last), false
	}
	return t.untold(decided), false
}

// untold says why a person is not told, or not yet.
func (t teller) untold(told *coordinator.Told) string {
	switch told.Reason {
	case coordinator.ReasonNow:
		return t.lang.Say("why.now")
	case coordinator.ReasonLater:
		return t.lang.Say("why.later", "at", t.at(told.Until))
	case coordinator.ReasonReplaced:
		return t.lang.Say("why.replaced")
	case coordinator.ReasonUnwanted:
		return t.lang.Say("why.unwanted")
	case coordinator.ReasonMuted:
		return t.lang.Say("why.muted", "at", t.at(told.Until))
	case coordinator.ReasonLate:
		return t.lang.Say("why.late")
	case coordinator.ReasonNoWay:
		return t.lang.Say("why.no-way")
	}
	return t.lang.Say("why.not-sent")
}

// byLetter says that a letter was sent, and why.
func (t teller) byLetter(r *coordinator.DeviceResult, decided *coordinator.Told) string {
	key := "why.letter"
	if decided == nil {
		return t.lang.Say(key, "at", t.at(r.At))
	}
	switch decided.Mail {
	case coordinator.MailAlso:
		key = "why.letter-both"
	case coordinator.MailOnly:
		key = "why.letter-only"
	case coordinator.MailInstead:
		key = "why.letter-instead"
	}
	return t.lang.Say(key, "at", t.at(r.At))
}

// deviceOutcomes counts the person's devices that were served, with the first
// such instant, and finds the letter that was sent, and the last of what was not.
func deviceOutcomes(d *coordinator.Delivery, who *coordinator.Person) (sent int, letter *coordinator.DeviceResult, first time.Time, last *coordinator.DeviceResult) {
	for i := range d.Devices {
		r := &d.Devices[i]
		switch {
		case !who.Is(r.Person):
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

func (t teller) undelivered(r *coordinator.DeviceResult) string {
	switch {
	case !r.Next.IsZero():
		return t.lang.Say("why.again", "at", t.at(r.Next))
	case r.ByMail():
		return t.lang.Say("why.letter-refused")
	case r.Gone:
		return t.lang.Say("why.gone")
	case r.Status == 0:
		return t.lang.Say("why.no-answer")
	}
	return t.lang.Say("why.refused", "status", r.Status)
}
