package meter

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"runtime/debug"
	"sort"
	"strings"
	"sync"
	"time"
)

// Options set up a Supervisor. Accept and Clock are needed.
type Options struct {
	// Accept puts a checked reading into its room's inbox.
	Accept Accept
	// Clock is the clock of the rooms; readings are checked and stamped by it.
	Clock interface{ Now() time.Time }
	// Log is where trouble with meters is written; nil for nowhere.
	Log *slog.Logger
	// SilentAfter says how long a meter may be quiet before it is shown as silent;
	// nil for 10 minutes each.
	SilentAfter func(meter string) time.Duration
	// Pauses are those before a driver is started again.
	Pauses Pauses
	// StopWithin is how long Run waits for drivers to stop; zero for 5 seconds.
	StopWithin time.Duration
}

// Supervisor runs drivers, each on its own, so that one that is slow, stuck or
// broken touches no other: an error or a panic restarts it after a pause that
// grows. It checks every reading and keeps the health of every meter.
type Supervisor struct {
	opts    Options
	drivers Registry[*supervised]

	mu     sync.Mutex
	meters map[string]*meterState
	ctx    context.Context // of Run, nil before
	wg     sync.WaitGroup
}

// supervised is one driver and how it does.
type supervised struct {
	name   string
	driver Driver
	own    map[string]*meterState // its meters; the map never changes

	mu     sync.Mutex
	health DriverHealth
}

// NewSupervisor checks the options.
func NewSupervisor(opts Options) (*Supervisor, error) {
	if opts.Accept == nil || opts.Clock == nil {
		return nil, errors.New("meter: a supervisor needs Accept and Clock")
	}
	if opts.Log == nil {
		opts.Log = slog.New(slog.DiscardHandler)
	}
	if opts.SilentAfter == nil {
		opts.SilentAfter = func(string) time.Duration { return 10 * time.Minute }
	}
	if opts.StopWithin == 0 {
		opts.StopWithin = 5 * time.Second
	}
	opts.Pauses = opts.Pauses.withDefaults()
	return &Supervisor{opts: opts, meters: map[string]*meterState{}}, nil
}

// Add puts a driver under supervision, and starts it if Run runs. A name or a
// meter that another driver has is refused.
func (s *Supervisor) Add(name string, d Driver) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	since := s.opts.Clock.Now()
	own := map[string]*meterState{}
	for _, m := range d.Meters() {
		if other, taken := s.meters[m]; taken {
			return fmt.Errorf("meter %q belongs to driver %q already: one meter, one driver", m, other.health.Driver)
		}
		if own[m] != nil {
			return fmt.Errorf("driver %q names meter %q twice", name, m)
		}
		own[m] = newMeterState(m, name, since)
	}
	sup := &supervised{name: name, driver: d, own: own, health: DriverHealth{Driver: name, State: Waiting}}
	if err := s.drivers.Register(name, sup); err != nil {
		return err
	}
	maps.Copy(s.meters, own)
	if s.ctx != nil && s.ctx.Err() == nil {
		s.start(s.ctx, sup)
	}
	return nil
}

// Run runs the drivers until ctx ends, and then waits for them to stop. The
// error names those that did not. It may be called once.
func (s *Supervisor) Run(ctx context.Context) error {
	s.mu.Lock()
	if s.ctx != nil {
		s.mu.Unlock()
		return errors.New("meter: the supervisor runs already")
	}
	s.ctx = ctx
	for _, name := range s.drivers.Names() {
		sup, _ := s.drivers.Get(name)
		s.start(ctx, sup)
	}
	s.mu.Unlock()

	<-ctx.Done()
	stopped := make(chan struct{})
	go func() { s.wg.Wait(); close(stopped) }()
	select {
	case <-stopped:
		return nil
	case <-time.After(s.opts.StopWithin):
		return fmt.Errorf("meter drivers that did not stop within %s: %s", s.opts.StopWithin, strings.Join(s.stillRunning(), ", "))
	}
}

// start runs a driver in its own goroutine. The caller holds the lock, so that
// none is added once Run waits.
func (s *Supervisor) start(ctx context.Context, sup *supervised) {
	s.wg.Go(func() { s.keepRunning(ctx, sup) })
}

// keepRunning runs a driver again and again until it is done.
func (s *Supervisor) keepRunning(ctx context.Context, sup *supervised) {
	for failures := 0; ; {
		sup.set(func(h *DriverHealth) { h.State, h.Since = Running, s.opts.Clock.Now() })
		began := time.Now()
		err := s.runOnce(ctx, sup)
		if s.settled(ctx, sup, err) {
			return
		}
		if time.Since(began) > s.opts.Pauses.Longest {
			failures = 0
		}
		pause := s.opts.Pauses.pause(failures)
		failures++
		s.opts.Log.Warn("meter driver stopped; it will be started again", "driver", sup.name, "pause", pause, "err", err)
		sup.set(func(h *DriverHealth) {
			h.State, h.Since, h.LastError, h.LastErrorAt = Pausing, s.opts.Clock.Now(), err.Error(), s.opts.Clock.Now()
		})
		if !sleep(ctx, pause) {
			sup.set(func(h *DriverHealth) { h.State, h.Since = Stopped, s.opts.Clock.Now() })
			return
		}
		sup.set(func(h *DriverHealth) { h.Restarts++ })
	}
}

// settled reports whether a driver that returned err needs no restart, and notes why.
func (s *Supervisor) settled(ctx context.Context, sup *supervised, err error) bool {
	now := s.opts.Clock.Now()
	switch {
	case ctx.Err() != nil:
		sup.set(func(h *DriverHealth) { h.State, h.Since = Stopped, now })
	case err == nil:
		s.opts.Log.Info("meter driver is done", "driver", sup.name)
		sup.set(func(h *DriverHealth) { h.State, h.Since = Finished, now })
	case IsPermanent(err):
		s.opts.Log.Error("meter driver failed for good", "driver", sup.name, "err", err)
		sup.set(func(h *DriverHealth) {
			h.State, h.Since, h.LastError, h.LastErrorAt = Failed, now, err.Error(), now
		})
	default:
		return false
	}
	return true
}

// runOnce turns a panic of the driver into an error.
func (s *Supervisor) runOnce(ctx context.Context, sup *supervised) (err error) {
	defer func() {
		if p := recover(); p != nil {
			s.opts.Log.Error("meter driver panicked", "driver", sup.name, "panic", p, "stack", string(debug.Stack()))
			err = fmt.Errorf("the driver panicked: %v", p)
		}
	}()
	return sup.driver.Run(ctx, &checkedSink{opts: &s.opts, driver: sup})
}

// stillRunning names the drivers whose Run has not returned.
func (s *Supervisor) stillRunning() []string {
	var names []string
	for _, h := range s.Health().Drivers {
		if h.State == Running {
			names = append(names, h.Driver)
		}
	}
	sort.Strings(names)
	return names
}

func (d *supervised) set(change func(*DriverHealth)) {
	d.mu.Lock()
	defer d.mu.Unlock()
	change(&d.health)
}

// sleep waits for d, and reports false when ctx ended first.
func sleep(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-ctx.Done():
		return false
	}
}
