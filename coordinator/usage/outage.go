package usage

import (
	"context"
	"time"

	"drumturn/coordinator"
)

// service notes that a machine went out of service, or came back.
func (t *tally) service(f *coordinator.Fact) {
	switch {
	case f.Kind == coordinator.FactOut && t.outSince.IsZero():
		t.outSince = f.At
	case backInService(f) && !t.outSince.IsZero():
		t.out = append(t.out, stretch{t.outSince, f.At})
		t.outSince = time.Time{}
	}
}

// backInService reports whether a fact puts a machine back into service. One with
// a note tells who sees its starts: its meter, or people.
func backInService(f *coordinator.Fact) bool {
	return f.Kind == coordinator.FactBack && f.Note == ""
}

// outage takes the time out of service off the opening hours: a machine that
// nobody may use is not unused. What ran then, such as a trial after a repair,
// is no use of opening hours either.
func (t *tally) outage(d *day, ran []stretch) {
	until := d.to
	if d.Until.Before(until) {
		until = d.Until
	}
	if !t.outSince.IsZero() {
		t.out = append(t.out, stretch{t.outSince, until})
		t.sum.OutAfter = true
	}
	if t.sum.Open == 0 {
		return // the room is closed, or the machine is none of it
	}
	for _, out := range t.out {
		out = out.clip(d.Opens, d.Closes).clip(d.from, until)
		t.sum.Out += out.length()
		for _, s := range ran {
			t.sum.RunningOpen -= s.clip(d.Opens, d.Closes).clip(out.from, out.to).length()
		}
	}
	t.sum.Open -= t.sum.Out
}

// outReach is how far back a machine may have gone out of service for that to be
// found where the day before has no sums that say so.
const outReach = 400

// outBefore are the machines that were out of service when a day began: as the
// sums of the day before say, or else the facts.
func outBefore(ctx context.Context, s Store, room coordinator.RoomID, date Date, zone *time.Location) (map[coordinator.MachineID]bool, error) {
	out, known := map[coordinator.MachineID]bool{}, false
	stored, err := machinesWithSums(ctx, s, room)
	if err != nil {
		return nil, err
	}
	for _, m := range stored {
		err := eachDay(ctx, s, room, m, date.Add(-1), date.Add(-1), func(was *Summary) {
			if was.V >= outKnown {
				out[m], known = was.OutAfter, true
			}
		})
		if err != nil {
			return nil, err
		}
	}
	if known {
		return out, nil
	}
	err = s.Facts(ctx, room, date.Add(-outReach).Begin(zone), date.Begin(zone), func(f coordinator.Fact) bool {
		if f.Kind == coordinator.FactOut {
			out[f.Machine] = true
		} else if backInService(&f) {
			delete(out, f.Machine)
		}
		return true
	})
	return out, err
}
