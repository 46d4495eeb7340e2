package ui

import (
	"fmt"
	"strings"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// clock says an instant as people do: "14:32", with the day when it is not today.
func clock(t, now time.Time, zone *time.Location) string {
	if t.IsZero() {
		return ""
	}
	t, now = t.In(zone), now.In(zone)
	switch days := daysBetween(now, t); {
	case days == 0:
		return t.Format("15:04")
	case days > -7 && days < 7:
		return t.Format("Mon 15:04")
	default:
		return t.Format("2 Jan 15:04")
	}
}

// daysBetween counts calendar days from a to b, both in one zone.
func daysBetween(a, b time.Time) int {
	ya, ma, da := a.Date()
	yb, mb, db := b.Date()
	return int(time.Date(yb, mb, db, 0, 0, 0, 0, time.UTC).Sub(time.Date(ya, ma, da, 0, 0, 0, 0, time.UTC)) / (24 * time.Hour))
}

// span says how long: "5 min", "1 h 20 min", "3 days".
func span(d time.Duration) string {
	minutes := int(d.Round(time.Minute) / time.Minute)
	switch {
	case minutes < 1:
		return "under a minute"
	case minutes < 60:
		return fmt.Sprintf("%d min", minutes)
	case minutes < 24*60 && minutes%60 == 0:
		return fmt.Sprintf("%d h", minutes/60)
	case minutes < 24*60:
		return fmt.Sprintf("%d h %d min", minutes/60, minutes%60)
	case minutes < 2*24*60:
		return "1 day"
	default:
		return fmt.Sprintf("%d days", minutes/(24*60))
	}
}

// machineName is "Washer 2".
func machineName(m *coordinator.MachineView) string {
	return fmt.Sprintf("%s %d", capital(m.Kind.String()), m.Number)
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// traits are what helps to choose a machine: "8 kg", "upper", "accessible".
func traits(m *coordinator.MachineView) []string {
	var out []string
	if m.CapacityKg > 0 {
		out = append(out, fmt.Sprintf("%g kg", m.CapacityKg))
	}
	if m.Stacked {
		out = append(out, "upper")
	}
	if m.Accessible {
		out = append(out, "accessible")
	}
	if len(m.ReservedFor) > 0 {
		out = append(out, "reserved")
	}
	return out
}

// teller says what a machine is doing, at one instant in one place.
type teller struct {
	now  time.Time
	zone *time.Location
	own  bool // the machine holds the visitor's load, or is held for them
}

func (t teller) at(x time.Time) string { return clock(x, t.now, t.zone) }

// since is "since 13:40", or nothing.
func (t teller) since(x time.Time) string {
	if x.IsZero() {
		return ""
	}
	return "since " + t.at(x)
}

// word is the status word; it always stands beside the drawing.
func (t teller) word(m *coordinator.MachineView) string {
	switch {
	case m.Status == coordinator.Out:
		return "out of service"
	case m.Status == coordinator.Held && t.own:
		return "held for you"
	case m.Status == coordinator.Running && m.Stalled:
		return "running long"
	case m.Status == coordinator.Finished && m.Load != nil && m.Load.Reason == coordinator.EndStopped:
		return "stopped early"
	case m.Status == coordinator.Finished && m.Load != nil && m.Load.Reason == coordinator.EndPresumed:
		return "presumably finished"
	}
	return m.Status.String()
}

// detail is the rest of the sentence: since, until, and what else matters.
func (t teller) detail(m *coordinator.MachineView) string {
	parts := []string{t.main(m)}
	if m.Hold != nil && m.Status != coordinator.Held {
		parts = append(parts, "the next in the queue is called to it until "+t.at(m.Hold.Until))
	}
	if m.Hold != nil && m.Hold.OnWay {
		parts = append(parts, "somebody is on the way")
	}
	if t.own && m.Load != nil {
		parts = append(parts, "your load")
	}
	if m.Load != nil && m.Load.Past != 0 {
		parts = append(parts, "started while somebody waited")
	}
	if m.ByHand {
		parts = append(parts, "as reported, not measured")
	}
	switch n := len(m.Faults); {
	case n == 1:
		parts = append(parts, "a fault was reported")
	case n > 1:
		parts = append(parts, fmt.Sprintf("%d faults were reported", n))
	}
	return join(parts)
}

// join strings the parts that are not empty together.
func join(parts []string) string {
	kept := parts[:0]
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, "; ")
}

func (t teller) main(m *coordinator.MachineView) string {
	switch m.Status {
	case coordinator.Free:
		return t.free(m)
	case coordinator.Held:
		s := t.since(m.Since) + ", until " + t.at(m.Until)
		if m.Hold != nil && m.Hold.LoadInside {
			s += "; a load is still inside"
		}
		return strings.TrimPrefix(s, ", ")
	case coordinator.Running:
		return join([]string{t.since(m.Since), t.end(m)})
	case coordinator.Finished, coordinator.Overdue:
		return t.done(m)
	case coordinator.Unknown:
		if silentSince(m).IsZero() {
			return "its meter has not been heard yet"
		}
		return "meter silent " + t.since(silentSince(m))
	case coordinator.Out:
		return join([]string{t.since(m.Since), m.OutText})
	}
	return ""
}

func silentSince(m *coordinator.MachineView) time.Time {
	if m.Since.IsZero() {
		return m.Heard
	}
	return m.Since
}

func (t teller) free(m *coordinator.MachineView) string {
	parts := []string{t.since(m.Since)}
	if m.MayHoldLoad {
		parts = append(parts, "may hold a load, look inside")
	}
	if m.OpenToWalkUps {
		parts = append(parts, "open to anybody meanwhile")
	}
	return join(parts)
}

// end says when a running cycle is over, and how sure that is.
func (t teller) end(m *coordinator.MachineView) string {
	switch {
	case m.Stalled:
		return "far longer than usual, please have a look"
	case m.Until.IsZero() && !m.AnyMinute:
		return "end not known yet"
	case due(m, t.now):
		return "done any minute now"
	case m.About || m.Low.IsZero() || m.High.IsZero():
		return "done about " + t.at(m.Until)
	case t.at(m.Low) == t.at(m.High):
		return "done at " + t.at(m.Until)
	}
	return "done " + t.between(m.Until, m.Low, m.High)
}

// due reports whether a running machine should be done by now.
func due(m *coordinator.MachineView, now time.Time) bool {
	return m.AnyMinute || (!m.Until.IsZero() && !m.Until.After(now))
}

// between says an instant with its interval; what of it has passed is not said.
func (t teller) between(median, low, high time.Time) string {
	if low.After(t.now) {
		return t.at(median) + ", between " + t.at(low) + " and " + t.at(high)
	}
	if t.at(median) == t.at(high) {
		return t.at(median) + " at the latest"
	}
	return t.at(median) + ", by " + t.at(high)
}

func (t teller) done(m *coordinator.MachineView) string {
	if m.Load == nil {
		return t.since(m.Since)
	}
	ready := "ready since " + t.at(m.Load.ReadyAt)
	switch m.Load.Reason {
	case coordinator.EndStopped:
		ready = "at " + t.at(m.Load.ReadyAt) + ", its programme was cut short"
	case coordinator.EndPresumed:
		ready = "at " + t.at(m.Load.ReadyAt) + ", while the meter was silent"
	}
	switch {
	case m.Status == coordinator.Overdue:
		ready += ", not collected"
	case m.Load.MoreUntil.After(t.now):
		ready += ", its owner asked for time until " + t.at(m.Load.MoreUntil)
	}
	if m.Load.Owner == "" {
		ready += "; nobody has said whose it is"
	}
	return ready
}

// needWord names a need in a sentence: "your turn for a washer".
func needWord(n queue.Need) string {
	switch n {
	case queue.Wash:
		return "a washer"
	case queue.Dry:
		return "a dryer"
	case queue.WashAndDry:
		return "a washer-dryer"
	}
	return "a machine"
}

// needTitle names a need in a form.
func needTitle(n queue.Need) string {
	switch n {
	case queue.Wash:
		return "Wash"
	case queue.Dry:
		return "Dry"
	case queue.WashAndDry:
		return "Wash and dry in one go"
	}
	return "?"
}

// serves reports whether a kind of machine can do what a turn needs.
func serves(k queue.Kind, n queue.Need) bool {
	switch n {
	case queue.Wash:
		return k == queue.Washer || k == queue.WasherDryer
	case queue.Dry:
		return k == queue.Dryer || k == queue.WasherDryer
	case queue.WashAndDry:
		return k == queue.WasherDryer
	}
	return false
}

// callWords are what turns are called by on the wall: a word that only the
// resident knows to be theirs. As many turns as there are words can wait in a
// room before two share one.
var callWords = [...]string{
	"acorn", "anchor", "badger", "barley", "basket", "beacon", "beetle", "birch", "bramble", "brook",
	"button", "candle", "canoe", "cedar", "chalk", "cliff", "clover", "comet", "coral", "cricket",
	"dune", "eagle", "ember", "falcon", "feather", "fern", "fiddle", "flint", "garden", "glacier",
	"hammock", "harbour", "hazel", "heron", "island", "juniper", "kettle", "ladder", "lantern", "lupin",
	"maple", "marble", "meadow", "mitten", "moss", "nettle", "orchard", "otter", "paddle", "pebble",
	"pepper", "puffin", "quartz", "rafter", "saddle", "sparrow", "thimble", "thistle", "timber", "tulip",
	"walnut", "willow", "window", "zephyr",
}

// callWord is a turn's word on the wall.
func callWord(id coordinator.TurnID) string { return callWords[uint64(id)%uint64(len(callWords))] }
