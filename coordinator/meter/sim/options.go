package sim

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"drumturn/coordinator/meter"
)

// Options are what a building file says about a simulated meter.
type Options struct {
	// Machine and Meter are names that Models and Meters list.
	Machine, Meter string
	// Seed decides all that is left to chance; two of a kind want two seeds.
	Seed uint64
	// RunsPerDay is how often the machine starts by itself, 0 for never.
	RunsPerDay float64
}

// Check says everything that is impossible about the options.
func (o Options) Check() error {
	_, machine := ModelNamed(o.Machine)
	_, kind := MeterNamed(o.Meter)
	var runs error
	if !(o.RunsPerDay >= 0 && o.RunsPerDay <= 24) {
		runs = fmt.Errorf("%v runs a day: use 0 to 24", o.RunsPerDay)
	}
	return errors.Join(machine, kind, runs)
}

// New returns the driver of a simulated meter called name, born now.
func New(name string, o Options, clock meter.Clock) (*Driver, error) {
	if err := o.Check(); err != nil {
		return nil, fmt.Errorf("simulated meter %q: %w", name, err)
	}
	model, _ := ModelNamed(o.Machine)
	kind, _ := MeterNamed(o.Meter)
	now := clock.Now()
	d := NewDriver(name, NewMachine(model.Vary(o.Seed), o.Seed, now), NewMeter(kind, o.Seed, now), clock)
	if o.RunsPerDay > 0 {
		d.auto = &auto{rng: rand.New(rand.NewPCG(o.Seed, 3)), perDay: o.RunsPerDay}
		d.auto.draw(now)
	}
	return d, nil
}

// auto starts a machine by itself now and then.
type auto struct {
	rng    *rand.Rand
	perDay float64
	at     time.Time
}

// draw sets the next start behind t.
func (a *auto) draw(t time.Time) {
	wait := a.rng.ExpFloat64() / a.perDay * float64(24*time.Hour)
	a.at = t.Add(time.Minute + time.Duration(min(wait, float64(72*time.Hour))))
}

// startByItself starts a run that is due.
func (d *Driver) startByItself() {
	d.mu.Lock()
	defer d.mu.Unlock()
	now := d.clock.Now()
	if d.auto == nil || now.Before(d.auto.at) {
		return
	}
	all := Programmes(d.machine.model.Kind)
	d.machine.Forget(now.Add(-48 * time.Hour))
	r, err := d.machine.Start(now, all[d.auto.rng.IntN(len(all))], Laundry{})
	if err != nil {
		// Somebody else uses it: try again later.
		d.auto.draw(now)
		return
	}
	d.auto.draw(r.End)
}
