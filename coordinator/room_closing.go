package coordinator

import (
	"time"

	"drumturn/queue"
)

// A turn that is not called before the room closes waits for the morning, or
// leaves, as its resident chose.

// atClosing changes that choice.
func (r *Room) atClosing(now time.Time, e AtClosing) error {
	i, err := r.own(e.Turn, e.Person, e.Home)
	if err != nil {
		return err
	}
	t, note := &r.state.Turns[i], "waits for the morning"
	t.LeaveAt = time.Time{}
	if e.Leave {
		t.LeaveAt, note = r.leavesFrom(t.Need, now), "leaves at closing"
	}
	r.fact(Fact{Kind: FactChose, Person: t.Person, Home: t.Home, Turn: t.ID, Note: note})
	return nil
}

// leavesFrom is from when on a closing counts for who chooses now to leave at
// it: in a closed room it is not the one that was.
func (r *Room) leavesFrom(need queue.Need, now time.Time) time.Time {
	length := r.state.Learned.typical(need)
	if r.state.Rules.Hours.MayStart(now, length, r.zone()) {
		return now
	}
	return later(now, r.state.Rules.Hours.NextOpening(now, length, r.zone()))
}

// leavesAt is when a waiting turn leaves, unless it is called before; zero for
// one that waits for the morning, or never needs to.
func (r *Room) leavesAt(t *queue.Turn) time.Time {
	if t.LeaveAt.IsZero() {
		return time.Time{}
	}
	return r.state.Rules.Hours.NextClosing(later(r.state.Now, t.LeaveAt), r.state.Learned.typical(t.Need), r.zone())
}

// closeTurns lets the turns go that were not called before the room closed, and
// whose residents had chosen to leave then.
func (r *Room) closeTurns(now time.Time) {
	for k := len(r.state.Turns) - 1; k >= 0; k-- {
		t := r.state.Turns[k]
		if t.State != queue.Waiting || t.LeaveAt.IsZero() || now.Before(t.LeaveAt) ||
			r.state.Rules.Hours.MayStart(now, r.state.Learned.typical(t.Need), r.zone()) {
			continue
		}
		r.removeTurn(k)
		r.withdraw(Subject{Turn: t.ID})
		r.tellTurn(&t, Notice{Kind: TurnClosed, Step: 1, UsefulUntil: now.Add(12 * time.Hour)})
		r.fact(Fact{Kind: FactLeft, Person: t.Person, Home: t.Home, Turn: t.ID, Note: "closing", Wait: now.Sub(t.Joined)})
	}
}

// tellTurn tells the owner of a turn something that is about no machine.
func (r *Room) tellTurn(t *queue.Turn, n Notice) {
	n.Subject, n.To, n.Made = Subject{Room: r.plan.ID, Turn: t.ID}, t.Person, r.state.Now
	r.out.Notices = append(r.out.Notices, n)
	r.touch()
}
