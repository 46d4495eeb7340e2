package ui

import (
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// row is one line of the board: a machine, or the visitor's own turn.
type row struct {
	Name   string
	Link   string // path below the base; empty for a turn
	Traits []string
	Class  string // the shape of its drawing: the status's plain word
	Word   string
	Detail string
	Own    bool
	Ticks  []tick
	Shapes []shape
}

// shape is one mark in a row's strip.
type shape struct {
	Kind string // the names that template "shape" knows
	X, W pct
	Text string
}

// smallest is the width below which a mark would vanish, percent.
const smallest pct = 1.2

// labelRoom is where the last label may begin, percent.
const labelRoom pct = 70

// machineRow draws a machine. own says that it is the visitor's.
func machineRow(snap *coordinator.Snapshot, a axis, m *coordinator.MachineView, own bool) row {
	t := a.tell
	t.own = own
	return row{
		Name: machineName(t.lang, m), Link: machinePath(snap.Room, m.ID), Traits: traits(t.lang, m),
		Class: m.Status.String(), Word: t.word(m), Detail: t.detail(m), Own: own,
		Ticks: a.Ticks, Shapes: a.machine(m),
	}
}

// machine picks the marks for a machine's status.
func (a axis) machine(m *coordinator.MachineView) []shape {
	switch m.Status {
	case coordinator.Free:
		marks := []shape{{Kind: "open"}}
		if m.MayHoldLoad {
			marks = append(marks, shape{Kind: "maybe", W: 6})
		}
		return marks
	case coordinator.Held:
		return a.held(m.Until)
	case coordinator.Running:
		return a.running(m)
	case coordinator.Finished, coordinator.Overdue:
		return a.waiting(m)
	case coordinator.Unknown:
		return []shape{{Kind: "unknown"}}
	default:
		return []shape{{Kind: "out"}}
	}
}

// held is hatched up to the instant it lapses.
func (a axis) held(until time.Time) []shape {
	x := max(a.at(until), smallest)
	return []shape{{Kind: "held", W: x}, {Kind: "lapse", X: x}, a.label(x, a.tell.lang.Say("mark.until", "at", a.tell.at(until)))}
}

// running is a bar to the earliest likely end, fading out over the 80 %
// interval, with a line at the median. A first guess has no interval of its
// own: it fades over a quarter of what is left.
func (a axis) running(m *coordinator.MachineView) []shape {
	bar := "bar"
	if m.ByHand {
		bar = "told"
	}
	if m.Stalled || m.Until.IsZero() || due(m, a.tell.now) {
		return []shape{{Kind: bar, W: smallest * 2}, {Kind: "fade", X: smallest * 2, W: 8}}
	}
	low, high := m.Low, m.High
	if low.IsZero() || high.IsZero() {
		margin := m.Until.Sub(a.tell.now) / 4
		low, high = m.Until.Add(-margin), m.Until.Add(margin)
	}
	from := max(a.at(low), smallest)
	shapes := []shape{{Kind: bar, W: from}}
	if w := a.at(high) - from; w > 0 {
		shapes = append(shapes, shape{Kind: "fade", X: from, W: w})
	}
	end := a.tell.at(m.Until)
	if a.beyond(m.Until) {
		return append(shapes, shape{Kind: "more", Text: end})
	}
	if m.About {
		end = a.tell.lang.Say("mark.about", "at", end)
	}
	return append(shapes, shape{Kind: "median", X: max(a.at(m.Until), smallest)}, a.label(a.at(high), end))
}

// label is a few words behind a mark. Where they would run out of the drawing
// there are none: the row says it in words anyway.
func (a axis) label(x pct, text string) shape {
	if x > labelRoom {
		text = ""
	}
	return shape{Kind: "label", X: x, Text: text}
}

// waiting is a notch at now that grows as the load waits; behind it the hold,
// when the next turn was called with the load inside.
func (a axis) waiting(m *coordinator.MachineView) []shape {
	var waited time.Duration
	if m.Load != nil {
		waited = a.tell.now.Sub(m.Load.ReadyAt)
	}
	notch := shape{Kind: "notch", W: notchWidth(waited)}
	if m.Status == coordinator.Overdue {
		notch.Kind = "notch-late"
	}
	if m.Hold != nil {
		notch.W = min(notch.W, max(a.at(m.Hold.Until)/2, smallest)) // The hatching must show behind it.
		return append(a.held(m.Hold.Until), notch)
	}
	return []shape{notch, a.label(notch.W, a.tell.lang.Say("mark.waits", "span", a.tell.lang.Span(waited)))}
}

// notchWidth grows with the waiting, fast at first: half of its 24 % is
// reached within half an hour, and it never reads as a time on the axis.
func notchWidth(waited time.Duration) pct {
	hours := max(waited.Hours(), 0)
	return pct(2 + 22*hours/(hours+0.5))
}

// turnRow draws a waiting turn of the visitor: a mark where it is likely to come.
func turnRow(a axis, t *queue.Turn, f *coordinator.Forecast, place int) row {
	tell := a.tell
	r := row{Name: tell.lang.Say("turn.yours"), Class: "turn", Word: tell.lang.Nth("turn.place", place), Own: true, Ticks: a.Ticks,
		Traits: []string{tell.lang.Say("turn.for", "need", needWord(tell.lang, t.Need))}}
	switch {
	case t.NotBefore.After(tell.now):
		r.Detail = tell.lang.Say("turn.not-before", "at", tell.at(t.NotBefore))
		r.Shapes = []shape{{Kind: "mark", X: a.at(t.NotBefore)}}
		return r
	case f == nil || !f.Known:
		r.Detail = tell.lang.Say("turn.no-forecast")
		return r
	}
	r.Detail = tell.forecast(f)
	r.Shapes = []shape{{Kind: "spread", X: a.at(f.Low), W: max(a.at(f.High)-a.at(f.Low), smallest)}}
	if a.beyond(f.Median) {
		r.Shapes = append(r.Shapes, shape{Kind: "more", Text: tell.at(f.Median)})
	} else {
		r.Shapes = append(r.Shapes, shape{Kind: "mark", X: a.at(f.Median)})
	}
	return r
}
