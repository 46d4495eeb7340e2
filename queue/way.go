package queue

import (
	"slices"
	"time"
)

// Way is what a turn grants that missed a call, or let the next one go first: the
// turn To, which stands behind it, is called before it to every machine that either
// could have. Nobody else gains by it or loses: a turn that waits for other work
// keeps its place before one and behind the other.
//
// A way is over when its owner is called, or when the other has used its call. It
// leads from a turn to one behind it, so that ways never close a circle in which
// each would wait for the other.
type Way struct {
	To  TurnID
	Why Overtaking
}

// givesWay reports whether turn i lets turn id go first.
func (l Line) givesWay(i int, id TurnID) bool {
	return slices.ContainsFunc(l[i].Ways, func(w Way) bool { return w.To == id })
}

// pass lets turn j, which would be called after turn i, be called before it.
func (l Line) pass(i, j int, why Overtaking) {
	switch {
	case j < i:
		l.takeBack(j, l[i].ID)
	case !l.givesWay(i, l[j].ID):
		l[i].Ways = append(slices.Clone(l[i].Ways), Way{l[j].ID, why})
	}
}

// takeBack ends the way of turn i to another.
func (l Line) takeBack(i int, to TurnID) {
	if l.givesWay(i, to) {
		l[i].Ways = slices.DeleteFunc(slices.Clone(l[i].Ways), func(w Way) bool { return w.To == to })
	}
}

// Settle ends every way from and to a turn: it is used, or at the head again.
func (l Line) Settle(id TurnID) {
	for i := range l {
		if l[i].ID == id {
			l[i].Ways = nil
		}
		l.takeBack(i, id)
	}
}

// nextOfKind finds who is called after turn i among those that wait for the same
// work; -1 for none.
func (l Line) nextOfKind(i int) int {
	order := l.ofKind(i)
	if k := slices.Index(order, i) + 1; k < len(order) {
		return order[k]
	}
	return -1
}

// ofKind lists turn i and those that wait for the same work, in the order in which they
// are called where a machine serves them all.
func (l Line) ofKind(i int) []int {
	var order []int
	left := make([]bool, len(l))
	for j := range l {
		left[j] = j == i || l[j].State == Waiting && l[j].Need == l[i].Need
	}
	among := func(j int) bool { return left[j] }
	for j := l.First(among); j >= 0; j = l.First(among) {
		order = append(order, j)
		left[j] = false
	}
	return order
}

// CanLetNext reports whether somebody waits for the same work whom turn i could let
// go first.
func (l Line) CanLetNext(i int) bool { return l.nextOfKind(i) >= 0 }

// Yields reports whether turn i must let another go first to the machine, one
// that is eligible for it, and why.
func (l Line) Yields(i int, m *Machine, h *House, now time.Time) (Overtaking, bool) {
	return l.yields(i, func(j int) bool { return l[j].Eligible(m, h, now) == Yes })
}

// yields is Yields among the turns for which ok holds.
func (l Line) yields(i int, ok func(int) bool) (Overtaking, bool) {
	for _, w := range l[i].Ways {
		if j := l.Index(w.To); j >= 0 && ok(j) {
			return w.Why, true
		}
	}
	return "", false
}

// First finds the turn that comes first among those for which ok holds; -1 for none.
func (l Line) First(ok func(int) bool) int {
	for i := range l {
		if !ok(i) {
			continue
		}
		if _, over := l.yields(i, ok); !over {
			return i
		}
	}
	return -1
}
