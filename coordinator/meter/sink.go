package meter

import (
	"context"
	"errors"
	"fmt"
)

// checkedSink is the Sink that a Supervisor gives to a driver: it lets through
// checked readings of the driver's own meters, and keeps their health.
type checkedSink struct {
	opts   *Options
	driver *supervised
}

// Deliver checks a reading and hands it to its room.
func (k *checkedSink) Deliver(ctx context.Context, meter string, s Sample) error {
	state := k.driver.own[meter]
	if state == nil {
		return Refuse(meter, UnknownMeter, "driver %q has no meter of this name; check the name in the building file", k.driver.name)
	}
	now := k.opts.Clock.Now()
	checked, err := Check(meter, s, now)
	if err == nil {
		err = inWords(k.opts.Accept(ctx, meter, checked))
	}
	if err != nil {
		k.trouble(state, err)
		return err
	}
	state.took(k.opts.Clock.Now(), checked)
	return nil
}

// Fail notes trouble with one of the driver's own meters.
func (k *checkedSink) Fail(meter string, err error) {
	if state := k.driver.own[meter]; state != nil && err != nil {
		k.trouble(state, err)
	}
}

// trouble notes an error, and logs it unless the meter's last trouble was of
// the same kind: a meter that is set up wrongly repeats it every second.
func (k *checkedSink) trouble(state *meterState, err error) {
	if errors.Is(err, context.Canceled) {
		return
	}
	if state.failed(k.opts.Clock.Now(), err) {
		k.opts.Log.Warn("meter trouble", "driver", k.driver.name, "meter", state.name(), "err", err)
	}
}

// inWords explains the one error of an Accept that says nothing to a person.
func inWords(err error) error {
	if errors.Is(err, context.DeadlineExceeded) {
		return fmt.Errorf("the room did not take the reading in time: %w", err)
	}
	return err
}
