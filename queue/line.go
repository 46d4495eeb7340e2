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

// Place is how many waiting or called turns that compete for the same kind of
// work are ahead of turn i, plus one.
func (l Line) Place(i int) int {
	n := 1
	for j := range i {
		if (l[j].State == Waiting || l[j].State == Called) && l[j].Need == l[i].Need {
			n++
		}
	}
	return n
}

// Next finds the first turn that is eligible for the machine; -1 for none.
func (l Line) Next(m *Machine, h *House, now time.Time) int {
	for i := range l {
		if l[i].Eligible(m, h, now) == Yes {
			return i
		}
	}
	return -1
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
	l[i].release()
	l[i].Returned = true
	l.moveTo(i, 0)
}

// Miss records that the call of turn i lapsed. The first time it costs one place
// among the turns of the same kind and a wait until recall, the second time the
// turn ends (it is marked Missed and stays in the line for the caller to remove).
func (l Line) Miss(i int, recall time.Time) {
	t := &l[i]
	t.Misses++
	t.release()
	if t.Misses >= 2 {
		t.State = Missed
		return
	}
	t.Recall, t.MovedBack = recall, OverMissed
	for j := i + 1; j < len(l); j++ {
		if l[j].State == Waiting && l[j].Need == t.Need {
			l.moveTo(i, j)
			return
		}
	}
}

// LetNext puts turn i behind the next turn that could go instead of it: the next
// eligible one for the machine when m is given, else the next waiting one of the
// same kind. It reports whether there was one. A call of turn i is taken back.
func (l Line) LetNext(i int, m *Machine, h *House, now time.Time) bool {
	for j := i + 1; j < len(l); j++ {
		if m != nil && l[j].Eligible(m, h, now) != Yes {
			continue
		}
		if m == nil && (l[j].State != Waiting || l[j].Need != l[i].Need) {
			continue
		}
		l[i].release()
		l[i].MovedBack = OverLetNext
		l.moveTo(i, j)
		return true
	}
	return false
}

// moveTo moves turn i to index j; those between close up.
func (l Line) moveTo(i, j int) {
	t := l[i]
	if i < j {
		copy(l[i:j], l[i+1:j+1])
	} else {
		copy(l[j+1:i+1], l[j:i])
	}
	l[j] = t
}
