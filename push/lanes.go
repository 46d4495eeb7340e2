package push

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"time"

	"drumturn/coordinator"
)

// task is one message for one device.
type task struct {
	job *job
	target
	// short: the push service found the full message too large.
	short bool
}

// outcome is a task with what became of it.
type outcome struct {
	task   *task
	result Result
	// cancelled: the program stops, and nobody knows whether the service has it.
	cancelled bool
}

// lane is the queue of one push service.
type lane struct {
	host   string
	queue  []*task
	active int
}

// lanes are the queues of all push services. Each gets its share of the sends
// under way, so that one which does not answer holds up nobody else.
type lanes struct {
	most, mostPerHost, active int
	byHost                    map[string]*lane
	order                     []*lane
	turn                      int
}

// hostOf is the push service of a subscription.
func hostOf(s coordinator.Subscription) string {
	u, err := url.Parse(s.Endpoint)
	if err != nil {
		return ""
	}
	return u.Host
}

func (l *lanes) of(t *task) *lane {
	host := hostOf(t.device)
	ln := l.byHost[host]
	if ln == nil {
		ln = &lane{host: host}
		l.byHost[host] = ln
		l.order = append(l.order, ln)
	}
	return ln
}

func (l *lanes) add(t *task) {
	ln := l.of(t)
	ln.queue = append(ln.queue, t)
}

// next takes the next task that may start now, of each service in turn; nil when none may.
func (l *lanes) next() *task {
	for range l.order {
		ln := l.order[l.turn%len(l.order)]
		l.turn++
		if l.active < l.most && ln.active < l.mostPerHost && len(ln.queue) > 0 {
			t := ln.queue[0]
			ln.queue = ln.queue[1:]
			ln.active++
			l.active++
			return t
		}
	}
	return nil
}

func (l *lanes) done(t *task) {
	l.active--
	l.of(t).active--
}

// start sends what may be sent now, each in a goroutine of its own. While the
// outbox cannot be written it starts nothing, so that little has to be repeated.
func (d *dispatch) start() {
	if d.troubled {
		return
	}
	for t := d.lanes.next(); t != nil; t = d.lanes.next() {
		now := d.w.Clock.Now()
		if reason := d.recheck(t, now); reason != SendNow {
			d.lanes.done(t)
			d.skip(t, reason)
			continue
		}
		go d.send(t, d.message(t, now))
	}
}

// recheck decides again about a task that may have queued for a while.
func (d *dispatch) recheck(t *task, now time.Time) Reason {
	device, subscribed := d.w.People().Subscriptions[t.device.ID]
	switch {
	case t.job.withdrawn:
		return NotWanted
	case !subscribed || device.Person != t.person.ID:
		return NoDevice
	case !now.Before(usefulUntil(&t.job.row.Notice)):
		return TooLate
	}
	return SendNow
}

// skip closes a task that is not sent after all.
func (d *dispatch) skip(t *task, reason Reason) {
	j := t.job
	if past := findResult(j.row.Devices, t.device.ID); past != nil {
		past.Next = time.Time{}
	}
	j.row.Why = reason.String()
	if j.open--; j.open == 0 {
		d.close(j)
	}
}

// message words and addresses what a device gets. It depends on the row and the
// person only, so a repeated send has the same topic and tag.
func (d *dispatch) message(t *task, now time.Time) Message {
	n := &t.job.row.Notice
	name, zone := d.place(n.Subject.Room)
	words := Words(n, Place{Room: name, Zone: zone}, t.person.Lang)
	payload := Payload{Title: words.Title, Body: words.Body, Tag: Tag(n), URL: d.w.URL(*n), Kind: n.Kind, At: n.Made}
	if t.short {
		payload = payload.Short()
	}
	return Message{
		To: t.device, Payload: payload.Encode(),
		TTL: TTL(n, now), Urgency: UrgencyOf(n.Kind), Topic: Topic(n, t.person.ID),
	}
}

// send runs in its own goroutine. It always delivers one outcome.
func (d *dispatch) send(t *task, m Message) {
	ctx, cancel := context.WithTimeout(d.sending, sendTimeout)
	defer cancel()
	o := outcome{task: t, result: guarded(ctx, d.w.Sender, m)}
	o.cancelled = d.sending.Err() != nil && o.result.Status == 0
	if judge(o.result) == gone {
		if err := d.w.Unsubscribe(ctx, t.device.ID); err != nil && ctx.Err() == nil {
			d.w.Log.Warn("push: forgetting an ended subscription failed", "host", hostOf(t.device), "err", err)
		}
	}
	d.results <- o
}

// guarded turns a panic of the sender into a failure of this one send.
func guarded(ctx context.Context, s Sender, m Message) (r Result) {
	defer func() {
		if p := recover(); p != nil {
			r = Result{Err: fmt.Errorf("%w: the sender broke: %v", ErrUnsendable, p)}
		}
	}()
	r = s.Send(ctx, m)
	if r.Err == nil && r.Status == 0 {
		r.Err = errors.New("no answer")
	}
	return r
}

// settle folds an outcome into its row.
func (d *dispatch) settle(o outcome) {
	j, t := o.task.job, o.task
	d.lanes.done(t)
	if o.cancelled {
		return // the row stays as it is recorded: pending
	}
	now := d.w.Clock.Now()
	row, v := withResult(j.row, t.device.ID, o.result, t.short, now)
	j.row = row
	if v == tooLarge && !t.short {
		t.short = true
		d.lanes.add(t)
		return
	}
	if d.w.record.answered(hostOf(t.device), v, o.result.Status, now) {
		d.w.Log.Error("push: a push service refuses our messages", "host", hostOf(t.device), "status", o.result.Status)
	}
	d.soil(j)
	if j.open--; j.open == 0 {
		d.close(j)
	}
}
