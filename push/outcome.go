package push

import (
	"slices"
	"time"

	"drumturn/coordinator"
)

// longestError keeps the text of a failure in a row short.
const longestError = 160

// answerOf is what a push service answered to a message for a device.
type answerOf struct {
	target
	Result
	// short: the message was the shortened one.
	short bool
}

// withResult returns the row with an answer folded in, and what that means. A
// first 413 changes nothing: the short message is to follow at once.
func withResult(row coordinator.Delivery, a answerOf, now time.Time) (coordinator.Delivery, verdict) {
	v := judge(a.Result)
	if v == tooLarge && !a.short {
		return row, v
	}
	row, d := resultOf(row, a.target)
	d.Tries++
	d.Status, d.At, d.Error, d.Next = a.Status, now, "", time.Time{}
	d.Sent, d.Gone = v == served, v == gone
	if a.Err != nil {
		d.Error = cut(tidy(a.Err.Error()), longestError)
	}
	switch {
	case v == again:
		d.Next = nextTry(a.Result, d.Tries, row.Key+a.device.ID, now, a.deadline)
	case v == refused && row.Notice.Role == coordinator.Managers:
		// Whoever mends the set-up is the one to be told: it may work again soon.
		if at := now.Add(managerRetry); at.Before(a.deadline) {
			d.Next = at
		}
	}
	return row, v
}

// postponed returns the row with a device that is not tried before at, because
// its push service does not work; or given up where that is too late.
func postponed(row coordinator.Delivery, t target, at time.Time) coordinator.Delivery {
	row, d := resultOf(row, t)
	d.Next = time.Time{}
	if at.Before(t.deadline) {
		d.Next = at
	}
	return row
}

// resultOf returns the row with Devices of its own, and the device's entry in them.
func resultOf(row coordinator.Delivery, t target) (coordinator.Delivery, *coordinator.DeviceResult) {
	row.Devices = slices.Clone(row.Devices)
	d := findResult(row.Devices, t.device.ID)
	if d == nil {
		row.Devices = append(row.Devices, coordinator.DeviceResult{Device: t.device.ID, Person: t.who.Person.ID})
		d = &row.Devices[len(row.Devices)-1]
	}
	return row, d
}
