package queue

import (
	"slices"
	"time"
)

// Line is the queue of a room: the turns in their order. Turns that ended are not in it.
type Line []Turn

// Index finds a turn by id; -1 when it is not in the line.
func (l Line) Index(id TurnID) int {
	return slices.IndexFunc(l, func(t Turn) bool { return t.ID == id })
}

// Active counts the turns of a home that wait or are called. A dryer booked
// behind a wash counts too: it is added when its wash has started.
func (l Line) Active(home HomeID) int {
	n := 0
	for i := range l {
		if l[i].Home == home && (l[i].State == Waiting || l[i].State == Called) {
			n++
		}
	}
	return n
}

// Of counts the turns of a person that wait or are called.
func (l Line) Of(person PersonID) int {
	n := 0
	for i := range l {
		if l[i].Person == person && (l[i].State == Waiting || l[i].State == Called) {
			n++
		}
	}
	return n
}

// Place is how many waiting turns that compete for the same kind of work go before
// turn i, plus one.
func (l Line) Place(i int) int { return slices.Index(l.ofKind(i), i) + 1 }

// Next finds the turn that is to be called to the machine: the first that is
// eligible for it and lets no other eligible one go first; -1 for none.
func (l Line) Next(m *Machine, h *House, now time.Time) int {
	return l.First(func(i int) bool { return l[i].Eligible(m, h, now) == Yes })
}

// FirstWaiting finds the first waiting turn that could use the machine at some time; -1 for none.
func (l Line) FirstWaiting(m *Machine) int {
	for i := range l {
		if l[i].State == Waiting && l[i].Fits(m) == Yes {
			return i
		}
	}
	return -1
}

// Call marks turn i as called to the machine. Turns that missed a call before
// may be called again from now on.
func (l Line) Call(i int, m MachineID, now time.Time, hold time.Duration) {
	for j := range l {
		l[j].Recall = time.Time{}
	}
	t := &l[i]
	t.Ways = nil
	t.State, t.Machine, t.CalledAt, t.HoldUntil = Called, m, now, now.Add(hold)
	t.Calls++
	t.Returned = false
}

// release puts a called turn back to waiting.
func (t *Turn) release() {
	t.State, t.Machine, t.CalledAt, t.HoldUntil, t.OnWay = Waiting, "", time.Time{}, time.Time{}, time.Time{}
}

// Wait puts a called or started turn back to waiting, in its place.
func (l Line) Wait(i int) { l[i].release() }

// Release takes a call back without blame: the turn waits again, at the head of the line.
func (l Line) Release(i int) {
	l.Settle(l[i].ID)
	l[i].release()
	l[i].Returned = true
	t := l[i]
	copy(l[1:i+1], l[:i])
	l[0] = t
}

// Miss records that the call of turn i lapsed. The first time it costs one place
// among the turns of the same kind and a wait until recall, the second time the turn
// ends (it is marked Missed and stays in the line for the caller to remove). The
// place goes to the one that had let this turn go first, or else to the next.
func (l Line) Miss(i int, recall time.Time) {
	t := &l[i]
	t.Misses++
	t.release()
	if t.Misses >= 2 {
		t.State = Missed
		return
	}
	t.Recall = recall
	if j := l.nextOfKind(i); j >= 0 {
		l.pass(i, j, OverMissed)
	}
}

// LetNext lets the next one go before turn i: where i is called, the turn that is
// called to the machine m instead, else the next waiting one of the same kind (m
// nil). It reports whether there is one. A call of turn i is taken back.
func (l Line) LetNext(i int, m *Machine, h *House, now time.Time) bool {
	j := l.nextOfKind(i)
	if m != nil {
		j = l.First(func(j int) bool { return j != i && l[j].Eligible(m, h, now) == Yes })
	}
	if j < 0 {
		return false
	}
	l[i].release()
	l.pass(i, j, OverLetNext)
	return true
}

// Insert puts a turn that was in the line back into it, behind all that joined
// before it.
func (l Line) Insert(t Turn) Line {
	i := len(l)
	for i > 0 && l[i-1].ID > t.ID {
		i--
	}
	return slices.Insert(l, i, t)
}
