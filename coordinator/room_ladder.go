package coordinator

import (
	"fmt"
	"time"

	"drumturn/queue"
)

// maxSteps is how many steps a ladder may have: Load.Taken has a bit for each.
const maxSteps = 64

// usefulNudge is how long a nudge is worth sending.
const usefulNudge = 30 * time.Minute

// climb takes every step of the ladder that is due, and lets loads be assumed
// collected where nobody waits.
func (r *Room) climb(now time.Time) {
	for k := range r.state.Loads {
		l := &r.state.Loads[k]
		i := r.index(l.Machine)
		if !l.Ready() || i < 0 {
			continue
		}
		for step := range r.state.Rules.Ladder {
			if l.Taken&(1<<step) == 0 && !r.takeAt(l, step).After(now) {
				r.takeStep(i, l, step, now)
			}
		}
		r.moreTimeOver(i, l, now)
		r.assumeEmpty(i, l, now)
		r.forget(i, l, now)
	}
}

// stepAt is when a step of the ladder is due: counted from told-at, put off to
// the end of the room's night for all but the manager.
func (r *Room) stepAt(l *Load, step int) time.Time {
	s := r.state.Rules.Ladder[step]
	at := l.ToldAt.Add(l.Pause + s.After)
	if s.Tell == TellManager {
		return at
	}
	return r.afterNight(at)
}

// takeAt is when a step that was not taken yet will be: one that is overdue,
// because the rules have changed or the clock has jumped, waits for the end of the night.
func (r *Room) takeAt(l *Load, step int) time.Time {
	at := r.stepAt(l, step)
	if r.state.Rules.Ladder[step].Tell == TellManager || at.After(r.state.Now) {
		return at
	}
	return later(at, r.afterNight(r.state.Now))
}

// afterNight is t, or the end of the night that t falls into.
func (r *Room) afterNight(t time.Time) time.Time {
	night := Quiet{From: r.state.Rules.NightFrom, To: r.state.Rules.NightTo}
	if end := night.Ends(t, r.zone()); !end.IsZero() {
		return end
	}
	return t
}

// takeStep tells whom the step is for, where there is somebody.
func (r *Room) takeStep(i int, l *Load, step int, now time.Time) {
	l.Taken |= 1 << step
	l.Steps++
	n := Notice{
		Subject: Subject{Load: l.ID}, Step: (l.Round-1)*maxSteps + step + 1, ReadyAt: l.ReadyAt,
		Reason: string(l.Reason), UsefulUntil: now.Add(usefulNudge),
	}
	tell := r.state.Rules.Ladder[step].Tell
	switch tell {
	case TellOwner:
		n.Kind, n.To, n.MoreTime = LoadNudge, l.Owner, r.offersMore(i, now)
	case TellNext:
		n.Kind = LoadWaiting
		n.To = r.nextFor(i, l, now)
	case TellManager:
		n.Kind, n.Role, n.UsefulUntil = LoadLeft, Managers, now.Add(12*time.Hour)
	}
	if n.To != "" || n.Role != "" {
		r.tell(i, n)
	}
	r.fact(Fact{
		Kind: FactNudged, Machine: l.Machine, Person: n.To, Load: l.ID, Cycle: l.Cycle,
		Note: fmt.Sprintf("step %d: %s", step+1, tell),
	})
}

// nextFor is who waits for machine i and would be called now, but for the load in
// it; nobody of the home whose load it is, and empty for nobody.
func (r *Room) nextFor(i int, l *Load, now time.Time) PersonID {
	if r.state.Machines[i].Out {
		return ""
	}
	k := r.state.Turns.First(func(k int) bool {
		t := &r.state.Turns[k]
		others := l.Owner == "" || !l.mine(t.Person, t.Home)
		return others && t.State == queue.Waiting && t.Behind == 0 && !now.Before(t.NotBefore) &&
			t.Fits(&r.plan.Machines[i].Machine) == queue.Yes
	})
	if k < 0 {
		return ""
	}
	return r.state.Turns[k].Person
}

// forgottenAfter is how long a load may stay until it counts as forgotten.
const forgottenAfter = 24 * time.Hour

// forgottenAt is when a load counts as forgotten.
func forgottenAt(l *Load) time.Time { return l.ToldAt.Add(l.Pause + forgottenAfter) }

// forget puts a load that nobody has collected for a day on the managers' list
// and tells them once more.
func (r *Room) forget(i int, l *Load, now time.Time) {
	if l.Forgotten || forgottenAt(l).After(now) {
		return
	}
	l.Forgotten = true
	r.tell(i, Notice{
		Subject: Subject{Load: l.ID}, Kind: LoadLeft, Step: l.Round*maxSteps - 1, Role: Managers,
		ReadyAt: l.ReadyAt, Reason: string(l.Reason), UsefulUntil: now.Add(24 * time.Hour),
	})
	r.fact(Fact{Kind: FactForgotten, Machine: l.Machine, Person: l.Owner, Home: l.Home, Load: l.ID, Cycle: l.Cycle, Wait: now.Sub(l.ToldAt)})
}

// assumeEmpty lets the board say "free, may hold a load" when nobody waits for
// machine i and its load has been there for long.
func (r *Room) assumeEmpty(i int, l *Load, now time.Time) {
	if now.Before(r.assumeAt(l)) || !r.mayAssume(i, l) {
		return
	}
	l.AssumedEmpty = true
	r.state.Machines[i].Since = now
	r.fact(Fact{Kind: FactAssumed, Machine: l.Machine, Load: l.ID})
}

// mayAssume reports whether the load in machine i is one that may be assumed
// collected: nobody waits for the machine or holds it.
func (r *Room) mayAssume(i int, l *Load) bool {
	return !l.AssumedEmpty && r.state.Machines[i].Hold == nil &&
		r.state.Turns.FirstWaiting(&r.plan.Machines[i].Machine) < 0
}

func (r *Room) assumeAt(l *Load) time.Time {
	return later(l.ToldAt.Add(l.Pause+r.state.Rules.AssumeEmptyAfter), l.MoreUntil)
}
