package coordinator

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// Restore makes the room that a store holds: state, detector checkpoints, and
// the readings stored since folded in. The caller then steps Reopened. A unit
// never stored gives a new room under the plan's seed rules.
//
// Machines that the plan no longer has take their holds and loads with them.
func Restore(plan Plan, stored Stored, engine NewEngine) (*Room, error) {
	r := NewRoom(plan, engine)
	r.seq = stored.Seq
	found := false
	if err := r.restoreVersions(stored.Rows); err != nil {
		return nil, err
	}
	for _, row := range stored.Rows {
		if row.Table != "room" || row.Key != "state" {
			continue
		}
		r.state = roomState{Rules: plan.Seed.since()}
		if err := json.Unmarshal(row.Value, &r.state); err != nil {
			return nil, fmt.Errorf("state of room %q does not read: %w", plan.ID, err)
		}
		found = true
	}
	if found {
		r.wire(engine)
		r.forgetMissing()
	}
	return r, r.restoreEngines(stored)
}

// restoreEngines gives the engines their memory and the readings since.
func (r *Room) restoreEngines(stored Stored) error {
	for _, c := range stored.Checkpoints {
		i := r.index(c.Machine)
		if i < 0 {
			continue
		}
		// An engine of another version relearns from idle, without any notice.
		if err := r.engines[i].Restore(c.Checkpoint); err != nil && !errors.Is(err, cycle.ErrVersion) {
			return fmt.Errorf("what machine %q of room %q has learned does not read: %w", c.Machine, r.plan.ID, err)
		}
	}
	for i := range r.engines {
		r.watts[i] = finite(r.engines[i].Status().Last.Watts)
	}
	for _, m := range stored.Tail {
		i := r.index(m.Machine)
		if i < 0 || !m.At.After(r.engines[i].Status().Last.At) {
			continue
		}
		r.engines[i].Read(m.At, m.Reading)
		r.followZero(i, m.Reading)
	}
	if r.supplyOut() {
		r.followDark()
	}
	return nil
}

// followDark lets any machine that was at work and is at 0 W be the one that shows
// power to be back, whose fall was stored before the last event.
func (r *Room) followDark() {
	for i := range r.state.Machines {
		if r.state.Machines[i].Running && r.watts[i] == 0 && r.zeroAt[i].IsZero() {
			r.zeroAt[i] = r.state.Supply.Since
		}
	}
}

// forgetMissing drops holds, loads and turns that name machines or loads which
// are not there any more.
func (r *Room) forgetMissing() {
	loads := r.state.Loads[:0]
	for _, l := range r.state.Loads {
		if r.index(l.Machine) >= 0 {
			loads = append(loads, l)
		}
	}
	r.state.Loads = loads
	turns := r.state.Turns[:0]
	for _, t := range r.state.Turns {
		missing := t.Machine != "" && r.index(t.Machine) < 0
		if missing && t.State == queue.Started {
			continue
		}
		if missing {
			t.State, t.Machine, t.CalledAt, t.HoldUntil, t.OnWay = queue.Waiting, "", time.Time{}, time.Time{}, time.Time{}
		}
		if r.load(LoadID(t.Behind)) == nil {
			t.Behind = 0
		}
		turns = append(turns, t)
	}
	r.state.Turns = turns
}
