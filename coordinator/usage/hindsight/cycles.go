package hindsight

import (
	"context"
	"slices"
	"time"

	"drumturn/coordinator"
)

const (
	// firstLook is how far back is read at first; each look reads twice as far.
	firstLook = 2 * 24 * time.Hour
	// lookMost is how far back is read in all.
	lookMost = 20 * 366 * 24 * time.Hour
)

// Cycles are a machine's cycles that were told of before an instant, newest
// first, at most limit. A cycle that was told of again is as it was told last.
func Cycles(ctx context.Context, f Facts, at Place, before time.Time, limit int) ([]coordinator.Fact, error) {
	var all []coordinator.Fact
	err := back(ctx, f, at, before, func(c coordinator.Fact) bool {
		all = append(all, c)
		return len(all) < limit
	})
	return all, err
}

// Find is one cycle by its number, among those told of before an instant; ok is
// false when it is not there. Numbers rise with time, so its place is found by
// halving: not all that lies between is read.
func Find(ctx context.Context, f Facts, at Place, number uint64, before time.Time) (found coordinator.Fact, ok bool, err error) {
	low, high := before.Add(-lookMost), before
	for high.Sub(low) > halveTo {
		mid := low.Add(high.Sub(low) / 2)
		first, any, err := firstFrom(ctx, f, at, mid, high)
		switch {
		case err != nil:
			return found, false, err
		case any && first.Cycle <= number:
			low = mid
		default:
			high = mid
		}
	}
	if end := low.Add(2*halveTo + toldWithin); end.Before(before) { // told of again, perhaps
		before = end
	}
	// A cycle before it may be told of again after it was: it is not there once facts
	// are older than the end of one before it.
	var end time.Time
	err = back(ctx, f, at, before, func(c coordinator.Fact) bool {
		if ok = c.Cycle == number; ok {
			found = c
			return false
		}
		if c.Cycle < number && c.End.After(end) {
			end = c.End
		}
		return !c.At.Before(end)
	})
	return found, ok, err
}

// halveTo is how long a stretch is read as a whole.
const halveTo = 24 * time.Hour

// firstFrom is the machine's first cycle that was told of from one instant until another.
func firstFrom(ctx context.Context, f Facts, at Place, from, to time.Time) (first coordinator.Fact, ok bool, err error) {
	err = f.Facts(ctx, at.Room, from, to, func(c coordinator.Fact) bool {
		if ok = c.Kind == coordinator.FactCycle && c.Machine == at.Machine; ok {
			first = c
		}
		return !ok
	})
	return first, ok, err
}

// back calls fn with a machine's cycles, newest first, until it says false.
func back(ctx context.Context, f Facts, at Place, before time.Time, fn func(coordinator.Fact) bool) error {
	seen := map[uint64]bool{}
	to := before
	for look := firstLook; before.Sub(to) < lookMost; look *= 2 {
		from := to.Add(-look)
		var page []coordinator.Fact
		err := f.Facts(ctx, at.Room, from, to, func(c coordinator.Fact) bool {
			if c.Kind == coordinator.FactCycle && c.Machine == at.Machine {
				page = append(page, c)
			}
			return true
		})
		if err != nil {
			return err
		}
		for _, c := range slices.Backward(page) {
			if c.Cycle != 0 && seen[c.Cycle] {
				continue
			}
			seen[c.Cycle] = true
			if !fn(c) {
				return nil
			}
		}
		to = from
	}
	return nil
}

// toldWithin is how long after its end a cycle is told of, or told of again.
const toldWithin = 12 * time.Hour

// Between are a machine's cycles that ran at any instant between two, oldest first.
func Between(ctx context.Context, f Facts, at Place, from, to time.Time) ([]coordinator.Fact, error) {
	var all []coordinator.Fact
	place := map[uint64]int{}
	err := f.Facts(ctx, at.Room, from, to.Add(toldWithin), func(c coordinator.Fact) bool {
		if c.Kind != coordinator.FactCycle || c.Machine != at.Machine || !c.Start.Before(to) || !c.End.After(from) {
			return true
		}
		if k, again := place[c.Cycle]; again && c.Cycle != 0 {
			all[k] = c
			return true
		}
		place[c.Cycle] = len(all)
		all = append(all, c)
		return true
	})
	return all, err
}
