package cycle

import (
	"testing"
	"time"
)

// tape plays made-up power to an engine: time goes on, readings come every
// period, and ticks at Next as a loop makes them.
type tape struct {
	t      *testing.T
	engine Engine
	now    time.Time
	period time.Duration
	// lag is how far the meter's stamps lie behind the clock.
	lag    time.Duration
	events []Event
}

func newTape(t *testing.T, e Engine, period time.Duration) *tape {
	return &tape{t: t, engine: e, now: energyEpoch, period: period}
}

// reads delivers one reading now.
func (p *tape) reads(r Reading) { p.events = append(p.events, p.engine.Read(p.now, r)...) }

// power lets the meter say watts every period for d.
func (p *tape) power(watts float64, d time.Duration) *tape {
	for end := p.now.Add(d); !p.now.Add(p.period).After(end); {
		p.quiet(p.period)
		p.reads(Power(p.now.Add(-p.lag), watts))
	}
	return p
}

// says lets the meter say watts once, now.
func (p *tape) says(watts float64) *tape {
	p.reads(Power(p.now.Add(-p.lag), watts))
	return p
}

// quiet lets time pass without a reading; a loop ticks at Next and not otherwise.
func (p *tape) quiet(d time.Duration) *tape {
	end := p.now.Add(d)
	for next := p.engine.Next(); !next.IsZero() && next.Before(end); next = p.engine.Next() {
		p.now = next
		p.events = append(p.events, p.engine.Tick(next)...)
	}
	p.now = end
	return p
}

// wash plays a plain wash of three quarters of an hour and lets it end: fill,
// heat, tumble, a pause of a minute, spin.
func (p *tape) wash(standby float64) *tape {
	p.power(10, 2*time.Minute).power(2000, 15*time.Minute).power(150, 20*time.Minute)
	p.power(1, time.Minute).power(400, 7*time.Minute)
	return p.power(standby, 5*time.Minute)
}

// of picks the events of some kinds.
func (p *tape) of(kinds ...Kind) (found []Event) {
	for _, e := range p.events {
		for _, k := range kinds {
			if e.Kind == k {
				found = append(found, e)
			}
		}
	}
	return found
}

// cycles picks the events that begin and close cycles.
func (p *tape) cycles() []Event { return p.of(Started, Finished, StoppedEarly, Presumed, Resumed) }

// one asserts that there is exactly one event of a kind, and returns it.
func (p *tape) one(k Kind) Event {
	p.t.Helper()
	found := p.of(k)
	if len(found) != 1 {
		p.t.Fatalf("%d events %q in %+v", len(found), k, p.events)
	}
	return found[0]
}

// none asserts that nothing was said.
func (p *tape) none(why string) {
	p.t.Helper()
	if len(p.events) > 0 {
		p.t.Errorf("%s: %+v", why, p.events)
	}
}

// at asserts an instant, in seconds from the tape's begin.
func (p *tape) at(what string, got time.Time, seconds float64) {
	p.t.Helper()
	if want := energySecond(seconds); !got.Equal(want) {
		p.t.Errorf("%s at %v, want %v", what, got.Sub(energyEpoch), want.Sub(energyEpoch))
	}
}
