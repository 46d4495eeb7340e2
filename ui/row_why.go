package ui

import (
	"slices"

	"drumturn/coordinator"
)

// rowWhy says why a notice stands as it does, and what was wrong with devices
// that were not served. A row of an earlier edition says it in its own sentence.
func (t teller) rowWhy(d *coordinator.Delivery) string {
	if !d.Why.Known() {
		return string(d.Why)
	}
	parts := []string{t.rowReason(d)}
	if d.State == coordinator.Pending && d.Why != coordinator.WhyRetry && d.Why != coordinator.WhyQuiet {
		parts = append(parts, t.lang.Say("outcome.next", "at", t.at(d.NextAt)))
	}
	for i := range d.Devices {
		if text := t.trouble(&d.Devices[i]); text != "" && !slices.Contains(parts, text) {
			parts = append(parts, text)
		}
	}
	return t.joined("outcome.both", parts)
}

// rowReason is the reason itself.
func (t teller) rowReason(d *coordinator.Delivery) string {
	if d.Why != coordinator.WhySent {
		return t.lang.Say("outcome."+string(d.Why), "at", t.at(d.NextAt))
	}
	var parts []string
	phones, letters := d.Served()
	if phones > 0 {
		parts = append(parts, t.lang.Count("outcome.sent-phones", phones))
	}
	if letters > 0 {
		parts = append(parts, t.lang.Count("outcome.sent-letters", letters))
	}
	return t.joined("outcome.both", parts)
}

// trouble says why a device was not served; nothing for one that was.
func (t teller) trouble(r *coordinator.DeviceResult) string {
	kind := r.Trouble()
	switch {
	case kind == coordinator.TroubleNone:
		return ""
	case kind == coordinator.TroubleAnswered && r.Error != "":
		return t.lang.Say("outcome.trouble.answered-why", "status", r.Status, "error", r.Error)
	}
	return t.lang.Say("outcome.trouble."+string(kind), "status", r.Status, "error", r.Error)
}

// joined puts texts one behind the other.
func (t teller) joined(key string, parts []string) string {
	out := ""
	for i, p := range parts {
		if i == 0 {
			out = p
			continue
		}
		out = t.lang.Say(key, "a", out, "b", p)
	}
	return out
}
