package sim

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator/meter"
)

// wall is the bubble's clock.
type wall struct{}

func (wall) Now() time.Time { return time.Now() }

func (wall) At(t time.Time) (<-chan struct{}, func()) {
	done := make(chan struct{})
	timer := time.AfterFunc(max(time.Until(t), 0), func() { close(done) })
	return done, func() { timer.Stop() }
}

// ears is a sink that remembers.
type ears struct {
	mu     sync.Mutex
	heard  []meter.Sample
	failed []error
	answer error
}

func (e *ears) Deliver(_ context.Context, name string, s meter.Sample) error {
	e.mu.Lock()
	defer e.mu.Unlock()
	if _, err := meter.Check(name, s, time.Now()); err != nil {
		return err
	}
	e.heard = append(e.heard, s)
	return e.answer
}

func (e *ears) Fail(_ string, err error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.failed = append(e.failed, err)
}

func (e *ears) take() []meter.Sample {
	e.mu.Lock()
	defer e.mu.Unlock()
	out := e.heard
	e.heard = nil
	return out
}

// run starts the driver and returns a function that stops it.
func run(t *testing.T, d *Driver, sink meter.Sink) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- d.Run(ctx, sink) }()
	return func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("Run: %v", err)
		}
	}
}

func newDriver(t *testing.T, o Options) *Driver {
	t.Helper()
	d, err := New("cellar-1", o, wall{})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestDriverDelivers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDriver(t, Options{Machine: "washer", Meter: "rail", Seed: 4})
		e := &ears{}
		stop := run(t, d, e)
		time.Sleep(10 * time.Minute)
		synctest.Wait()
		idle := e.take()
		if len(idle) != 21 {
			t.Errorf("%d readings in 10 min, want 21", len(idle))
		}
		r, err := d.Start(Quick, Laundry{})
		if err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Until(r.End))
		synctest.Wait()
		peak := 0.0
		for _, s := range e.take() {
			peak = max(peak, s.Watts)
		}
		if peak < 1500 {
			t.Errorf("peak of %v W in a wash", peak)
		}
		stop()
		if d.Meters()[0] != "cellar-1" || len(e.failed) != 0 {
			t.Errorf("meters %v, failed %v", d.Meters(), e.failed)
		}
	})
}

// A button wakes a meter that reports on change, although its heartbeat is far off.
func TestButtonWakesOnChange(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDriver(t, Options{Machine: "dryer", Meter: "on-change", Seed: 4})
		e := &ears{}
		stop := run(t, d, e)
		time.Sleep(time.Minute)
		synctest.Wait()
		e.take()
		if _, err := d.Start(Dry, Laundry{}); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Second)
		synctest.Wait()
		if heard := e.take(); len(heard) != 1 || heard[0].Watts < 1000 {
			t.Errorf("a second after the start: %+v", heard)
		}
		if _, watts, _, ok := d.Truth(); !ok || watts < 1000 {
			t.Errorf("truth is %v W", watts)
		}
		if err := d.Stop(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(11 * time.Second)
		synctest.Wait()
		if heard := e.take(); len(heard) != 1 || heard[0].Watts > 10 {
			t.Errorf("after the stop: %+v", heard)
		}
		if err := d.Empty(true); err != nil {
			t.Error(err)
		}
		stop()
	})
}

func TestDriverSilentAndCut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDriver(t, Options{Machine: "washer", Meter: "plug", Seed: 1})
		e := &ears{}
		stop := run(t, d, e)
		time.Sleep(time.Second)
		d.Silence(5 * time.Minute)
		synctest.Wait()
		e.take()
		time.Sleep(299 * time.Second)
		synctest.Wait()
		if heard := e.take(); len(heard) != 0 {
			t.Errorf("%d readings from a silent meter", len(heard))
		}
		time.Sleep(time.Minute)
		synctest.Wait()
		if heard := e.take(); len(heard) < 5 {
			t.Errorf("%d readings after the silence", len(heard))
		}
		if err := d.Cut(5*time.Minute, true); err != nil {
			t.Fatal(err)
		}
		time.Sleep(4 * time.Minute)
		synctest.Wait()
		if heard := e.take(); len(heard) != 0 {
			t.Errorf("%d readings from a plug without supply", len(heard))
		}
		stop()
	})
}

// After a long sleep of the computer there is one reading of now, not hundreds of then.
func TestDriverDoesNotMakeUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDriver(t, Options{Machine: "washer", Meter: "rail", Seed: 1})
		time.Sleep(24 * time.Hour)
		e := &ears{}
		stop := run(t, d, e)
		synctest.Wait()
		heard := e.take()
		if len(heard) != 1 || time.Since(heard[0].Stamp) > time.Second {
			t.Errorf("%d readings at once: %+v", len(heard), heard)
		}
		stop()
	})
}

func TestDriverErrors(t *testing.T) {
	for _, c := range []struct {
		answer error
		fails  bool
	}{
		{meter.ErrBusy, false},
		{meter.Refuse("cellar-1", meter.UnknownMeter, "nobody wired it"), true},
	} {
		synctest.Test(t, func(t *testing.T) {
			d := newDriver(t, Options{Machine: "washer", Meter: "rail", Seed: 1})
			e := &ears{answer: c.answer}
			stop := run(t, d, e)
			time.Sleep(time.Minute)
			synctest.Wait()
			stop()
			if len(e.heard) < 2 || (len(e.failed) > 0) != c.fails {
				t.Errorf("%v: %d delivered, %d failed", c.answer, len(e.heard), len(e.failed))
			}
			for _, err := range e.failed {
				if !errors.Is(err, c.answer) {
					t.Errorf("failed with %v", err)
				}
			}
		})
	}
}

// By itself a machine runs about as often as it should: 6 a day for 20 days.
func TestDriverRunsByItself(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDriver(t, Options{Machine: "gas-dryer", Meter: "rail-slow", Seed: 9, RunsPerDay: 6})
		stop := run(t, d, &ears{})
		time.Sleep(20 * 24 * time.Hour)
		synctest.Wait()
		// Each run of 44 min or so delays the next: 24 / (4 + 0.75) = 5 a day.
		if r, _, _, ok := d.Truth(); !ok || r.Number < 70 || r.Number > 130 {
			t.Errorf("%d runs in 20 days, want about 100", r.Number)
		}
		if len(d.machine.Runs()) > 20 {
			t.Error("old runs are kept for ever")
		}
		stop()
	})
}

func TestOptionsRefused(t *testing.T) {
	for name, c := range map[string]struct {
		o    Options
		says string
	}{
		"machine": {Options{Machine: "mangle", Meter: "plug"}, "washer-dryer"},
		"meter":   {Options{Machine: "washer", Meter: "gas"}, "on-change"},
		"runs":    {Options{Machine: "washer", Meter: "plug", RunsPerDay: -1}, "0 to 24"},
	} {
		if _, err := New("m", c.o, wall{}); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want a hint at %q", name, err, c.says)
		}
	}
	if _, err := New("m", Options{}, wall{}); err == nil || strings.Count(err.Error(), "use one of") != 2 {
		t.Errorf("empty options: %v, want both problems", err)
	}
}
