package ui

import (
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
)

// machineName is "Washer 2".
func machineName(l *words.Language, m *coordinator.MachineView) string {
	return l.Say("kind."+m.Kind.String(), "n", m.Number)
}

// capital writes the first letter large, in alphabets that have large ones.
func capital(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(first)) + s[size:]
}

// traits are what helps to choose a machine: "8 kg", "upper", "accessible".
func traits(l *words.Language, m *coordinator.MachineView) []string {
	var out []string
	if m.CapacityKg > 0 {
		out = append(out, l.Say("trait.kg", "kg", l.Number(m.CapacityKg, 2)))
	}
	if m.Stacked {
		out = append(out, l.Say("trait.upper"))
	}
	if m.Accessible {
		out = append(out, l.Say("trait.accessible"))
	}
	if len(m.ReservedFor) > 0 {
		out = append(out, l.Say("trait.reserved"))
	}
	return out
}

// teller says what a machine is doing, at one instant in one place, in one language.
type teller struct {
	now  time.Time
	zone *time.Location
	lang *words.Language
	own  bool // the machine holds the visitor's load, or is held for them
}

// at says an instant as people do: "14:32", with the day when it is not today.
func (t teller) at(x time.Time) string { return t.lang.Clock(x.In(t.zone), t.now.In(t.zone)) }

// since is "since 13:40", or nothing.
func (t teller) since(x time.Time) string {
	if x.IsZero() {
		return ""
	}
	return t.lang.Say("row.since", "at", t.at(x))
}

// word is the status word; it always stands beside the drawing.
func (t teller) word(m *coordinator.MachineView) string {
	key := m.Status.String()
	switch {
	case m.Status == coordinator.Held && t.own:
		key = "held-own"
	case m.Status == coordinator.Running && m.Stalled:
		key = "running-long"
	case m.Status == coordinator.Finished && m.Load != nil && m.Load.Reason == coordinator.EndStopped:
		key = "stopped"
	case m.Status == coordinator.Finished && m.Load != nil && m.Load.Reason == coordinator.EndPresumed:
		key = "presumed"
	}
	return t.lang.Say("status." + key)
}

// detail is the rest of the sentence: since, until, and what else matters.
func (t teller) detail(m *coordinator.MachineView) string {
	parts := []string{t.main(m)}
	if m.Hold != nil && m.Status != coordinator.Held {
		parts = append(parts, t.lang.Say("row.called", "until", t.at(m.Hold.Until)))
	}
	if m.Hold != nil && m.Hold.OnWay && !(t.own && m.Load == nil) { // that one is the reader
		parts = append(parts, t.lang.Say("row.on-way"))
	}
	if t.own && m.Load != nil {
		parts = append(parts, t.lang.Say("row.your-load"))
	}
	if m.Load != nil && m.Load.Past != 0 {
		parts = append(parts, t.lang.Say("row.past"))
	}
	if m.ByHand {
		parts = append(parts, t.lang.Say("row.by-hand"))
	}
	if n := len(m.Faults); n > 0 {
		parts = append(parts, t.lang.Count("row.faults", n))
	}
	return t.join(parts...)
}

// join strings the parts that are not empty together.
func (t teller) join(parts ...string) string { return joined(t.lang.Say("list.semicolon"), parts) }

// comma is join with commas.
func (t teller) comma(parts ...string) string { return joined(t.lang.Say("list.comma"), parts) }

func joined(between string, parts []string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, between)
}

