package demo

import (
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/meter/sim"
)

var _ World = (*past)(nil)

// Snapshot is a room at the present of the past.
func (p *past) Snapshot(id coordinator.RoomID) *coordinator.Snapshot {
	r := p.room(id)
	if r.snap == nil {
		r.snap = r.core.Snapshot(p.now)
	}
	return r.snap
}

// Do steps an event.
func (p *past) Do(id coordinator.RoomID, ev coordinator.Event) error { return p.step(p.room(id), ev) }

// Start presses a button.
func (p *past) Start(at Spot, programme sim.Programme, l sim.Laundry) error {
	return p.touched(at, func(e *eye) error {
		e.machine.Forget(p.now.Add(-6 * time.Hour))
		_, err := e.machine.Start(p.now, programme, l)
		return err
	})
}

// Stop presses the other button.
func (p *past) Stop(at Spot) error {
	return p.touched(at, func(e *eye) error { return e.machine.Stop(p.now) })
}

// Empty opens a door.
func (p *past) Empty(at Spot, switchOff bool) error {
	return p.touched(at, func(e *eye) error { return e.machine.Empty(p.now, switchOff) })
}

// Cut takes the supply away; machines go on afterwards where they stood.
func (p *past) Cut(at Spot, until time.Time) {
	_ = p.touched(at, func(e *eye) error { return e.machine.Cut(p.now, until, true) })
}

// Silence makes a meter silent.
func (p *past) Silence(at Spot, until time.Time) { p.eye(at).meter.Silence(p.now, until) }

// Last is the newest run.
func (p *past) Last(at Spot) (sim.Run, bool) {
	m := p.eye(at).machine
	run, _ := m.Last()
	return run, m.Running(p.now)
}

// Course looks ahead.
func (p *past) Course(at Spot, programme sim.Programme, l sim.Laundry) (sim.Course, error) {
	return p.eye(at).machine.Preview(programme, l)
}
