package push

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"drumturn/coordinator"
)

// target is one device that a row must still reach.
type target struct {
	person coordinator.Person
	device coordinator.Subscription
}

// plan is what is to be done about a row now.
type plan struct {
	row coordinator.Delivery
	// due are the devices to try now; those that wait for their next try are
	// only in row.Devices.
	due []target
}

// planRow decides for every person that the row's notice may concern. Devices
// that were served, or given up, are not tried again; a device whose person no
// longer wants or may have the notice is given up.
func planRow(row coordinator.Delivery, people *coordinator.People, now time.Time) plan {
	row.Devices = slices.Clone(row.Devices)
	p := plan{row: row}
	wanted := map[string]bool{}
	reasons := map[Reason]bool{}
	for _, r := range Recipients(&row.Notice, people) {
		devices := people.Devices(r.Person.ID)
		reason := Decide(&row.Notice, r, len(devices), now)
		reasons[reason] = true
		if reason != SendNow {
			continue
		}
		for _, d := range devices {
			wanted[d.ID] = true
			if past := findResult(row.Devices, d.ID); past == nil || dueAgain(past, now) {
				p.due = append(p.due, target{r.Person, d})
			}
		}
	}
	slices.SortFunc(p.due, func(a, b target) int { return strings.Compare(a.device.ID, b.device.ID) })
	for i := range p.row.Devices {
		if d := &p.row.Devices[i]; !wanted[d.Device] {
			d.Next = time.Time{}
		}
	}
	p.row.Why = whyNobody(reasons, &row.Notice)
	return p
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

// whyNobody says why a row that reaches no device does not: the reason that is
// most worth knowing.
func whyNobody(reasons map[Reason]bool, n *coordinator.Notice) string {
	for _, r := range []Reason{SendNow, TooLate, NoDevice, MovedOut, NotWanted} {
		if reasons[r] {
			return r.String()
		}
	}
	if n.Role == coordinator.Managers {
		return "the building has no manager yet: nobody to tell"
	}
	return MovedOut.String()
}

// conclude sets the row's state from its devices' outcomes: pending while one
// of them is to be tried again, done when at least one was served, and dropped otherwise.
func conclude(row coordinator.Delivery, now time.Time, zone *time.Location) coordinator.Delivery {
	sent, next, troubles := 0, time.Time{}, []string{}
	for _, d := range row.Devices {
		switch {
		case d.Sent:
			sent++
			continue
		case !d.Next.IsZero() && (next.IsZero() || d.Next.Before(next)):
			next = d.Next
		}
		if t := trouble(d); !slices.Contains(troubles, t) {
			troubles = append(troubles, t)
		}
	}
	row.Changed = now
	switch {
	case !next.IsZero():
		row.State, row.NextAt = coordinator.Pending, next
		row.Why = "not sent everywhere yet: next try at " + next.In(zone).Format("15:04:05")
	case sent > 0:
		row.State, row.Why = coordinator.Done, sentTo(sent)
	case len(row.Devices) > 0:
		row.State, row.Why = coordinator.Dropped, "reached no device"
	default:
		row.State = coordinator.Dropped // Why is that of planRow
	}
	if len(troubles) > 0 {
		row.Why += "; " + strings.Join(troubles, "; ")
	}
	return row
}

func sentTo(n int) string {
	if n == 1 {
		return "sent to one device"
	}
	return fmt.Sprintf("sent to %d devices", n)
}

// trouble says in words what is wrong with a device that was not served.
func trouble(d coordinator.DeviceResult) string {
	switch {
	case d.Gone:
		return "a device's subscription had ended and was removed"
	case d.Status == 413:
		return "the push service found even the short message too large"
	case d.Status == 0:
		return "no answer from the push service (" + d.Error + ")"
	case d.Error != "":
		return fmt.Sprintf("the push service answered %d (%s)", d.Status, d.Error)
	}
	return fmt.Sprintf("the push service answered %d", d.Status)
}
