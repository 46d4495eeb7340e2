package coordinator

import (
	"time"

	"drumturn/queue"
)

// deadline keeps the earliest of the instants it is shown.
type deadline struct{ at time.Time }

func (d *deadline) consider(t time.Time) {
	if !t.IsZero() && (d.at.IsZero() || t.Before(d.at)) {
		d.at = t
	}
}

// Deadline is the earliest instant at which a Tick may change something; zero
// when only an event can. The caller steps a Tick then.
func (r *Room) Deadline() time.Time {
	var d deadline
	for _, e := range r.engines {
		d.consider(e.Next())
	}
	if s := r.state.Supply.Since; !s.IsZero() {
		d.consider(s.Add(supplyAtMost))
	}
	r.handDeadlines(&d)
	if r.supplyOut() {
		return d.at
	}
	r.machineDeadlines(&d)
	r.loadDeadlines(&d)
	r.turnDeadlines(&d)
	for k := range r.state.Table {
		l := &r.state.Table[k]
		d.consider(l.At.Add(tableFor))
		if !l.Forgotten {
			d.consider(l.At.Add(forgottenAfter))
		}
	}
	return d.at
}

// handDeadlines are the ends of cycles run by hand: no meter, and no supply that
// is away, tells of those.
func (r *Room) handDeadlines(d *deadline) {
	for i := range r.state.Machines {
		if m := &r.state.Machines[i]; m.ByHand && m.Running {
			d.consider(r.handEnd(i))
		}
	}
}

func (r *Room) machineDeadlines(d *deadline) {
	for i := range r.state.Machines {
		m := &r.state.Machines[i]
		if m.Hold != nil {
			d.consider(m.Hold.Until)
		}
		if m.Silent && !m.SilentTold && !m.Out && !m.ByHand {
			d.consider(later(r.state.QuietUntil, r.state.Now))
		}
	}
}

func (r *Room) loadDeadlines(d *deadline) {
	for k := range r.state.Loads {
		l := &r.state.Loads[k]
		if l.Past != 0 && !l.PastTold {
			d.consider(l.PastSince.Add(r.state.Rules.NotMeWithin))
		}
		if !l.Ready() {
			continue
		}
		if !l.MoreUntil.IsZero() && !l.MoreTold {
			d.consider(l.MoreUntil)
		}
		if !l.Forgotten {
			d.consider(forgottenAt(l))
		}
		if r.stoppedAhead(l) {
			d.consider(l.ReadyAt.Add(restartWithin))
		}
		for step := range r.state.Rules.Ladder {
			if l.Taken&(1<<step) == 0 {
				d.consider(r.takeAt(l, step))
			}
		}
		i := r.index(l.Machine)
		if i < 0 {
			continue
		}
		if r.mayAssume(i, l) {
			d.consider(r.assumeAt(l))
		}
		if at := r.callWithLoadAt(l); at.After(r.state.Now) {
			d.consider(at)
		}
	}
}

// turnDeadlines are when a waiting turn may become eligible by the clock alone.
func (r *Room) turnDeadlines(d *deadline) {
	var needs [4]bool
	for k := range r.state.Turns {
		t := &r.state.Turns[k]
		if t.State != queue.Waiting {
			continue
		}
		if t.NotBefore.After(r.state.Now) {
			d.consider(t.NotBefore)
		}
		if t.Recall.After(r.state.Now) {
			d.consider(t.Recall)
		}
		d.consider(r.aheadAt(k))
		if !t.LeaveAt.IsZero() {
			d.consider(r.leavesAt(t))
		}
		if int(t.Need) < len(needs) && !needs[t.Need] {
			needs[t.Need] = true
			d.consider(r.state.Rules.Hours.NextOpening(r.state.Now, r.state.Learned.typical(t.Need), r.zone()))
		}
	}
}
