package push

import (
	"slices"
	"time"

	"drumturn/coordinator"
)

// longestError keeps the text of a failure in a row short.
const longestError = 160

// withResult returns the row with what the push service of device answered
// folded in, and what that means. short: the message was the shortened one.
// A first 413 changes nothing: the short message is to follow at once.
func withResult(row coordinator.Delivery, device string, r Result, short bool, now time.Time) (coordinator.Delivery, verdict) {
	v := judge(r)
	if v == tooLarge && !short {
		return row, v
	}
	row.Devices = slices.Clone(row.Devices)
	d := findResult(row.Devices, device)
	if d == nil {
		row.Devices = append(row.Devices, coordinator.DeviceResult{Device: device})
		d = &row.Devices[len(row.Devices)-1]
	}
	d.Tries++
	d.Status, d.At, d.Error, d.Next = r.Status, now, "", time.Time{}
	d.Sent, d.Gone = v == served, v == gone
	if r.Err != nil {
		d.Error = cut(tidy(r.Err.Error()), longestError)
	}
	if v == again {
		d.Next = nextTry(r, d.Tries, row.Key+device, now, usefulUntil(&row.Notice))
	}
	return row, v
}
