package push

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"drumturn/coordinator"
)

// managerRetry is how often it is tried again to reach a manager who could not
// be reached at all: they may have switched notices on meanwhile.
const managerRetry = 10 * time.Minute

// conclude sets the row's state from what was decided and from its devices'
// outcomes: pending while somebody is to be told later or a device is to be
// tried again, done when at least one was served, and dropped otherwise.
func conclude(row coordinator.Delivery, now time.Time, zone *time.Location) coordinator.Delivery {
	sent, letters, retry, troubles := outcomes(row.Devices)
	wake := endOfQuiet(&row)
	row.Changed, row.State = now, coordinator.Pending
	switch {
	case !retry.IsZero() && (wake.IsZero() || retry.Before(wake)):
		row.NextAt, row.Why = retry, "not sent everywhere yet: next try at "+retry.In(zone).Format("15:04:05")
	case !wake.IsZero():
		row.NextAt, row.Why = wake, "quiet hours: sent at "+wake.In(zone).Format("15:04")
	case sent+letters > 0:
		row.State, row.Why = coordinator.Done, sentTo(sent, letters)
	case unreachedManagers(&row) && now.Add(managerRetry).Before(usefulUntil(&row.Notice)):
		row.NextAt = now.Add(managerRetry)
		row.Why = whyNobody(&row) + "; next try at " + row.NextAt.In(zone).Format("15:04")
	default:
		row.State, row.Why = coordinator.Dropped, whyNobody(&row)
	}
	if len(troubles) > 0 {
		row.Why += "; " + strings.Join(troubles, "; ")
	}
	return row
}

// outcomes counts the devices and the addresses that were served, and finds the earliest next try
// and, in words, what stands in the way of the others.
func outcomes(devices []coordinator.DeviceResult) (sent, letters int, next time.Time, troubles []string) {
	for _, d := range devices {
		switch {
		case d.Sent && d.ByMail():
			letters++
			continue
		case d.Sent:
			sent++
			continue
		}
		if !d.Next.IsZero() && (next.IsZero() || d.Next.Before(next)) {
			next = d.Next
		}
		if t := trouble(d); !slices.Contains(troubles, t) {
			troubles = append(troubles, t)
		}
	}
	return sent, letters, next, troubles
}

// endOfQuiet is when the first of those who are told later is to be told.
func endOfQuiet(row *coordinator.Delivery) (first time.Time) {
	for _, t := range row.Told {
		if t.Reason == coordinator.ReasonLater && (first.IsZero() || t.Until.Before(first)) {
			first = t.Until
		}
	}
	return first
}

// unreachedManagers reports whether the notice is for the managers, and no way
// to any of them has worked, though none of them has chosen not to be told.
func unreachedManagers(row *coordinator.Delivery) bool {
	return row.Notice.Role == coordinator.Managers &&
		(len(row.Told) == 0 || hasReason(row, coordinator.ReasonNow, coordinator.ReasonNoWay))
}

// whyNobody says why a row that reached no device did not: the reason that is
// most worth knowing.
func whyNobody(row *coordinator.Delivery) string {
	if len(row.Devices) > 0 {
		return "reached no device"
	}
	for _, r := range []coordinator.Reason{
		coordinator.ReasonReplaced, coordinator.ReasonLate, coordinator.ReasonMuted, coordinator.ReasonNow,
		coordinator.ReasonNoWay, coordinator.ReasonMovedOut, coordinator.ReasonUnwanted,
	} {
		if hasReason(row, r) {
			return reasonText(r)
		}
	}
	if row.Notice.Role == coordinator.Managers {
		return "the building has no manager yet: nobody to tell"
	}
	return reasonText(coordinator.ReasonMovedOut)
}

func sentTo(devices, letters int) string {
	var parts []string
	switch {
	case devices == 1:
		parts = append(parts, "sent to one device")
	case devices > 1:
		parts = append(parts, fmt.Sprintf("sent to %d devices", devices))
	}
	switch {
	case letters == 1:
		parts = append(parts, "sent by e-mail")
	case letters > 1:
		parts = append(parts, fmt.Sprintf("sent by e-mail to %d addresses", letters))
	}
	return strings.Join(parts, ", ")
}

// trouble says in words what is wrong with a device that was not served.
func trouble(d coordinator.DeviceResult) string {
	switch {
	case d.Gone:
		return "a device's subscription had ended and was removed"
	case d.ByMail():
		return "the e-mail was not taken (" + d.Error + ")"
	case d.Status == 413:
		return "the push service found even the short message too large"
	case d.Status == 0:
		return "no answer from the push service (" + d.Error + ")"
	case d.Error != "":
		return fmt.Sprintf("the push service answered %d (%s)", d.Status, d.Error)
	}
	return fmt.Sprintf("the push service answered %d", d.Status)
}
