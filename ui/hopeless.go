package ui

import (
	"drumturn/coordinator"
	"drumturn/queue"
)

// hopeless says why a waiting turn cannot be called as things stand; empty when it can.
func (t teller) hopeless(snap *coordinator.Snapshot, turn *queue.Turn) string {
	why, ok := snap.Hopeless(turn)
	switch {
	case !ok:
		return ""
	case why.TooLong != nil:
		return t.tooLong(why.TooLong) + " " + t.lang.Say("mine.too-long")
	}
	return t.lang.Say("mine.no-machine")
}

// tooLong says that some work takes longer than any day's opening hours.
func (t teller) tooLong(l *coordinator.TooLong) string {
	length, longest := t.lang.Span(l.Length), t.lang.Span(l.Longest)
	switch l.Need {
	case queue.Wash:
		return t.lang.Say("too-long.wash", "length", length, "longest", longest)
	case queue.Dry:
		return t.lang.Say("too-long.dry", "length", length, "longest", longest)
	default:
		return t.lang.Say("too-long.both", "length", length, "longest", longest)
	}
}
