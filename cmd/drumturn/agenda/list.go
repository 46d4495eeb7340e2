// Package agenda orders what is to happen in an invented building.
package agenda

import "time"

// Entry is something that is to happen.
type Entry interface {
	// Due is when, and the place among those of the same instant.
	Due() (at time.Time, order int)
}

// List holds entries for container/heap, the next one first.
type List[E Entry] []E

// Len implements heap.Interface.
func (l List[E]) Len() int { return len(l) }

// Less implements heap.Interface.
func (l List[E]) Less(i, j int) bool {
	a, first := l[i].Due()
	b, second := l[j].Due()
	if !a.Equal(b) {
		return a.Before(b)
	}
	return first < second
}

// Swap implements heap.Interface.
func (l List[E]) Swap(i, j int) { l[i], l[j] = l[j], l[i] }

// Push implements heap.Interface; x is an E.
func (l *List[E]) Push(x any) { *l = append(*l, x.(E)) }

// Pop implements heap.Interface.
func (l *List[E]) Pop() any {
	last := len(*l) - 1
	x := (*l)[last]
	*l = (*l)[:last]
	return x
}
