package push

import (
	"slices"
	"strings"
	"time"

	"drumturn/coordinator"
)

// target is one device that a row must still reach.
type target struct {
	who      Recipient
	device   coordinator.Subscription
	deadline time.Time
}

// plan is what is to be done about a row now.
type plan struct {
	row coordinator.Delivery
	// due are the devices to try now; those that wait for their next try are
	// only in row.Devices.
	due []target
}

// planRow decides for every person that the row's notice may concern, and writes
// the decisions into the row. Devices that were served, or given up, are not
// tried again; a device whose person no longer wants or may have the notice is
// given up. zone is the room's.
func (w *Ways) planRow(row coordinator.Delivery, people *coordinator.People, zone *time.Location, now time.Time) plan {
	row.Devices, row.Told = slices.Clone(row.Devices), slices.Clone(row.Told)
	p := plan{row: row}
	wanted := map[string]bool{}
	recipients := w.Recipients(&row.Notice, people)
	p.row.Told = slices.DeleteFunc(p.row.Told, func(t coordinator.Told) bool { return waitsForNobody(t, recipients) })
	for _, who := range recipients {
		devices := w.phones(people, who.Person.ID)
		address, reached := w.mail(&who.Person)
		decision := Decide(Case{
			Notice: &row.Notice, Who: who, Phones: len(devices), Lost: lost(row.Devices, devices), Mail: reached,
			Newer: row.Newer, Zone: zone, Now: now,
		})
		decide(&p.row, who, decision, now)
		if decision.Reason != coordinator.ReasonNow {
			continue
		}
		if decision.Mail.ByMail() && !hadLetter(&row, &who.Person) {
			devices = append(slices.Clone(devices), address)
		}
		for _, d := range devices {
			wanted[d.ID] = true
			if past := findResult(row.Devices, d.ID); past == nil || dueAgain(past, now) {
				p.due = append(p.due, target{who, d, decision.Deadline})
			}
		}
	}
	slices.SortFunc(p.due, func(a, b target) int { return strings.Compare(a.device.ID, b.device.ID) })
	for i := range p.row.Devices {
		if d := &p.row.Devices[i]; !wanted[d.Device] {
			d.Next = time.Time{}
		}
	}
	return p
}

// waitsForNobody reports whether somebody was to be told later whom the notice does
// not concern any more under that id: who has left, or is one with somebody else.
func waitsForNobody(t coordinator.Told, recipients []Recipient) bool {
	is := func(r Recipient) bool { return r.Person.ID == t.Person }
	return t.Reason == coordinator.ReasonLater && !slices.ContainsFunc(recipients, is)
}

// decide writes a decision into row.Told, which must be the caller's own. What was
// decided earlier stays where the person has been told since; and the same
// decision once more keeps its instant.
func decide(row *coordinator.Delivery, who Recipient, d Decision, now time.Time) {
	told := coordinator.Told{Person: who.Person.ID, ForHome: who.ForHome, Reason: d.Reason, Until: d.Until, At: now, Mail: d.Mail}
	was := row.ToldTo(&who.Person)
	switch {
	case was == nil:
		row.Told = append(row.Told, told)
	case was.Reason == told.Reason && was.Until.Equal(told.Until) && was.Mail == told.Mail, d.Reason != coordinator.ReasonNow && hasMessage(row, &who.Person):
	default:
		*was = told
	}
}

// hasMessage reports whether a device of the person has the message.
func hasMessage(row *coordinator.Delivery, person *coordinator.Person) bool {
	return slices.ContainsFunc(row.Devices, func(d coordinator.DeviceResult) bool { return d.Sent && person.Is(d.Person) })
}

// hadLetter reports whether a letter about the row was sent to the person under a former id.
func hadLetter(row *coordinator.Delivery, person *coordinator.Person) bool {
	return slices.ContainsFunc(person.Former, func(id coordinator.PersonID) bool {
		d := findResult(row.Devices, coordinator.MailDevice(id))
		return d != nil && d.Sent
	})
}

func dueAgain(d *coordinator.DeviceResult, now time.Time) bool {
	return !d.Next.IsZero() && !d.Next.After(now)
}

func findResult(results []coordinator.DeviceResult, device string) *coordinator.DeviceResult {
	for i := range results {
		if results[i].Device == device {
			return &results[i]
		}
	}
	return nil
}

// hasReason reports whether that was decided about somebody.
func hasReason(row *coordinator.Delivery, reasons ...coordinator.Reason) bool {
	return slices.ContainsFunc(row.Told, func(t coordinator.Told) bool { return slices.Contains(reasons, t.Reason) })
}
