package coordinator

import (
	"time"

	"drumturn/coordinator/cycle"
)

// reopen takes the program's having been down since `since`. What lapsed
// meanwhile restarts in full, once; what the detectors and the state disagree
// about is corrected.
func (r *Room) reopen(now, since time.Time) {
	if now.After(since) {
		r.state.QuietUntil = now.Add(sparesSilence)
		if !r.supplyOut() { // then they stand still, and nothing has lapsed
			r.restartHolds(now, since)
			r.restartLadders(now, since)
		}
		r.touch()
	}
	for i := range r.engines {
		r.reconcile(i, now)
	}
}

// restartHolds gives holds that lapsed while the program was down their full time again.
func (r *Room) restartHolds(now, since time.Time) {
	for i := range r.state.Machines {
		h := r.state.Machines[i].Hold
		if h != nil && h.Until.After(since) && !h.Until.After(now) && !h.Restarted {
			h.Restarted = true
			r.extendHold(h, now.Add(r.holdFor(h.Turn)))
		}
	}
}

// restartLadders lets the step of each ladder that lapsed while the program was
// down wait its full time again, and those behind it with it.
func (r *Room) restartLadders(now, since time.Time) {
	for k := range r.state.Loads {
		l := &r.state.Loads[k]
		if !l.Ready() || l.Restarted {
			continue
		}
		if due, gap, ok := r.lapsedStep(l, now, since); ok {
			l.Restarted = true
			l.Pause += now.Add(gap).Sub(due)
		}
		if l.MoreUntil.After(since) && !l.MoreUntil.After(now) {
			l.Restarted = true
			l.MoreUntil = now.Add(r.state.Rules.MoreTime)
		}
	}
}

// lapsedStep is the first step of the ladder that fell due between since and
// now: when it would be due without the night, and how long it is after the step before.
func (r *Room) lapsedStep(l *Load, now, since time.Time) (due time.Time, gap time.Duration, ok bool) {
	var before time.Duration
	for step, s := range r.state.Rules.Ladder {
		at := r.stepAt(l, step)
		if l.Taken&(1<<step) == 0 && at.After(since) && !at.After(now) {
			return l.ToldAt.Add(l.Pause + s.After), s.After - before, true
		}
		before = s.After
	}
	return time.Time{}, 0, false
}

// reconcile makes the state of machine i agree with its detector after a
// restart, by events of its own: stored facts are never folded again.
func (r *Room) reconcile(i int, now time.Time) {
	m, status := &r.state.Machines[i], r.engines[i].Status()
	if m.ByHand || m.Deferred != nil {
		return
	}
	if status.Last.At.IsZero() {
		if m.Running {
			m.Unsure = now
			r.touch()
		}
		return
	}
	switch {
	case status.Running && !m.Running:
		r.cycleStarted(i, cycle.Event{Kind: cycle.Started, At: now, Start: status.Start}, now)
	case !status.Running && m.Running:
		end := status.Last.At
		r.cycleEnded(i, cycle.Event{Kind: cycle.Presumed, At: now, Start: m.Start, End: later(m.Start, end), EnergyWh: status.EnergyWh, PeakW: status.PeakW}, now)
	}
	if m.Silent && !status.Silent {
		r.heardAgain(i, now)
	}
}

// unsureFor is how long a detector that relearns may see no work of a machine
// that was running, until its cycle is presumed over.
const unsureFor = 10 * time.Minute

// resolveUnsure looks whether machine i, running before its detector was made
// anew, still works.
func (r *Room) resolveUnsure(i int, now time.Time) {
	m, status := &r.state.Machines[i], r.engines[i].Status()
	switch {
	case !m.Running || m.ByHand || status.Running:
		m.Unsure = time.Time{}
		r.touch()
	case now.Sub(m.Unsure) >= unsureFor:
		end := later(m.Start, m.Unsure)
		m.Unsure = time.Time{}
		r.cycleEnded(i, cycle.Event{Kind: cycle.Presumed, At: now, Start: m.Start, End: end}, now)
		r.checkpoint(i)
	}
}
