package push

import (
	"fmt"
	"slices"
	"strings"

	"drumturn/coordinator"
)

// Ways are how a house can tell people. The zero value: their phones only.
type Ways struct {
	// NoPhones: push is not set up.
	NoPhones bool
	// Mail: letters can be sent. The Sender then takes messages to mailto: endpoints.
	Mail bool
	// Caretakers are addresses that are told what managers are, in CaretakersLang.
	Caretakers     []string
	CaretakersLang string
}

// phones are the person's devices that take notices by push, in no order.
func (w *Ways) phones(people *coordinator.People, id coordinator.PersonID) []coordinator.Subscription {
	if w.NoPhones {
		return nil
	}
	return people.Devices(id)
}

// mail is the person's address as a device; ok is false when letters do not reach them.
func (w *Ways) mail(p *coordinator.Person) (coordinator.Subscription, bool) {
	if !w.Mail || p.Mail.Address == "" {
		return coordinator.Subscription{}, false
	}
	return coordinator.Subscription{ID: coordinator.MailDevice(p.ID), Person: p.ID, Endpoint: mailto + p.Mail.Address, Made: p.Mail.Since}, true
}

// all are the person's phones and address.
func (w *Ways) all(people *coordinator.People, p *coordinator.Person) []coordinator.Subscription {
	out := slices.Clone(w.phones(people, p.ID))
	if address, ok := w.mail(p); ok {
		out = append(out, address)
	}
	return out
}

// has reports whether a device is still one of the person's.
func (w *Ways) has(people *coordinator.People, p *coordinator.Person, device coordinator.Subscription) bool {
	if byMail(device) {
		now, ok := w.mail(p)
		return ok && now.Endpoint == device.Endpoint
	}
	return people.Subscriptions[device.ID].Person == p.ID && !w.NoPhones
}

// byMail reports whether a device is an address.
func byMail(device coordinator.Subscription) bool { return strings.HasPrefix(device.Endpoint, mailto) }

// mailto begins the endpoint of an address.
const mailto = "mailto:"

// caretakers are the house's own addresses as people, but for those that a
// manager has confirmed: nobody is told twice.
func (w *Ways) caretakers(people *coordinator.People) []coordinator.Person {
	var out []coordinator.Person
	for i, address := range w.Caretakers {
		own := slices.ContainsFunc(people.ByMail(address), func(p coordinator.Person) bool { return p.Manager })
		if !w.Mail || own {
			continue
		}
		id := coordinator.PersonID(fmt.Sprintf("caretaker:%d", i))
		out = append(out, coordinator.Person{ID: id, Manager: true, Lang: w.CaretakersLang, Mail: coordinator.Mail{Address: address}})
	}
	return out
}

// person is who has the id now; a caretaker is not among the people.
func (w *Ways) person(people *coordinator.People, id coordinator.PersonID) (coordinator.Person, bool) {
	if strings.HasPrefix(string(id), "caretaker:") {
		for _, p := range w.caretakers(people) {
			if p.ID == id {
				return p, true
			}
		}
	}
	return people.Now(id)
}

// givenUpAfter is after how many tries in vain a phone counts as one that
// cannot be reached, although trying goes on.
const givenUpAfter = 3

// lost counts the phones that a row could not reach.
func lost(results []coordinator.DeviceResult, phones []coordinator.Subscription) int {
	n := 0
	for _, d := range phones {
		r := findResult(results, d.ID)
		if r != nil && !r.Sent && (r.Next.IsZero() || r.Tries >= givenUpAfter || r.Tries == 0) {
			n++ // no try at all: its push service does not answer to others either
		}
	}
	return n
}

// mailReason says whether an e-mail is sent, and why.
func mailReason(c *Case) coordinator.MailReason {
	switch {
	case !c.Mail:
		return ""
	case c.Phones == 0:
		return coordinator.MailOnly
	case c.Who.Person.Mail.Also:
		return coordinator.MailAlso
	case c.Lost >= c.Phones:
		return coordinator.MailInstead
	}
	return coordinator.MailSpare
}
