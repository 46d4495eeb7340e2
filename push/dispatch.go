package push

import (
	"context"
	"fmt"
	"time"

	"drumturn/coordinator"
)

const (
	// batch is how many rows are fetched beyond those in hand.
	batch = 256
	// mostInHand bounds the rows in memory.
	mostInHand = 20_000
	// lookAgain is how often the outbox is looked at while rows in hand hide
	// when the next one is due, and after trouble with it.
	lookAgain = time.Second
	// recordTimeout bounds the last record after Run was told to stop.
	recordTimeout = 5 * time.Second
)

// job is a row in hand.
type job struct {
	row coordinator.Delivery
	// open counts its tasks that have no outcome yet.
	open int
	// withdrawn: its subject was settled; what is not under way is not sent.
	withdrawn bool
	// dirty: it is on dispatch.dirty, to be recorded.
	dirty bool
}

// dispatch is the state of one Run; only Run's goroutine touches it.
type dispatch struct {
	w       *Worker
	sending context.Context // of the sends, which outlive Run's by StopGrace
	jobs    map[string]*job // by the row's key
	dirty   []*job          // what became of them is not recorded yet
	lanes   lanes
	results chan outcome
	// look: the outbox may hold what is not in hand. looked is the now of the last look.
	look   bool
	looked time.Time
	// troubled: the outbox failed; wait before the next use of it.
	troubled bool
}

func newDispatch(w *Worker, sending context.Context) *dispatch {
	return &dispatch{
		w: w, sending: sending, look: true,
		jobs:    map[string]*job{},
		lanes:   lanes{most: w.Parallel, mostPerHost: w.PerHost, byHost: map[string]*lane{}},
		results: make(chan outcome, w.Parallel),
	}
}

// take brings every row that is due into hand, and notices those in hand that
// were withdrawn.
func (d *dispatch) take(ctx context.Context) {
	people := d.w.People()
	if !d.look || people == nil {
		return
	}
	d.looked = d.w.Clock.Now()
	for len(d.jobs) < mostInHand {
		limit := 2*len(d.jobs) + batch
		rows, err := d.w.Outbox.DueDeliveries(ctx, d.looked, limit)
		if err != nil {
			d.failed(ctx, "reading the outbox", err)
			return
		}
		fresh := d.admitNew(rows, people)
		if len(rows) < limit {
			d.noticeWithdrawn(rows)
		}
		if len(rows) < limit || fresh == 0 {
			break
		}
	}
	d.look = false
	if len(d.dirty) == 0 {
		d.recovered()
	}
}

func (d *dispatch) admitNew(rows []coordinator.Delivery, people *coordinator.People) (fresh int) {
	for _, row := range rows {
		if d.jobs[row.Key] == nil {
			d.admit(row, people)
			fresh++
		}
	}
	return fresh
}

// admit decides about a row and queues its sends.
func (d *dispatch) admit(row coordinator.Delivery, people *coordinator.People) {
	p := planRow(row, people, d.looked)
	j := &job{row: p.row, open: len(p.due)}
	d.jobs[row.Key] = j
	if j.open == 0 {
		d.close(j)
		return
	}
	j.row.Tries++
	for _, t := range p.due {
		d.lanes.add(&task{job: j, target: t})
	}
}

// noticeWithdrawn compares what is in hand with the complete list of due rows:
// one that is no longer among them was withdrawn after it came into hand.
func (d *dispatch) noticeWithdrawn(rows []coordinator.Delivery) {
	due := make(map[string]bool, len(rows))
	for _, row := range rows {
		due[row.Key] = true
	}
	for key, j := range d.jobs {
		if !due[key] && j.open > 0 {
			j.withdrawn = true
		}
	}
}

// close concludes a row that has no open task.
func (d *dispatch) close(j *job) {
	_, zone := d.place(j.row.Notice.Subject.Room)
	d.soil(j)
	if j.withdrawn {
		j.row.State, j.row.Changed, j.row.Why = coordinator.Withdrawn, d.w.Clock.Now(), "settled before it was sent"
		return
	}
	j.row = conclude(j.row, d.w.Clock.Now(), zone)
}

func (d *dispatch) place(room coordinator.RoomID) (string, *time.Location) {
	name, zone := d.w.Directory.Room(room)
	if zone == nil {
		zone = time.UTC
	}
	return name, zone
}

// soil marks j as to be recorded.
func (d *dispatch) soil(j *job) {
	if !j.dirty {
		j.dirty = true
		d.dirty = append(d.dirty, j)
	}
}

// write records what became of rows, all in one call, and lets go of those that
// are over. When it fails they stay in hand, so that nothing is sent twice.
func (d *dispatch) write(ctx context.Context) error {
	if len(d.dirty) == 0 {
		return nil
	}
	rows := make([]coordinator.Delivery, len(d.dirty))
	for i, j := range d.dirty {
		rows[i] = j.row
	}
	if err := d.w.Outbox.RecordDeliveries(ctx, rows...); err != nil {
		d.failed(ctx, "recording what was sent", err)
		return err
	}
	d.recovered()
	for _, j := range d.dirty {
		j.dirty = false
		if j.open == 0 {
			delete(d.jobs, j.row.Key)
		}
	}
	d.dirty = d.dirty[:0]
	return nil
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
	d.w.record.trouble(fmt.Sprintf("Messages cannot be sent just now: %s failed (%v).", what, err))
}

// recovered ends the trouble.
func (d *dispatch) recovered() {
	if d.troubled {
		d.troubled = false
		d.w.record.trouble("")
	}
}

// wait sleeps until there is something to do: an answer, a wake, a due row.
func (d *dispatch) wait(ctx context.Context) {
	reached, release := d.timer(ctx)
	defer release()
	select {
	case <-ctx.Done():
	case <-d.w.wake:
		d.look = true
	case <-reached:
		d.look = true
	case o := <-d.results:
		d.settle(o)
		d.drain()
	}
}

// drain takes the answers that have come in meanwhile, so that they share a record.
func (d *dispatch) drain() {
	for {
		select {
		case o := <-d.results:
			d.settle(o)
		default:
			return
		}
	}
}

// timer is when to look at the outbox again by itself; a nil channel means never.
func (d *dispatch) timer(ctx context.Context) (<-chan struct{}, func()) {
	now := d.w.Clock.Now()
	if d.troubled || d.look || len(d.jobs) > 0 {
		return d.w.Clock.At(now.Add(lookAgain))
	}
	next, err := d.w.Outbox.NextDelivery(ctx)
	switch {
	case err != nil:
		d.failed(ctx, "reading the outbox", err)
		return d.w.Clock.At(now.Add(lookAgain))
	case next.IsZero():
		return nil, func() {}
	case !next.After(d.looked):
		next = now.Add(lookAgain) // it was due at the last look, which did not find it
	}
	return d.w.Clock.At(next)
}

// stop waits for the sends under way and records them.
func (d *dispatch) stop(cancel context.CancelFunc) error {
	grace := time.AfterFunc(d.w.StopGrace, cancel)
	defer grace.Stop()
	for d.lanes.active > 0 && d.sending.Err() == nil {
		select {
		case o := <-d.results:
			d.settle(o)
		case <-d.sending.Done(): // what did not end in time is repeated after the restart
		}
	}
	d.drain()
	ctx, done := context.WithTimeout(context.WithoutCancel(d.sending), recordTimeout)
	defer done()
	if err := d.write(ctx); err != nil {
		return fmt.Errorf("recording what was sent last (it is sent again after the start): %w", err)
	}
	return nil
}
