package year

import (
	"container/heap"
	"time"

	agendas "drumturn/cmd/drumturn/agenda"
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

// Due implements agenda.Entry.
func (e errand) Due() (at time.Time, order int) { return e.at, e.order }

type errands = agendas.List[errand]
