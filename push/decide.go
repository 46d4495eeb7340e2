package push

import (
	"slices"
	"strings"
	"time"

	"drumturn/coordinator"
)

// Recipient is a person whom a notice may concern.
type Recipient struct {
	Person coordinator.Person
	// Known is false when the notice names somebody who has moved out.
	Known bool
	// ForHome: not the owner, but of the owner's home.
	ForHome bool
}

// Recipients lists whom n may concern: who the person it is to is now (and, when a load is
// ready, the others of their home), or every manager and caretaker. The order is
// that of the ids.
func (w *Ways) Recipients(n *coordinator.Notice, people *coordinator.People) []Recipient {
	var out []Recipient
	if n.Role == coordinator.Managers {
		for _, p := range append(people.Managers(), w.caretakers(people)...) {
			out = append(out, Recipient{Person: p, Known: true})
		}
	}
	if n.To != "" {
		owner, known := people.Now(n.To)
		out = append(out, Recipient{Person: owner, Known: known})
		if n.Kind == coordinator.LoadReady {
			out = append(out, othersOfHome(owner, people)...)
		}
	}
	slices.SortFunc(out, func(a, b Recipient) int { return strings.Compare(string(a.Person.ID), string(b.Person.ID)) })
	return out
}

func othersOfHome(owner coordinator.Person, people *coordinator.People) []Recipient {
	if owner.Home == "" {
		return nil
	}
	var out []Recipient
	for _, p := range people.Persons {
		if p.Home == owner.Home && p.ID != owner.ID {
			out = append(out, Recipient{Person: p, Known: true, ForHome: true})
		}
	}
	return out
}

// Case is all that a decision depends on.
type Case struct {
	Notice *coordinator.Notice
	Who    Recipient
	// Phones is how many devices of the person take notices, Lost how many of
	// these this notice could not reach.
	Phones, Lost int
	// Mail: the person can be told by e-mail.
	Mail bool
	// Newer is a later notice of the same thread to the same addressee; nil: none.
	Newer *coordinator.Newer
	// Zone is the clock that the person lives by: the room's. nil means UTC.
	Zone *time.Location
	Now  time.Time
}

// Decision is what is done for one person about one notice.
type Decision struct {
	Reason coordinator.Reason
	// Until is when to tell (ReasonLater), or when the person hears again (ReasonMuted).
	Until time.Time
	// Lang is the person's language, a BCP 47 tag; empty: none chosen.
	Lang string
	// Deadline is when telling this person is pointless.
	Deadline time.Time
	// Mail is whether an e-mail is sent (ReasonNow), and why.
	Mail coordinator.MailReason
}

// Decide is the one decision for a person and a notice. What is final comes
// first, then what the person chose, then what may change by itself.
func Decide(c Case) Decision {
	p := &c.Who.Person
	d := Decision{Lang: p.Lang, Deadline: deadline(c)}
	switch {
	case !c.Who.Known:
		d.Reason = coordinator.ReasonMovedOut
	case c.Who.ForHome && !p.TellForHome, !p.Wants(c.Notice.Kind):
		d.Reason = coordinator.ReasonUnwanted
	case !c.Now.Before(d.Deadline):
		d.Reason = coordinator.ReasonLate
	case c.replaced():
		d.Reason = coordinator.ReasonReplaced
	case c.Now.Before(p.MutedUntil):
		d.Reason, d.Until = coordinator.ReasonMuted, p.MutedUntil
	case c.Phones == 0 && !c.Mail:
		d.Reason = coordinator.ReasonNoWay
	default:
		d.Reason, d.Mail = coordinator.ReasonNow, mailReason(&c)
		if end := c.quietEnd(); !end.IsZero() {
			d.Reason, d.Until, d.Mail = coordinator.ReasonLater, end, ""
		}
	}
	return d
}

// replaced reports whether the newer notice tells this person instead: not one
// that they do not want, nor, to the others of a home, about anything but a
// load that is ready.
func (c *Case) replaced() bool {
	if c.Newer == nil || !c.Who.Person.Wants(c.Newer.Kind) {
		return false
	}
	return !c.Who.ForHome || c.Newer.Kind == coordinator.LoadReady
}

// quietEnd is when the person's quiet hours end, if they delay the notice now.
func (c *Case) quietEnd() time.Time {
	if !c.Notice.Kind.Waits() {
		return time.Time{}
	}
	return c.Who.Person.Quiet.Ends(c.Now, c.zone())
}

func (c *Case) zone() *time.Location {
	if c.Zone == nil {
		return time.UTC
	}
	return c.Zone
}

// deadline is when telling the person is pointless. Quiet hours do not count: a
// load that was not collected over night is worth a word in the morning.
func deadline(c Case) time.Time {
	until := usefulUntil(c.Notice)
	if !c.Notice.Kind.Waits() || c.Who.Person.Quiet.None() {
		return until
	}
	return c.Who.Person.Quiet.Past(c.Notice.Made, until, c.zone())
}
