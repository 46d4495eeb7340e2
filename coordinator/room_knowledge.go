package coordinator

import (
	"time"

	"drumturn/coordinator/cycle"
)

// knower is an engine that can tell what it has learned, and forget it.
type knower interface {
	Knowledge() cycle.Knowledge
	Forget()
}

// knowledge is what machine i's engine has learned; nil when it does not learn.
// It is made anew only when something happened, because snapshots share it.
func (r *Room) knowledge(i int) *cycle.Knowledge {
	e, ok := r.engines[i].(knower)
	if !ok {
		return nil
	}
	if r.known[i] == nil {
		k := e.Knowledge()
		r.known[i] = &k
	}
	return r.known[i]
}

// noticeChange tells the managers when machine i's levels have changed for
// good: another machine may stand there, or this one is worn or was repaired.
func (r *Room) noticeChange(i int, now time.Time) {
	r.known[i] = nil
	k, m := r.knowledge(i), &r.state.Machines[i]
	if k == nil || !k.Changed.After(m.ChangedTold) {
		return
	}
	m.ChangedTold = k.Changed
	r.tell(i, Notice{
		Subject: Subject{Machine: m.ID}, Kind: LevelsChanged, Step: r.again(), Role: Managers,
		UsefulUntil: now.Add(7 * 24 * time.Hour),
	})
	r.fact(Fact{Kind: FactLevels, Machine: m.ID, Start: k.Changed, Note: "changed"})
}

// forgetLearned makes machine i's engine as new.
func (r *Room) forgetLearned(i int, e ForgetLearned) error {
	m := &r.state.Machines[i]
	engine, ok := r.engines[i].(knower)
	switch {
	case !ok:
		return Refuse(Conflict, "learned.none", "Nothing is learned about this machine.")
	case m.Running:
		return Refuse(Conflict, "learned.running", "This machine is at work. Wait until it is done.")
	}
	engine.Forget()
	r.known[i] = nil
	m.ChangedTold = time.Time{}
	r.checkpoint(i)
	r.fact(Fact{Kind: FactLevels, Machine: m.ID, Person: e.Person, Note: "forgotten"})
	return nil
}
