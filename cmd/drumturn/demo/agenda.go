package demo

import (
	"container/heap"
	"time"

	agendas "drumturn/cmd/drumturn/agenda"
	"drumturn/coordinator"
)

// task is what an errand is for.
type task uint8

const (
	toWash    task = iota + 1 // wants to wash: joins the queue, or walks up
	toDry                     // wants a dryer for laundry in the basket
	toStart                   // comes down because called
	toPickUp                  // comes down for a load
	toClaim                   // says whose load was started
	toGiveUp                  // has waited too long
	toService                 // something that happens to the room, not by a resident
)

// errand is something that somebody will do at an instant.
type errand struct {
	at      time.Time
	order   int // among errands of the same instant
	task    task
	who     *resident
	room    coordinator.RoomID
	turn    coordinator.TurnID
	load    coordinator.LoadID
	machine coordinator.MachineID
	tries   int
	// do is what a toService errand does.
	do func(t *Town, now time.Time, w World)
}

// agenda holds errands, the next one first.
type agenda struct {
	list  errands
	count int
}

func (a *agenda) add(e errand) {
	a.count++
	e.order = a.count
	heap.Push(&a.list, e)
}

// next is the instant of the next errand; far in the future when there is none.
func (a *agenda) next() time.Time {
	if len(a.list) == 0 {
		return time.Unix(1<<40, 0)
	}
	return a.list[0].at
}

// pop takes the next errand when it is due.
func (a *agenda) pop(now time.Time) (errand, bool) {
	if len(a.list) == 0 || a.list[0].at.After(now) {
		return errand{}, false
	}
	return heap.Pop(&a.list).(errand), true
}

// Due implements agenda.Entry.
func (e errand) Due() (at time.Time, order int) { return e.at, e.order }

type errands = agendas.List[errand]

// rest replaces all errands by those that are kept.
func (a *agenda) rest(kept errands) {
	a.list = kept
	heap.Init(&a.list)
}
