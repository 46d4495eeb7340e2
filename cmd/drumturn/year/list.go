package year

import (
	"time"

	"drumturn/queue"
)

// list is the policy of a booking list: a washer is booked for a slot. Dryers are
// first at the door. An unused slot may be used by whoever finds the washer at
// rest: one that nobody booked at once, one whose owner has not come after half an hour.
type list struct {
	*house
	slots map[slot]*booked
}

// slot is one washer in one stretch of time.
type slot struct {
	drum int
	from time.Time
}

// booked is a slot that somebody has, and whether they came.
type booked struct{ used bool }

const (
	// enough is how much of a slot must be left for a wash.
	enough = 100 * time.Minute
	// noShow is how long a slot waits for its owner.
	noShow = 30 * time.Minute
	// bookAhead is how far ahead people book.
	bookAhead = 4 * 24 * time.Hour
)

// List lets the setting live by a booking list.
func List(s *Setting, wishes []Wish) *Report {
	h := newHouse(s, wishes, "booking list, 3-hour slots")
	p := list{h, map[slot]*booked{}}
	h.how = p
	h.run(nil, nil)
	return h.finish()
}

func (p list) wishes(l *life) {
	if l.WalksUp {
		p.todo.add(p.now.Add(l.length(l.habits.Walk, strolling, 0)), func() { p.look(l) })
		return
	}
	p.book(l)
}

func (p list) wet(l *life)           { p.look(l) }
func (p list) started(*life, *drum)  {}
func (p list) over(l *life, d *drum) { p.fetchLater(l, d) }
func (p list) fetched(*life, *drum)  {}
func (p list) closes()               {}
func (p list) leaves(*life)          {}

// waitsOn: whoever has a slot comes for it.
func (p list) waitsOn(l *life) bool { return l.stage == wantsWash && !l.WalksUp }

// slotAt is the beginning of the slot that t is in; ok is false at night.
func (p list) slotAt(t time.Time) (from time.Time, ok bool) {
	at := clock(t) - opensAt
	if at < 0 || opensAt+at.Truncate(p.set.Slot) > lastStart {
		return time.Time{}, false
	}
	return t.Add(at.Truncate(p.set.Slot) - at), true
}

// book takes the first slot that is free.
func (p list) book(l *life) {
	walk := l.length(l.habits.Walk, strolling, l.calls)
	for t := p.now; t.Before(p.now.Add(bookAhead)); {
		from, ok := p.slotAt(t)
		if !ok {
			t = p.nextMorning(t)
			continue
		}
		if t = from.Add(p.set.Slot); t.Sub(p.now.Add(walk)) >= enough && p.takeSlot(l, from, walk) {
			return
		}
	}
	p.goes(l, noSlot)
}

// takeSlot writes l into the list for a washer that is free in the slot.
func (p list) takeSlot(l *life, from time.Time, walk time.Duration) bool {
	for i, d := range p.drums {
		begun := from.Before(p.now)
		if s := (slot{i, from}); d.kind == queue.Washer && p.slots[s] == nil && !(begun && d.running) {
			p.slots[s] = &booked{}
			p.expect(l, d, s, walk)
			return true
		}
	}
	return false
}

// nextMorning is the next instant at which the room opens.
func (p list) nextMorning(t time.Time) time.Time {
	midnight := t.Truncate(24 * time.Hour)
	if clock(t) >= opensAt {
		midnight = midnight.AddDate(0, 0, 1)
	}
	return midnight.Add(opensAt)
}

// expect lets the owner of a slot come to it, or miss it.
func (p list) expect(l *life, d *drum, s slot, walk time.Duration) {
	at := s.from
	if at.Before(p.now) {
		at = p.now
	}
	call := l.calls
	l.calls++
	if l.share(missing, call) < l.habits.Misses {
		p.todo.add(s.from.Add(p.set.Slot), func() { p.missedSlot(l) })
		return
	}
	p.todo.add(at.Add(walk), func() { p.come(l, d, s) })
}

// missedSlot books anew, once.
func (p list) missedSlot(l *life) {
	if l.calls >= 2 {
		p.goes(l, missed)
		return
	}
	p.book(l)
}

// come is the owner of a slot at the washer. A wash that runs over is waited for.
func (p list) come(l *life, d *drum, s slot) {
	b := p.slots[s]
	switch {
	case !d.running:
		b.used = true
		p.start(l, d)
	case p.now.Add(30 * time.Minute).After(s.from.Add(p.set.Slot)):
		p.report.Vain++
		p.book(l)
	default:
		if !b.used {
			p.report.Vain++
			b.used = true
		}
		p.todo.add(p.now.Add(10*time.Minute), func() { p.come(l, d, s) })
	}
}

// look is somebody without a slot at the door.
func (p list) look(l *life) {
	if !l.waiting() {
		return
	}
	if d := p.atRest(l, p.unbooked); d != nil && p.mayStart() {
		p.start(l, d)
		return
	}
	p.back(l, func() { p.look(l) })
}

// unbooked reports whether a machine may be started by somebody without a slot.
func (p list) unbooked(d *drum) bool {
	if d.kind == queue.Dryer {
		return true
	}
	from, ok := p.slotAt(p.now)
	if !ok {
		return false
	}
	for i := range p.drums {
		if b := p.slots[slot{i, from}]; p.drums[i] == d && b != nil && (b.used || p.now.Before(from.Add(noShow))) {
			return false
		}
	}
	return from.Add(p.set.Slot).Sub(p.now) >= enough
}
