package coordinator

import (
	"time"

	"drumturn/queue"
)

// markPast marks a load that nobody who was called has started in machine i,
// while somebody waited who could have had the machine. The fact names nobody.
func (r *Room) markPast(i int, l *Load, now time.Time) {
	m := &r.state.Machines[i]
	if l.Past != 0 || m.Out {
		return // seen before; or nobody could have been called to it
	}
	k := r.state.Turns.Next(&r.plan.Machines[i].Machine, r.house(), now)
	if k < 0 {
		return
	}
	l.Past, l.PastSince = r.state.Turns[k].ID, now
	r.fact(Fact{Kind: FactOvertook, Machine: m.ID, Load: l.ID, Cycle: l.Cycle, Note: r.state.Rules.WalkUps.String()})
}

// reportPast does about walk-ups what the house rules say, once the time for
// "not me" is over: until then whoever was first may say that the load is theirs.
func (r *Room) reportPast(now time.Time) {
	for k := range r.state.Loads {
		l := &r.state.Loads[k]
		if l.Past == 0 || l.PastTold || l.PastSince.Add(r.state.Rules.NotMeWithin).After(now) {
			continue
		}
		l.PastTold = true
		r.touch()
		if i := r.index(l.Machine); i >= 0 {
			r.tellPast(i, l, now)
		}
	}
}

// tellPast tells whoever waited, and the managers, as the house rules say.
func (r *Room) tellPast(i int, l *Load, now time.Time) {
	manner := r.state.Rules.WalkUps
	if k := r.state.Turns.Index(l.Past); manner >= Tolerated && k >= 0 && r.state.Turns[k].State == queue.Waiting {
		r.tell(i, Notice{
			Subject: Subject{Turn: l.Past}, Kind: TurnPassed, Step: r.again(), To: r.state.Turns[k].Person,
			UsefulUntil: now.Add(time.Hour),
		})
	}
	if manner >= Reported {
		r.tell(i, Notice{
			Subject: Subject{Load: l.ID}, Kind: WalkUpTold, Step: 1, Role: Managers,
			UsefulUntil: now.Add(24 * time.Hour),
		})
	}
}

// noteWalkUp takes a start out of turn off the manager's list.
func (r *Room) noteWalkUp(i int, e NoteWalkUp) error {
	l := r.load(r.state.Machines[i].Load)
	if l == nil || l.Past == 0 {
		return Refuse(Conflict, "walk-up.none", "This machine was not started out of turn.")
	}
	if !l.PastSeen {
		l.PastSeen = true
		r.fact(Fact{Kind: FactSeen, Machine: r.plan.Machines[i].ID, Person: e.Person, Load: l.ID})
	}
	return nil
}
