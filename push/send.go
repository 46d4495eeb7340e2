package push

import (
	"context"
	"errors"
	"fmt"
	"time"

	"drumturn/coordinator"
)

// outcome is a task with what became of it.
type outcome struct {
	task   *task
	result Result
	// cancelled: the program stops, and nobody knows whether the service has it.
	cancelled bool
}

// senders are the goroutines that send. They are kept: a new one for each message
// would grow its stack anew.
type senders struct {
	tasks chan sendable
	count int
}

// sendable is a task with its message.
type sendable struct {
	*task
	Message
}

// give hands a message to a sender that is free, or to a new one.
func (d *dispatch) give(t sendable) {
	select {
	case d.senders.tasks <- t:
		return
	default:
	}
	if d.senders.count >= d.w.Parallel {
		d.senders.tasks <- t // one is about to be free: no more are under way than there are senders
		return
	}
	d.senders.count++
	go func() {
		d.send(t.task, t.Message)
		for t := range d.senders.tasks {
			d.send(t.task, t.Message)
		}
	}()
}

// start sends what may be sent now, each beside the others. While the
// outbox cannot be written, or is behind with it, it starts nothing, so that
// little has to be repeated.
func (d *dispatch) start() {
	now := d.w.Clock.Now()
	for !d.troubled && d.unrecorded < d.w.Unrecorded {
		t := d.lanes.next(now)
		if t == nil {
			return
		}
		if t.job.withdrawn || !d.stillNow(t, now) {
			d.lanes.done(t)
			d.finish(t.job)
			continue
		}
		d.unrecorded++
		d.give(sendable{t, d.message(t, now)})
	}
}

// stillNow decides again about a task that may have queued for a while, and
// writes down a decision that has become another.
func (d *dispatch) stillNow(t *task, now time.Time) bool {
	j, people := t.job, d.w.People()
	ways := &d.w.Ways
	who := Recipient{Person: t.who.Person, ForHome: t.who.ForHome}
	if p, known := ways.person(people, who.Person.ID); known {
		who.Person, who.Known = p, true
	}
	c := Case{Notice: &j.row.Notice, Who: who, Newer: j.row.Newer, Zone: j.zone, Now: now}
	own := ways.has(people, &who.Person, t.device)
	if own { // whether a letter is sent was decided when this was queued
		c.Phones, c.Mail = 1, byMail(t.device)
	}
	decision := Decide(c)
	if decision.Reason == coordinator.ReasonNow {
		t.who, t.deadline = who, decision.Deadline
		return true
	}
	if past := findResult(j.row.Devices, t.device.ID); past != nil {
		past.Next = time.Time{}
	}
	if own || len(ways.all(people, &who.Person)) == 0 {
		decide(&j.row, who, decision, now)
	}
	return false
}

// message words and addresses what a device gets. It depends on the row and the
// person only, so a repeated send has the same topic and tag.
func (d *dispatch) message(t *task, now time.Time) Message {
	n, at := &t.job.row.Notice, Place{Room: t.job.room, Zone: t.job.zone}
	if byMail(t.device) {
		p := &t.who.Person
		letter := Letter{Text: LetterWords(n, at, p.Lang), Lang: p.Lang, URL: d.w.URL(*n), Key: t.job.row.Key + "\n" + string(p.ID), Off: p.Mail.Off, Manager: p.Manager}
		return Message{To: t.device, Letter: letter}
	}
	words := Words(n, at, t.who.Person.Lang)
	payload := Payload{Title: words.Title, Body: words.Body, Tag: Tag(n), URL: d.w.URL(*n), Kind: n.Kind, At: n.Made}
	if d.w.Post != nil {
		if payload.Post = d.w.Post(*n); payload.Post != "" {
			payload.Buttons = Buttons(n, t.who.Person.Lang)
		}
	}
	if t.short {
		payload = payload.Short()
	}
	return Message{
		To: t.device, Payload: payload.Encode(),
		TTL: TTL(t.deadline, now), Urgency: UrgencyOf(n.Kind), Topic: Topic(n, t.who.Person.ID),
	}
}

// send runs in a sender's goroutine. It always delivers one outcome.
func (d *dispatch) send(t *task, m Message) {
	ctx, cancel := context.WithTimeout(d.sending, timeoutFor(t.device))
	defer cancel()
	o := outcome{task: t, result: guarded(ctx, d.w.Sender, m)}
	o.cancelled = d.sending.Err() != nil && o.result.Status == 0
	if judge(o.result) == gone {
		if err := d.w.Unsubscribe(ctx, t.device.ID); err != nil && ctx.Err() == nil {
			d.w.Log.Warn("push: forgetting an ended subscription failed", "host", t.device.Host(), "err", err)
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
	row, v := withResult(j.row, answerOf{t.target, o.result, t.short}, now)
	j.row = row
	ln := t.lane
	rest := ln.heard(o.result, ln.host, now)
	if v == tooLarge && !t.short {
		t.short = true
		d.unrecorded-- // this send has no outcome of its own
		t.addFirst()
		return
	}
	if d.w.record.answered(ln.host, v, o.result, now) {
		d.w.Log.Error("push: a push service, or the mail server, refuses our messages", "host", ln.host, "status", o.result.Status, "err", o.result.Err)
	}
	j.outcomes++
	d.finish(j)
	if rest {
		d.rest(ln)
	}
}

// rest puts off what is queued for a push service that is left alone for a while.
func (d *dispatch) rest(ln *lane) {
	queue := ln.queue
	ln.queue = nil
	for _, t := range queue {
		d.putOff(t, ln.until)
	}
}

func (d *dispatch) putOff(t *task, until time.Time) {
	t.job.row = postponed(t.job.row, t.target, until)
	d.finish(t.job)
}

// finish counts down a job's open tasks.
func (d *dispatch) finish(j *job) {
	d.soil(j)
	if j.open--; j.open == 0 && !d.instead(j) {
		d.close(j)
	}
}

// instead queues letters to those whose phones could not be reached. It reports
// whether there are any.
func (d *dispatch) instead(j *job) bool {
	if !d.w.Ways.Mail || j.withdrawn {
		return false
	}
	p := d.w.Ways.planRow(j.row, d.w.People(), j.zone, d.w.Clock.Now())
	var letters []target
	for _, t := range p.due {
		if byMail(t.device) && findResult(j.row.Devices, t.device.ID) == nil {
			letters = append(letters, t)
		}
	}
	if len(letters) == 0 {
		return false
	}
	j.row = p.row
	j.open = len(letters)
	d.queue(j, letters)
	return true
}
