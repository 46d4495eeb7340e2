package year

import (
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// wishes joins the queue, or walks up.
func (p *turns) wishes(l *life) {
	if l.WalksUp {
		p.todo.add(p.now.Add(l.length(l.habits.Walk, strolling, 0)), func() { p.walkUp(l) })
		return
	}
	p.join(l)
}

// wet wants a dryer: one that was booked, a turn of its own, or what is at rest.
func (p *turns) wet(l *life) {
	switch {
	case l.WalksUp:
		p.walkUp(l)
	case !p.inLine(l):
		p.join(l)
	}
}

// inLine reports whether the room has a turn of l that waits or is called.
func (p *turns) inLine(l *life) bool {
	for _, t := range p.core.Snapshot(p.now).Turns {
		if t.Person == l.person() && t.Need == l.need() && (t.State == queue.Waiting || t.State == queue.Called) {
			l.turn = t.ID
			return true
		}
	}
	return false
}

func (l *life) need() queue.Need {
	if l.kind() == queue.Dryer {
		return queue.Dry
	}
	return queue.Wash
}

// join takes a turn. A home that has as many as it may tries again later.
func (p *turns) join(l *life) {
	what := l.stage
	if !l.waiting() {
		return
	}
	reply, err := p.step(coordinator.Join{
		Person: l.person(), Home: l.home(), Need: l.need(), DryAfter: what == wantsWash && l.Dries && l.BooksDryer,
	})
	if err != nil {
		p.report.Refused++
		p.todo.add(p.now.Add(20*time.Minute), func() {
			if l.stage == what {
				p.join(l)
			}
		})
		return
	}
	l.turn = reply.Turn
	s := p.foreseen()
	if f := s.Forecast(l.turn); f != nil {
		p.ask.asked(s, f, true)
		p.questions()
	}
}

// hear is somebody who gets a notice.
func (p *turns) hear(l *life, n *coordinator.Notice) {
	switch n.Kind {
	case coordinator.TurnCalled:
		p.calledTo(l, n)
	case coordinator.TurnEnded:
		p.turnEnded(l, n.Subject.Turn)
	case coordinator.LoadBegun:
		p.begun(l, n)
	case coordinator.LoadReady:
		p.ready(l, n)
	case coordinator.LoadNudge:
		l.nudges++
		if d := p.numbered(n.Machine); l.share(heeding, l.nudges) < l.habits.Heeds {
			at := l.awake(p.now.Add(l.length(l.habits.Hurry, hurrying, l.nudges)))
			p.todo.add(at, func() { p.fetch(l, d) })
		}
	}
}

func (p *turns) numbered(number int) *drum { return p.drums[number-1] }

// calledTo comes down to the held machine, or misses the call. Whoever has
// forgotten their wash does not come for its dryer either.
func (p *turns) calledTo(l *life, n *coordinator.Notice) {
	l.turn = n.Subject.Turn
	d, call, dry := p.numbered(n.Machine), l.calls, n.MachineKind == queue.Dryer
	l.calls++
	forgot := dry && l.stage == washed && l.share(forgetting, 0) < l.habits.Forgets
	if forgot || l.share(missing, call) < l.habits.Misses {
		return
	}
	at := p.now
	if dry && l.stage == washing && n.ReadyAt.After(at) {
		at = n.ReadyAt // called ahead: they come for the end of the wash
	}
	p.todo.add(at.Add(l.length(l.habits.Walk, strolling, call)), func() { p.come(l, d, n.Subject.Turn) })
}

// come is somebody at the machine that they were called to.
func (p *turns) come(l *life, d *drum, id coordinator.TurnID) {
	if l.stage == washed && d.kind == queue.Dryer && l.Dries {
		p.bringAlong(l)
	}
	if t := p.core.Snapshot(p.now).Turn(id); l.stage == washing && d.kind == queue.Dryer && t != nil && t.State == queue.Called {
		p.todo.add(p.now.Add(2*time.Minute), func() { p.come(l, d, id) }) // the wash takes a little longer
		return
	}
	if !l.waiting() || l.turn != id || d.kind != l.kind() {
		return
	}
	turn := p.core.Snapshot(p.now).Turn(id)
	switch {
	case turn == nil:
	case turn.State == queue.Called && turn.Machine == d.id && !d.running:
		p.start(l, d)
	case turn.State == queue.Waiting:
		// Too late for the call; but perhaps a machine is open to whoever comes.
		if free := p.open(l, false); free != nil {
			p.start(l, free)
			p.claimLater(l, free)
			return
		}
		p.report.Vain++
	default:
		p.report.Vain++
	}
}

// bringAlong takes the finished wash out of its washer, for the dryer.
func (p *turns) bringAlong(l *life) {
	at := p.drums[0]
	for _, d := range p.drums {
		if d.inside == l {
			at = d
		}
	}
	p.fetch(l, at)
}

// turnEnded is somebody who missed two calls.
func (p *turns) turnEnded(l *life, id coordinator.TurnID) {
	switch {
	case l.turn != id:
	case l.waiting():
		p.goes(l, missed)
	case l.stage == washed:
		l.undry = true
		p.report.Undried[missed]++
	}
}

// begun says "not me" when somebody else started the machine held for l.
func (p *turns) begun(l *life, n *coordinator.Notice) {
	d := p.numbered(n.Machine)
	if d.inside == l {
		return
	}
	p.todo.add(p.now.Add(2*time.Minute), func() {
		_, _ = p.step(coordinator.NotMe{Machine: d.id, Person: l.person(), Home: l.home()})
	})
}

// ready comes for a load, late as ever.
func (p *turns) ready(l *life, n *coordinator.Notice) {
	d := p.numbered(n.Machine)
	if d.inside != l {
		return
	}
	at := l.awake(p.now.Add(l.late(d.kind == queue.Dryer)))
	p.todo.add(at, func() { p.fetch(l, d) })
}

// walkUp is somebody at the door who knows of no queue.
func (p *turns) walkUp(l *life) {
	if !l.waiting() {
		return
	}
	if d := p.open(l, true); d != nil && p.mayStart() {
		p.start(l, d)
		if l.share(claiming, int(l.stage)) < l.habits.Claims {
			p.claimLater(l, d)
		}
		return
	}
	p.back(l, func() { p.walkUp(l) })
}

// open finds a machine for somebody who was not called. Some start a held one, and
// some a free one although others wait; a finished load is put on the table as it would be
// without a queue.
func (p *turns) open(l *life, walksUp bool) *drum {
	s := p.core.Snapshot(p.now)
	again := l.tries + 100*int(l.stage)
	others := 0
	for i := range s.Turns {
		if t := &s.Turns[i]; t.State == queue.Waiting && t.Behind == 0 && t.Need == l.need() && t.Person != l.person() {
			others++
		}
	}
	return p.atRest(l, func(d *drum) bool {
		switch m := s.Machine(d.id); {
		case m.Hold != nil:
			return walksUp && l.share(barging, again) < l.habits.Barges
		case others > 0 && !m.OpenToWalkUps:
			return walksUp && l.share(pushing, again) < l.habits.PushesIn
		}
		return true
	})
}

// claimLater says by the code on the machine whose load it is.
func (p *turns) claimLater(l *life, d *drum) {
	p.todo.add(p.now.Add(3*time.Minute), func() {
		if d.inside == l {
			_, _ = p.step(coordinator.Claim{Machine: d.id, Person: l.person(), Home: l.home()})
		}
	})
}

// started puts the course on, and reports the stranger's load that was in the way.
func (p *turns) started(l *life, d *drum) {
	if m := p.core.Snapshot(p.now).Machine(d.id); m.Load != nil && m.Load.Ready() && l.share(saying, 2+int(l.stage)) < l.taps {
		p.collect(l, d, true)
	}
	d.tape.play(l.course(d.kind), p.now)
}

// over lets whoever is not told come by the clock of the machine, and anybody
// come after all, in case the room never notices.
func (p *turns) over(l *life, d *drum) {
	if m := p.core.Snapshot(p.now).Machine(d.id); m.Load == nil || m.Load.Owner != l.person() {
		p.fetchLater(l, d)
		return
	}
	p.todo.add(l.awake(p.now.Add(l.late(d.kind == queue.Dryer)+time.Hour)), func() { p.fetch(l, d) })
}

// fetched opens the door, and perhaps says so.
func (p *turns) fetched(l *life, d *drum) {
	d.tape.stop()
	again := 0
	if d.kind == queue.Dryer {
		again = 1
	}
	if l.share(saying, again) < l.taps {
		p.collect(l, d, false)
	}
}

func (p *turns) collect(l *life, d *drum, onTable bool) {
	_, _ = p.step(coordinator.Collect{Machine: d.id, Person: l.person(), Home: l.home(), OnTable: onTable})
}

// leaves takes the turn out of the queue.
func (p *turns) leaves(l *life) {
	if p.inLine(l) {
		p.ask.left(l.turn, p.now)
		_, _ = p.step(coordinator.Leave{Turn: l.turn, Person: l.person(), Home: l.home()})
	}
}

func (p *turns) waitsOn(*life) bool { return false }

// closes gives up the dryers that were booked with a wash which is not out yet.
func (p *turns) closes() {
	for _, t := range p.core.Snapshot(p.now).Turns {
		l := p.people[t.Person]
		if t.Need != queue.Dry || t.State != queue.Waiting && t.State != queue.Called || l.undry || l.waiting() {
			continue
		}
		l.undry = true
		p.report.Undried[shut]++
		p.ask.left(t.ID, p.now)
		_, _ = p.step(coordinator.Leave{Turn: t.ID, Person: l.person(), Home: l.home()})
	}
}
