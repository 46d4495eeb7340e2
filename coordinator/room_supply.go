package coordinator

import (
	"math"
	"time"

	"drumturn/coordinator/cycle"
)

const (
	// together is how close machines must fall to 0 W for it to be the supply.
	together = 10 * time.Second
	// silentWithin is how close meters must have been heard last when they go
	// silent together: those that report on change have heartbeats a minute apart.
	silentWithin = 2 * time.Minute
	// zeroFor is how long they must stay there: a pause of a programme is shorter.
	zeroFor = time.Minute
	// supplyAtMost is how long after the interruption a cycle may go on and be the same.
	supplyAtMost = 30 * time.Minute
	// sparesSilence is how long after a restart a silent meter is not told.
	sparesSilence = 10 * time.Minute
)

// supplyState is a supply interruption: several machines at 0 W or silent at once.
type supplyState struct {
	// Since is when it began, zero when there is none; Over when power came back
	// (cycles may still go on until Since + supplyAtMost).
	Since time.Time `json:",omitzero"`
	Over  time.Time `json:",omitzero"`
}

// supplyOut reports whether power is away.
func (r *Room) supplyOut() bool {
	return !r.state.Supply.Since.IsZero() && r.state.Supply.Over.IsZero()
}

// noticeZero looks at machine i's new reading for the begin or the end of a
// supply interruption. It allocates nothing and is cheap when nothing changes.
func (r *Room) noticeZero(i int, reading cycle.Reading, now time.Time) {
	before, watts := r.watts[i], reading.Watts
	if math.IsNaN(watts) { // the meter gives only its register
		return
	}
	r.watts[i] = watts
	switch {
	case watts == 0 && before > 0:
		r.zeroAt[i] = reading.At
	case watts == 0 && !r.zeroAt[i].IsZero() && reading.At.Sub(r.zeroAt[i]) >= zeroFor:
		r.zeroTogether(i, now)
	case watts > 0 && !r.zeroAt[i].IsZero():
		if r.supplyOut() && !r.zeroAt[i].Before(r.state.Supply.Since.Add(-together)) {
			r.supplyBack(now)
		}
		r.zeroAt[i] = time.Time{}
	case watts > 0 && watts < r.plan.Machines[i].Power.IdleBelowW && !r.state.Machines[i].Running:
		r.glows[i] = true
	}
}

// followZero keeps in mind since when machine i is at 0 W, from a reading that
// was stored before a restart.
func (r *Room) followZero(i int, reading cycle.Reading) {
	before, watts := r.watts[i], reading.Watts
	switch {
	case math.IsNaN(watts):
		return
	case watts == 0 && before > 0:
		r.zeroAt[i] = reading.At
	case watts > 0:
		r.zeroAt[i] = time.Time{}
	}
	r.watts[i] = watts
}

// zeroTogether begins a supply interruption when other machines fell to zero at
// the same time as machine i. Two that finish together are none: machines that
// draw 0 W when they are done count only from three on.
func (r *Room) zeroTogether(i int, now time.Time) {
	since := r.zeroAt[i]
	all, glowing := 0, 0
	for j, z := range r.zeroAt {
		if z.IsZero() || r.zeroAt[i].Sub(z).Abs() > together {
			continue
		}
		since = earlier(since, z)
		all++
		if r.glows[j] {
			glowing++
		}
	}
	if glowing >= 2 || all >= 3 {
		r.beginSupply(since, now)
	}
}

// silentTogether begins a supply interruption when another meter went silent
// at the same time as machine i's, while both machines were at work.
func (r *Room) silentTogether(i int, now time.Time) {
	a := &r.state.Machines[i]
	for j := range r.state.Machines {
		b := &r.state.Machines[j]
		if j != i && b.Silent && a.Running && b.Running && a.SilentSince.Sub(b.SilentSince).Abs() <= silentWithin {
			r.beginSupply(earlier(a.SilentSince, b.SilentSince), now)
			return
		}
	}
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// beginSupply pauses holds and the ladder. What fell before power was seen to be
// back belongs to the interruption that is over: part of the room is still dark.
func (r *Room) beginSupply(since, now time.Time) {
	if r.supplyOut() || now.Sub(since) > supplyAtMost || !since.After(r.state.Supply.Over) {
		return
	}
	r.state.Supply = supplyState{Since: since}
	r.fact(Fact{Kind: FactSupply, Start: since, Note: "began"})
}

// supplyBack ends the pause: holds and ladders go on with the time they had left.
func (r *Room) supplyBack(now time.Time) {
	s := &r.state.Supply
	s.Over = now
	away := now.Sub(s.Since)
	for i := range r.state.Machines {
		if h := r.state.Machines[i].Hold; h != nil {
			r.extendHold(h, h.Until.Add(now.Sub(later(s.Since, h.Since))))
		}
	}
	for k := range r.state.Loads {
		if l := &r.state.Loads[k]; l.Ready() {
			l.Pause += now.Sub(later(s.Since, l.ToldAt))
			if l.MoreUntil.After(s.Since) {
				l.MoreUntil = l.MoreUntil.Add(away)
			}
		}
	}
	r.fact(Fact{Kind: FactSupply, Start: s.Since, End: now, Note: "ended"})
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// extendHold moves a hold's lapse.
func (r *Room) extendHold(h *Hold, until time.Time) {
	h.Until = until
	if k := r.state.Turns.Index(h.Turn); k >= 0 {
		r.state.Turns[k].HoldUntil = until
	}
	r.touch()
}

// cutBySupply reports whether an end lies within the supply interruption, which
// may then be all that it means.
func (r *Room) cutBySupply(end time.Time) bool {
	s := r.state.Supply
	if s.Since.IsZero() || end.Before(s.Since.Add(-together)) {
		return false
	}
	return s.Over.IsZero() || !end.After(s.Over)
}

// endSupply gives up on the cycles that did not go on in time, and on a supply
// that never came back as such: perhaps the machines were just switched off.
func (r *Room) endSupply(now time.Time) {
	s := &r.state.Supply
	if s.Since.IsZero() || now.Before(s.Since.Add(supplyAtMost)) {
		return
	}
	if s.Over.IsZero() {
		r.supplyBack(now)
	}
	*s = supplyState{Over: s.Over} // no fall before it begins another
	for i := range r.state.Machines {
		if m := &r.state.Machines[i]; m.Deferred != nil {
			ev := *m.Deferred
			if ev.Kind == cycle.Finished {
				ev.Kind = cycle.StoppedEarly
			}
			r.closeCycle(i, ev, now)
		}
	}
	r.touch()
}
