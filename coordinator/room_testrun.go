package coordinator

import (
	"time"

	"drumturn/queue"
)

// A turn is given back once by a short test run, whether the engine saw a cycle
// that stopped early or took the start back altogether.

// giveBack lets the turn that a withdrawn start on machine i had used up wait
// again. From the second time on that counts as a missed call: a machine is not
// kept for ever for who starts nothing in it.
func (r *Room) giveBack(i int, l *Load, now time.Time) {
	k := r.state.Turns.Index(l.Turn)
	if l.Turn == 0 || k < 0 || r.state.Turns[k].State != queue.Started {
		return
	}
	if !r.state.Turns[k].Tried || r.state.Turns[k].CalledAt.IsZero() {
		r.testRan(k, l)
		return
	}
	t := r.state.Turns[k]
	r.state.Turns.Miss(k, now.Add(r.state.Rules.RecallAfter))
	t.Calls += r.again() * 1000 // its miss may have been told already, and taken back
	r.tellMissed(i, &t, now)
}

// testRan gives turn k back after a test run.
func (r *Room) testRan(k int, l *Load) {
	r.state.Turns[k].Tried = true
	r.fact(Fact{Kind: FactTestRun, Machine: l.Machine, Person: l.Owner, Home: l.Home, Turn: l.Turn, Load: l.ID})
	r.dropBooked(l.ID)
	r.waitAgain(l.Turn)
}
