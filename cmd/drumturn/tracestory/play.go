package tracestory

import (
	"errors"
	"io"
	"time"

	"drumturn/coordinator/cycle"
)

// askEvery is how often the remaining time of a running cycle is asked.
const askEvery = time.Minute

// listener hears what happens in a replay, in the order of time.
type listener interface {
	// heard is called with each reading, before the engine is.
	heard(r cycle.Reading)
	said(e cycle.Event)
	// asked is called with each answer about the remaining time.
	asked(now time.Time, start time.Time, e cycle.Estimate)
	// over is called once, with what the engine knew at the last reading.
	over(now time.Time, s cycle.Status)
}

// player is a replay under way.
type player struct {
	engine cycle.Engine
	to     listener
	now    time.Time
	// ask is when the remaining time is asked next, on a whole minute of the
	// cycle start; zero while nothing runs.
	ask, start time.Time
}

// play feeds all readings to the engine as a loop does: with a tick at each
// instant that the engine asks for, and none after the last reading.
func play(e cycle.Engine, next func() (cycle.Reading, error), to listener) error {
	p := player{engine: e, to: to}
	for {
		r, err := next()
		if errors.Is(err, io.EOF) {
			to.over(p.now, e.Status())
			return nil
		}
		if err != nil {
			return err
		}
		p.until(r.At)
		to.heard(r)
		p.now = later(p.now, r.At)
		p.tell(e.Read(p.now, r))
		if !p.ask.IsZero() && !p.ask.After(p.now) {
			p.answer()
		}
	}
}

// until lets time pass up to the next reading, which it leaves to the caller. A
// question that falls due less than a minute before a reading waits for it: an
// engine thinks anew when a reading completes a minute, and what is told shall
// not be the thought of the minute before.
func (p *player) until(end time.Time) {
	for {
		tick := p.engine.Next()
		due := !tick.IsZero() && tick.Before(end)
		switch {
		case !p.ask.IsZero() && !p.waits(end) && (!due || p.ask.Before(tick)):
			p.now = later(p.now, p.ask)
			p.answer()
		case due:
			p.now = later(p.now, tick)
			said := p.engine.Tick(p.now)
			p.tell(said)
			if again := p.engine.Next(); len(said) == 0 && !again.After(p.now) {
				return // It has nothing to say after all.
			}
		default:
			return
		}
	}
}

// waits reports whether the question is left for the reading at end.
func (p *player) waits(end time.Time) bool { return p.ask.Add(askEvery).After(end) }

// tell passes events on, and begins or ends the asking.
func (p *player) tell(events []cycle.Event) {
	for _, e := range events {
		p.to.said(e)
	}
	s := p.engine.Status()
	switch {
	case !s.Running || s.Silent:
		p.ask = time.Time{}
	case p.ask.IsZero() || !p.start.Equal(s.Start):
		p.start = s.Start
		p.answer()
	}
}

// answer asks now, and again at the next whole minute of the cycle.
func (p *player) answer() {
	if e, ok := p.engine.Remaining(p.now); ok {
		p.to.asked(p.now, p.start, e)
	}
	p.ask = p.start.Add((p.now.Sub(p.start)/askEvery + 1) * askEvery)
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// both lets two listeners hear the same.
type both [2]listener

func (b both) heard(r cycle.Reading) { b[0].heard(r); b[1].heard(r) }
func (b both) said(e cycle.Event)    { b[0].said(e); b[1].said(e) }
func (b both) asked(now, start time.Time, e cycle.Estimate) {
	b[0].asked(now, start, e)
	b[1].asked(now, start, e)
}
func (b both) over(now time.Time, s cycle.Status) { b[0].over(now, s); b[1].over(now, s) }