func (t teller) main(m *coordinator.MachineView) string {
	switch m.Status {
	case coordinator.Free:
		return t.free(m)
	case coordinator.Held:
		inside := ""
		if m.Hold != nil && m.Hold.LoadInside {
			inside = t.lang.Say("row.load-inside")
		}
		return t.join(t.comma(t.since(m.Since), t.lang.Say("row.until", "at", t.at(m.Until))), inside)
	case coordinator.Running:
		return t.join(t.since(m.Since), t.end(m))
	case coordinator.Finished, coordinator.Overdue:
		return t.done(m)
	case coordinator.Unknown:
		if silentSince(m).IsZero() {
			return t.lang.Say("row.never-heard")
		}
		return t.lang.Say("row.silent", "since", t.since(silentSince(m)))
	case coordinator.Out:
		return t.join(t.since(m.Since), m.OutText)
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
		parts = append(parts, t.lang.Say("row.may-hold"))
	}
	if m.OpenToWalkUps {
		parts = append(parts, t.lang.Say("row.open"))
	}
	return t.join(parts...)
}

// end says when a running cycle is over, and how sure that is.
func (t teller) end(m *coordinator.MachineView) string {
	switch {
	case m.Stalled:
		return t.lang.Say("row.long")
	case m.Until.IsZero() && !m.AnyMinute:
		return t.lang.Say("row.end-unknown")
	case due(m, t.now):
		return t.lang.Say("row.any-minute")
	case m.About || m.Low.IsZero() || m.High.IsZero():
		return t.lang.Say("row.about", "at", t.at(m.Until))
	case t.at(m.Low) == t.at(m.High):
		return t.lang.Say("row.at", "at", t.at(m.Until))
	}
	return t.between("row.", m.Until, m.Low, m.High)
}

// due reports whether a running machine should be done by now.
func due(m *coordinator.MachineView, now time.Time) bool {
	return m.AnyMinute || (!m.Until.IsZero() && !m.Until.After(now))
}

// between says an instant with its interval; what of it has passed is not said.
// keys is where the sentences are: "row." or "forecast.".
func (t teller) between(keys string, median, low, high time.Time) string {
	switch {
	case low.After(t.now):
		return t.lang.Say(keys+"between", "at", t.at(median), "low", t.at(low), "high", t.at(high))
	case t.at(median) == t.at(high):
		return t.lang.Say(keys+"latest", "at", t.at(median))
	}
	return t.lang.Say(keys+"by", "at", t.at(median), "high", t.at(high))
}

func (t teller) done(m *coordinator.MachineView) string {
	if m.Load == nil {
		return t.since(m.Since)
	}
	key := "row.ready"
	switch m.Load.Reason {
	case coordinator.EndStopped:
		key = "row.cut-short"
	case coordinator.EndPresumed:
		key = "row.while-silent"
	}
	ready, more, whose := t.lang.Say(key, "at", t.at(m.Load.ReadyAt)), "", ""
	switch {
	case m.Status == coordinator.Overdue:
		more = t.lang.Say("row.not-collected")
	case m.Load.MoreUntil.After(t.now):
		more = t.lang.Say("row.more", "until", t.at(m.Load.MoreUntil))
	}
	if m.Load.Owner == "" {
		whose = t.lang.Say("row.nobody")
	}
	return t.join(t.comma(ready, more), whose)
}

// forecast says a forecast in clock times.
func (t teller) forecast(f *coordinator.Forecast) string {
	switch {
	case !f.Known:
		return t.lang.Say("forecast.none")
	case !f.High.After(t.now.Add(time.Minute)):
		return t.lang.Say("forecast.now")
	case !f.Median.After(t.now.Add(time.Minute)):
		return t.lang.Say("forecast.any-minute", "high", t.at(f.High))
	case t.at(f.Low) == t.at(f.High):
		return t.lang.Say("forecast.about", "at", t.at(f.Median))
	}
	return t.between("forecast.", f.Median, f.Low, f.High)
}

// needWord names a need in a sentence: "your turn for a washer".
func needWord(l *words.Language, n queue.Need) string { return l.Say("need." + needKey(n)) }

// needTitle names a need in a form.
func needTitle(l *words.Language, n queue.Need) string { return l.Say("want." + needKey(n)) }

func needKey(n queue.Need) string {
	switch n {
	case queue.Wash, queue.Dry, queue.WashAndDry:
		return n.String()
	}
	return "any"
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
