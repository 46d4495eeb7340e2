package year

import (
	"container/heap"
	"time"
)

// errand is something that happens at an instant.
type errand struct {
	at    time.Time
	order int // among those of the same instant
	do    func()
}

// agenda holds what will happen, the next on top.
type agenda struct {
	list  errands
	count int
}

func (a *agenda) add(at time.Time, do func()) {
	a.count++
	heap.Push(&a.list, errand{at, a.count, do})
}

// next is the instant of the next errand; ok is false when there is none.
func (a *agenda) next() (at time.Time, ok bool) {
	if len(a.list) == 0 {
		return time.Time{}, false
	}
	return a.list[0].at, true
}

func (a *agenda) pop() errand { return heap.Pop(&a.list).(errand) }

type errands []errand

func (e errands) Len() int { return len(e) }
func (e errands) Less(i, j int) bool {
	if !e[i].at.Equal(e[j].at) {
		return e[i].at.Before(e[j].at)
	}
	return e[i].order < e[j].order
}
func (e errands) Swap(i, j int) { e[i], e[j] = e[j], e[i] }
func (e *errands) Push(x any)   { *e = append(*e, x.(errand)) }
func (e *errands) Pop() any {
	last := len(*e) - 1
	x := (*e)[last]
	*e = (*e)[:last]
	return x
}
