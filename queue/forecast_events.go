package queue

import "time"

// happening is something that a round knows will happen: a machine opens (what is
// its index), or a turn wakes (what is -1 minus its index).
type happening struct {
	at   time.Duration
	what int
}

// agenda is a heap of happenings, the first one on top. Those of the same instant
// come machines first, in the order in which the room looks at them: who missed a call
// just before another did may let that one go first, or not.
type agenda []happening

func (a happening) before(b happening) bool {
	// A turn is a very large number without its sign.
	return a.at < b.at || a.at == b.at && uint(a.what) < uint(b.what)
}

func (a *agenda) push(h happening) {
	*a = append(*a, h)
	q := *a
	i := len(q) - 1
	for i > 0 {
		up := (i - 1) / 2
		if !h.before(q[up]) {
			break
		}
		q[i] = q[up]
		i = up
	}
	q[i] = h
}

func (a *agenda) pop() happening {
	q := *a
	top, last := q[0], q[len(q)-1]
	q = q[:len(q)-1]
	*a = q
	if len(q) == 0 {
		return top
	}
	i := 0
	for {
		down := 2*i + 1
		if down >= len(q) {
			break
		}
		if r := down + 1; r < len(q) && q[r].before(q[down]) {
			down = r
		}
		if !q[down].before(last) {
			break
		}
		q[i] = q[down]
		i = down
	}
	q[i] = last
	return top
}
