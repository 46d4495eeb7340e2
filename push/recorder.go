package push

import (
	"context"
	"fmt"
	"time"

	"drumturn/coordinator"
)

// recorder writes what became of rows. One record is under way at a time, and
// what is settled meanwhile shares the next one, while sending goes on: the
// outbox's wait for the disk is then nobody's.
type recorder struct {
	dirty   []*job // what became of them is not being recorded yet
	writing []*job // what became of them is being recorded
	// settled are the outcomes of sends in writing; unrecorded those not
	// recorded yet, and the sends under way: what is repeated after a kill.
	settled, unrecorded int
	recorded            chan error
	// retry: after a failure, it is time to try again.
	retry bool
	// gather runs out when what is dirty has waited long enough for more (nil while
	// nothing waits), and waited says that it has.
	gather *time.Timer
	waited bool
}

// gatherFor is how long an outcome waits for others to share its record with,
// while there is more to send.
const gatherFor = 50 * time.Millisecond

// soil marks j as to be recorded.
func (d *dispatch) soil(j *job) {
	if !j.dirty {
		j.dirty = true
		d.dirty = append(d.dirty, j)
	}
}

// write begins a record unless one is under way, or more outcomes are about to
// come that can share it. When it fails the rows stay in hand, so that nothing
// is sent twice.
func (d *dispatch) write(ctx context.Context) {
	if d.writing != nil || len(d.dirty) == 0 || d.troubled && !d.retry || d.gathers() {
		return
	}
	d.retry = false
	rows := d.batch()
	go func() {
		// Told to stop, Run waits for this record and makes the last one after it.
		d.recorded <- d.w.Outbox.RecordDeliveries(context.WithoutCancel(ctx), rows...)
	}()
}

// gathers reports whether a record had better wait: messages are waiting to be
// sent, there is room for their outcomes, and the first that waits to be
// recorded has not waited for long.
func (d *dispatch) gathers() bool {
	if !d.lanes.waiting() || d.unrecorded >= d.w.Unrecorded/2 || d.troubled || d.waited {
		return false
	}
	if d.gather == nil {
		d.gather = time.NewTimer(gatherFor)
	}
	return true
}

// gathered is when it runs out; a nil channel means never.
func (r *recorder) gathered() <-chan time.Time {
	if r.gather == nil {
		return nil
	}
	return r.gather.C
}

// batch takes the rows to record.
func (d *dispatch) batch() []coordinator.Delivery {
	if d.gather != nil {
		d.gather.Stop()
	}
	d.gather, d.waited = nil, false
	d.writing, d.dirty = d.dirty, nil
	rows := make([]coordinator.Delivery, len(d.writing))
	for i, j := range d.writing {
		rows[i] = j.row
		d.settled += j.outcomes
		j.dirty, j.outcomes = false, 0
	}
	return rows
}

// noteRecord ends a record, and lets go of the rows that are over.
func (d *dispatch) noteRecord(ctx context.Context, err error) {
	written := d.writing
	d.writing = nil
	if err != nil {
		for _, j := range written {
			d.soil(j)
		}
		d.failed(ctx, "recording what was sent", err)
		return
	}
	d.recovered()
	d.unrecorded, d.settled = d.unrecorded-d.settled, 0
	for _, j := range written {
		if !j.dirty && j.open == 0 {
			delete(d.jobs, j.row.Key)
		}
	}
}

// lastRecord waits for the record under way and writes what is left.
func (d *dispatch) lastRecord(ctx context.Context) error {
	if d.writing != nil {
		select {
		case err := <-d.recorded:
			d.noteRecord(ctx, err)
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	if len(d.dirty) == 0 {
		return nil
	}
	return d.w.Outbox.RecordDeliveries(ctx, d.batch()...)
}

// failed notes trouble with the outbox; Run tries again after lookAgain.
func (d *dispatch) failed(ctx context.Context, what string, err error) {
	if ctx.Err() != nil {
		return
	}
	if !d.troubled {
		d.w.Log.Error("push: "+what+" failed", "err", err)
	}
	d.troubled = true
	d.forgetAgain()
	d.w.record.trouble(fmt.Sprintf("%s: %v", what, err))
}

// recovered ends the trouble.
func (d *dispatch) recovered() {
	if d.troubled {
		d.troubled = false
		d.w.record.trouble("")
	}
}
