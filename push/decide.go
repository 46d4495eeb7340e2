package push

import (
	"slices"
	"strings"
	"time"

	"drumturn/coordinator"
)

// Reason says why a person is told, or is not.
type Reason uint8

// The reasons.
const (
	// SendNow: told at once, on every device.
	SendNow Reason = iota + 1
	// TooLate: telling it is pointless by now.
	TooLate
	// NoDevice: the person has switched notices on nowhere.
	NoDevice
	// NotWanted: the person did not ask for this kind of notice.
	NotWanted
	// MovedOut: the person no longer belongs to the building.
	MovedOut
)

var reasonWords = [...]string{
	SendNow:   "send now",
	TooLate:   "too late to be of use",
	NoDevice:  "no device: notices are not switched on",
	NotWanted: "not wanted: this kind was not asked for",
	MovedOut:  "moved out: nobody to tell",
}

// String returns the reason in words, as the log shows it.
func (r Reason) String() string {
	if int(r) < len(reasonWords) && reasonWords[r] != "" {
		return reasonWords[r]
	}
	return "?"
}

// Recipient is a person whom a notice may concern.
type Recipient struct {
	Person coordinator.Person
	// Known is false when the notice names somebody who has moved out.
	Known bool
	// ForHome: not the owner, but of the owner's home.
	ForHome bool
}

// Recipients lists whom n may concern: the person it is to (and, when a load is
// ready, the others of their home), or every manager. The order is that of the ids.
func Recipients(n *coordinator.Notice, people *coordinator.People) []Recipient {
	var out []Recipient
	if n.Role == coordinator.Managers {
		for _, p := range people.Managers() {
			out = append(out, Recipient{Person: p, Known: true})
		}
	}
	if n.To != "" {
		owner, known := people.Persons[n.To]
		owner.ID = n.To
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

// Decide is the one decision for a notice and a person who has so many devices.
func Decide(n *coordinator.Notice, r Recipient, devices int, now time.Time) Reason {
	switch {
	case !r.Known:
		return MovedOut
	case r.ForHome && !r.Person.TellForHome:
		return NotWanted
	case !now.Before(usefulUntil(n)):
		return TooLate
	case devices == 0:
		return NoDevice
	}
	return SendNow
}
