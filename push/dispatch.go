package push

import (
	"context"
	"fmt"
	"time"

	"drumturn/coordinator"
)

const (
	// batch is how many rows are fetched at a time, between which sending goes on.
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
	row    coordinator.Delivery
	room   string // its name
	zone   *time.Location
	thread string // threadOf its notice
	// open counts its tasks that have no outcome yet, outcomes those sends whose
	// outcome is in row but not recorded.
	open, outcomes int
	// seen is the look that last found the row due.
	seen int
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
	threads map[string]*job // the newest in hand of each thread and addressee
	lanes   lanes
	results chan outcome
	senders senders
	recorder
	// look: the outbox may hold what is not in hand. looked is the now of the
	// last look, and looks counts them; more: it has not come to its end.
	look, more bool
	looked     time.Time
	looks      int
	// again is when to look by itself while rows are in hand (nil: not set yet),
	// and release lets go of it.
	again   <-chan struct{}
	release func()
	// troubled: the outbox failed; wait before the next use of it.
	troubled bool
}

func newDispatch(w *Worker, sending context.Context) *dispatch {
	return &dispatch{
		w: w, sending: sending, look: true,
		jobs: map[string]*job{}, threads: map[string]*job{},
		lanes:    lanes{most: w.Parallel, mostPerHost: w.PerHost, byHost: map[string]*lane{}},
		results:  make(chan outcome, w.Parallel),
		senders:  senders{tasks: make(chan sendable)},
		recorder: recorder{recorded: make(chan error, 1)},
	}
}

// take brings the next rows that are due into hand. A look takes as many calls as
// there are batches; the last one notices those in hand that were withdrawn.
func (d *dispatch) take(ctx context.Context) {
	people := d.w.People()
	if !d.look && !d.more || people == nil {
		return
	}
	if !d.more {
		d.look, d.looked, d.looks = false, d.w.Clock.Now(), d.looks+1
	}
	if d.more = len(d.jobs) < mostInHand; d.more {
		rows, err := d.w.Outbox.DueDeliveries(ctx, d.looked, batch, d.inHand)
		if err != nil {
			d.look, d.more = true, false
			d.failed(ctx, "reading the outbox", err)
			return
		}
		for _, row := range rows {
			d.admit(row, people)
		}
		if d.more = len(rows) == batch; !d.more {
			d.noticeWithdrawn()
		}
	}
	if len(d.dirty)+len(d.writing) == 0 {
		d.recovered()
	}
}

// inHand reports whether a due row is in hand already, and notes that it is due still.
func (d *dispatch) inHand(key []byte) bool {
	j := d.jobs[string(key)]
	if j == nil {
		return false
	}
	j.seen = d.looks
	return true
}

// noticeWithdrawn comes after a look at all that is due: what is in hand and was
// not found was withdrawn after it came into hand.
func (d *dispatch) noticeWithdrawn() {
	for _, j := range d.jobs {
		if j.seen != d.looks && j.open > 0 {
			j.withdrawn = true
		}
	}
}

// admit decides about a row and queues its sends.
func (d *dispatch) admit(row coordinator.Delivery, people *coordinator.People) {
	room, zone := d.place(row.Notice.Subject.Room)
	p := d.w.Ways.planRow(row, people, zone, d.looked)
	j := &job{row: p.row, room: room, zone: zone, thread: threadOf(&row.Notice), open: len(p.due), seen: d.looks}
	d.jobs[row.Key] = j
	d.follow(j)
	if j.open == 0 {
		d.soil(j)
		d.close(j)
		return
	}
	j.row.Tries++
	d.queue(j, p.due)
}

// queue puts a row's messages into the lanes, or off where a service is left alone.
func (d *dispatch) queue(j *job, due []target) {
	for _, t := range due {
		t := &task{job: j, target: t, lane: d.lanes.of(t.device)}
		if t.lane.allows(d.looked, 1) == 0 {
			d.putOff(t, t.lane.until)
			continue
		}
		t.add()
	}
}

// threadOf names the thread and addressee of a notice.
func threadOf(n *coordinator.Notice) string {
	return n.Thread() + "\n" + string(n.To) + "\n" + string(n.Role)
}

// follow tells an older row in hand of the same thread that there is a newer one.
func (d *dispatch) follow(j *job) {
	n := &j.row.Notice
	old := d.threads[j.thread]
	if old == nil || !n.Made.Before(old.row.Notice.Made) {
		d.threads[j.thread] = j
	}
	if old != nil && n.Made.After(old.row.Notice.Made) {
		old.row.Newer = &coordinator.Newer{Kind: n.Kind, Made: n.Made}
	}
}

// close concludes a row that has no open task.
func (d *dispatch) close(j *job) {
	if d.threads[j.thread] == j {
		delete(d.threads, j.thread)
	}
	if j.withdrawn {
		j.row.State, j.row.Changed, j.row.Why = coordinator.Withdrawn, d.w.Clock.Now(), coordinator.WhySettled
		return
	}
	j.row = conclude(j.row, d.w.Clock.Now())
}

func (d *dispatch) place(room coordinator.RoomID) (string, *time.Location) {
	name, zone := d.w.Directory.Room(room)
	if zone == nil {
		zone = time.UTC
	}
	return name, zone
}

// wait sleeps until there is something to do: an answer, a record that is done,
// a wake, a due row. In the midst of a look it only takes what has come.
func (d *dispatch) wait(ctx context.Context) {
	if d.more {
		d.drain(ctx)
		return
	}
	reached, release := d.timer(ctx)
	defer release()
	select {
	case <-ctx.Done():
	case <-d.w.wake:
		d.look = true
	case <-reached:
		d.again, d.look, d.retry = nil, true, true
	case <-d.gathered():
		d.waited = true
	case err := <-d.recorded:
		d.noteRecord(ctx, err)
	case o := <-d.results:
		d.settle(o)
		d.drain(ctx)
	}
}

// drain takes what has come in meanwhile, so that answers share a record.
func (d *dispatch) drain(ctx context.Context) {
	for {
		select {
		case o := <-d.results:
			d.settle(o)
		case err := <-d.recorded:
			d.noteRecord(ctx, err)
		case <-d.gathered():
			d.waited = true
		default:
			return
		}
	}
}

// timer is when to look at the outbox again by itself; a nil channel means never.
func (d *dispatch) timer(ctx context.Context) (<-chan struct{}, func()) {
	now := d.w.Clock.Now()
	if d.troubled || d.look || len(d.jobs) > 0 {
		if d.again == nil {
			d.again, d.release = d.w.Clock.At(now.Add(lookAgain))
		}
		return d.again, func() {}
	}
	d.forgetAgain()
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

// forgetAgain lets the next wait count anew when to look again.
func (d *dispatch) forgetAgain() {
	if d.again != nil {
		d.release()
		d.again = nil
	}
}

// stop waits for the sends under way and records them.
func (d *dispatch) stop(cancel context.CancelFunc) error {
	d.forgetAgain()
	grace := time.AfterFunc(d.w.StopGrace, cancel)
	defer grace.Stop()
	for d.lanes.active > 0 && d.sending.Err() == nil {
		select {
		case o := <-d.results:
			d.settle(o)
		case <-d.sending.Done(): // what did not end in time is repeated after the restart
		}
	}
	ctx, done := context.WithTimeout(context.WithoutCancel(d.sending), recordTimeout)
	defer done()
	d.drain(ctx)
	if err := d.lastRecord(ctx); err != nil {
		return fmt.Errorf("recording what was sent last (it is sent again after the start): %w", err)
	}
	return nil
}
