package usage

import (
	"context"
	"slices"
	"time"

	"drumturn/coordinator"
)

// factReader reads a room's facts for stretches of time that move on and overlap,
// each fact once.
type factReader struct {
	s    Facts
	room coordinator.RoomID
	// facts are those from <= At < to.
	facts    []coordinator.Fact
	from, to time.Time
}

// between are the facts with from <= At < to, in the order of time, until it is
// called again.
func (h *factReader) between(ctx context.Context, from, to time.Time) ([]coordinator.Fact, error) {
	if from.Before(h.from) || from.After(h.to) {
		h.facts, h.to = nil, from
	}
	h.from = from
	h.facts = h.facts[h.place(from):]
	if to.After(h.to) {
		more, err := factsBetween(ctx, h.s, h.room, h.to, to)
		if err != nil {
			return nil, err
		}
		h.facts, h.to = append(h.facts, more...), to
	}
	return h.facts[:h.place(to)], nil
}

// place is that of the first fact at an instant or after it.
func (h *factReader) place(at time.Time) int {
	i, _ := slices.BinarySearchFunc(h.facts, at, func(f coordinator.Fact, at time.Time) int { return f.At.Compare(at) })
	return i
}

func factsBetween(ctx context.Context, f Facts, room coordinator.RoomID, from, to time.Time) (all []coordinator.Fact, err error) {
	err = f.Facts(ctx, room, from, to, func(fact coordinator.Fact) bool {
		all = append(all, fact)
		return true
	})
	return all, err
}
