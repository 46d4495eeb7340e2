package sim

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/coordinator/meter"
)

var _ meter.Driver = (*Driver)(nil)

// Driver delivers what a simulated meter hears of a simulated machine, paced by
// a clock, and lets somebody press the machine's buttons. Its methods may be
// used by many goroutines.
type Driver struct {
	name  string
	clock meter.Clock
	// auto is how the machine starts by itself; nil for never.
	auto *auto
	// touched wakes Run when a button was pressed.
	touched chan struct{}

	mu      sync.Mutex
	machine *Machine
	meter   *Meter
}

// NewDriver returns the driver of meter name, which t sees m through. Both are
// the driver's from now on.
func NewDriver(name string, m *Machine, t *Meter, clock meter.Clock) *Driver {
	return &Driver{name: name, clock: clock, machine: m, meter: t, touched: make(chan struct{}, 1)}
}

// Meters names the one meter.
func (d *Driver) Meters() []string { return []string{d.name} }

// Run delivers readings until ctx ends.
func (d *Driver) Run(ctx context.Context, sink meter.Sink) error {
	for ctx.Err() == nil {
		d.startByItself()
		next := d.next()
		if !d.wait(ctx, next) {
			continue
		}
		if r, ok := d.look(next); ok {
			d.deliver(ctx, sink, r)
		}
	}
	return nil
}

// wait waits for the clock to reach t; false when a button was pressed or ctx ended first.
func (d *Driver) wait(ctx context.Context, t time.Time) bool {
	reached, release := d.clock.At(t)
	defer release()
	select {
	case <-reached:
		return true
	case <-d.touched:
		return false
	case <-ctx.Done():
		return false
	}
}

func (d *Driver) next() time.Time {
	d.mu.Lock()
	defer d.mu.Unlock()
	next := d.meter.Next(d.machine)
	if d.auto != nil && d.auto.at.Before(next) && !d.auto.at.IsZero() {
		return d.auto.at
	}
	return next
}

// look takes the reading that was due at next. After the computer has slept it
// does not make up for what it slept through: a real meter would not either.
func (d *Driver) look(next time.Time) (cycle.Reading, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if now := d.clock.Now(); now.Sub(next) > max(3*d.meter.model.Every, 2*time.Minute) {
		next = now
	}
	return d.meter.Look(d.machine, next)
}

// deliver hands a reading over. One that the inbox has no room for is lost, as
// it would be with a meter that does not repeat.
func (d *Driver) deliver(ctx context.Context, sink meter.Sink, r cycle.Reading) {
	err := sink.Deliver(ctx, d.name, meter.Sample{Watts: r.Watts, Wh: r.Wh, Stamp: r.At})
	if err != nil && ctx.Err() == nil && !errors.Is(err, meter.ErrBusy) {
		sink.Fail(d.name, fmt.Errorf("simulated meter %q: %w", d.name, err))
	}
}

// press does something to the machine at the clock's now.
func (d *Driver) press(do func(now time.Time) error) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	err := do(d.clock.Now())
	select {
	case d.touched <- struct{}{}:
	default:
	}
	return err
}

// Start presses the start button. ErrRunning means that a programme runs.
func (d *Driver) Start(p Programme, l Laundry) (r Run, err error) {
	err = d.press(func(now time.Time) (err error) {
		d.machine.Forget(now.Add(-48 * time.Hour))
		r, err = d.machine.Start(now, p, l)
		return err
	})
	return r, err
}

// Stop presses the stop button. ErrIdle means that nothing runs.
func (d *Driver) Stop() error { return d.press(d.machine.Stop) }

// Empty opens the door and takes the load out. ErrRunning means that a programme runs.
func (d *Driver) Empty(switchOff bool) error {
	return d.press(func(now time.Time) error { return d.machine.Empty(now, switchOff) })
}

// Cut takes the supply away for a while from now.
func (d *Driver) Cut(length time.Duration, resumes bool) error {
	return d.press(func(now time.Time) error { return d.machine.Cut(now, now.Add(length), resumes) })
}

// Silence makes the meter say nothing for a while from now.
func (d *Driver) Silence(length time.Duration) {
	_ = d.press(func(now time.Time) error {
		d.meter.Silence(now, now.Add(length))
		return nil
	})
}

// Truth is the newest run and what the machine draws now; ok is false before the first run.
func (d *Driver) Truth() (r Run, watts float64, phase cycle.Phase, ok bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	r, ok = d.machine.Last()
	watts, phase = d.machine.Power(d.clock.Now())
	return r, watts, phase, ok
}

// Preview is the course that Start would begin next.
func (d *Driver) Preview(p Programme, l Laundry) (Course, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.machine.Preview(p, l)
}
