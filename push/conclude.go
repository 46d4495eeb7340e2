package push

import (
	"time"

	"drumturn/coordinator"
)

// managerRetry is how often it is tried again to reach a manager who could not
// be reached at all: they may have switched notices on meanwhile.
const managerRetry = 10 * time.Minute

// conclude sets the row's state from what was decided and from its devices'
// outcomes: pending while somebody is to be told later or a device is to be
// tried again, done when at least one was served, and dropped otherwise.
func conclude(row coordinator.Delivery, now time.Time) coordinator.Delivery {
	phones, letters := row.Served()
	retry, wake := nextRetry(row.Devices), endOfQuiet(&row)
	row.Changed, row.State = now, coordinator.Pending
	switch {
	case !retry.IsZero() && (wake.IsZero() || retry.Before(wake)):
		row.NextAt, row.Why = retry, coordinator.WhyRetry
	case !wake.IsZero():
		row.NextAt, row.Why = wake, coordinator.WhyQuiet
	case phones+letters > 0:
		row.State, row.Why = coordinator.Done, coordinator.WhySent
	case unreachedManagers(&row) && now.Add(managerRetry).Before(usefulUntil(&row.Notice)):
		row.NextAt, row.Why = now.Add(managerRetry), whyNobody(&row)
	default:
		row.State, row.Why = coordinator.Dropped, whyNobody(&row)
	}
	return row
}

// nextRetry is the earliest next try of a device; zero when there is none.
func nextRetry(devices []coordinator.DeviceResult) (next time.Time) {
	for i := range devices {
		if d := &devices[i]; !d.Sent && !d.Next.IsZero() && (next.IsZero() || d.Next.Before(next)) {
			next = d.Next
		}
	}
	return next
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
func whyNobody(row *coordinator.Delivery) coordinator.Why {
	if len(row.Devices) > 0 {
		return coordinator.WhyUnreached
	}
	for _, r := range []coordinator.Reason{
		coordinator.ReasonReplaced, coordinator.ReasonLate, coordinator.ReasonMuted, coordinator.ReasonNow,
		coordinator.ReasonNoWay, coordinator.ReasonMovedOut, coordinator.ReasonUnwanted,
	} {
		if hasReason(row, r) {
			return coordinator.Why(r)
		}
	}
	if row.Notice.Role == coordinator.Managers {
		return coordinator.WhyNoManager
	}
	return coordinator.Why(coordinator.ReasonMovedOut)
}
