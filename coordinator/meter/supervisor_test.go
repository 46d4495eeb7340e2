package meter_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator/meter"
)

// wall is the clock of a synctest bubble.
type wall struct{}

func (wall) Now() time.Time { return time.Now() }

// fake is a driver made of a function.
type fake struct {
	meters []string
	run    func(ctx context.Context, sink meter.Sink) error
}

func (f fake) Meters() []string { return f.meters }

func (f fake) Run(ctx context.Context, sink meter.Sink) error { return f.run(ctx, sink) }

// room is an inbox that remembers what it took.
type room struct {
	mu   sync.Mutex
	took map[string][]meter.Sample
	err  error
}

func (r *room) accept(_ context.Context, name string, s meter.Sample) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err != nil {
		return r.err
	}
	if r.took == nil {
		r.took = map[string][]meter.Sample{}
	}
	r.took[name] = append(r.took[name], s)
	return nil
}

func (r *room) watts(name string) []float64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	var out []float64
	for _, s := range r.took[name] {
		out = append(out, s.Watts)
	}
	return out
}

func supervise(t *testing.T, opts meter.Options) *meter.Supervisor {
	t.Helper()
	if opts.Clock == nil {
		opts.Clock = wall{}
	}
	s, err := meter.NewSupervisor(opts)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// running starts s.Run and returns what stops it and waits.
func running(t *testing.T, s *meter.Supervisor) (stop func() error) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	return func() error { cancel(); return <-done }
}

func add(t *testing.T, s *meter.Supervisor, name string, d meter.Driver) {
	t.Helper()
	if err := s.Add(name, d); err != nil {
		t.Fatal(err)
	}
}

func TestSupervisorRestartsWithGrowingPauses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var starts []time.Duration
		began := time.Now()
		s := supervise(t, meter.Options{Accept: new(room).accept, Pauses: meter.Pauses{
			First: time.Second, Longest: 8 * time.Second, Random: func() float64 { return 0 },
		}})
		add(t, s, "d", fake{[]string{"m"}, func(context.Context, meter.Sink) error {
			starts = append(starts, time.Since(began))
			return errors.New("no route to the meter")
		}})
		stop := running(t, s)
		time.Sleep(30 * time.Second)
		synctest.Wait()
		h := s.Health().Drivers[0]
		if h.State != meter.Pausing || h.Restarts != 5 || h.LastError != "no route to the meter" {
			t.Errorf("health %+v", h)
		}
		if err := stop(); err != nil {
			t.Fatal(err)
		}
		want := []time.Duration{0, 1, 3, 7, 15, 23}
		for i := range want {
			want[i] *= time.Second
		}
		if fmt.Sprint(starts) != fmt.Sprint(want) {
			t.Errorf("starts at %v, want %v", starts, want)
		}
	})
}

func TestSupervisorForgetsFailuresAfterALongRun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var pauses []time.Duration
		var ended time.Time
		s := supervise(t, meter.Options{Accept: new(room).accept, Pauses: meter.Pauses{
			First: time.Second, Longest: 4 * time.Second, Random: func() float64 { return 0.5 },
		}})
		runs := 0
		add(t, s, "d", fake{[]string{"m"}, func(context.Context, meter.Sink) error {
			if !ended.IsZero() {
				pauses = append(pauses, time.Since(ended))
			}
			if runs++; runs == 3 {
				time.Sleep(time.Minute)
			}
			ended = time.Now()
			return errors.New("connection lost")
		}})
		stop := running(t, s)
		time.Sleep(70 * time.Second)
		_ = stop()
		// Shortened by a quarter: half of Random's 0.5.
		want := []time.Duration{750 * time.Millisecond, 1500 * time.Millisecond, 750 * time.Millisecond, 1500 * time.Millisecond}
		if len(pauses) < 4 || fmt.Sprint(pauses[:4]) != fmt.Sprint(want) {
			t.Errorf("pauses %v, want %v", pauses, want)
		}
	})
}

func TestSupervisorCatchesPanics(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var log bytes.Buffer
		r := &room{}
		s := supervise(t, meter.Options{Accept: r.accept, Log: slog.New(slog.NewTextHandler(&log, nil))})
		runs := 0
		add(t, s, "shaky", fake{[]string{"m"}, func(ctx context.Context, sink meter.Sink) error {
			if runs++; runs == 1 {
				var none []int
				_ = none[len(none)]
			}
			return sink.Deliver(ctx, "m", meter.Power(5))
		}})
		stop := running(t, s)
		time.Sleep(2 * time.Second)
		_ = stop()
		h := s.Health().Drivers[0]
		if h.State != meter.Finished || h.Restarts != 1 || !strings.Contains(h.LastError, "panicked: runtime error: index out of range") {
			t.Errorf("health %+v", h)
		}
		if len(r.watts("m")) != 1 {
			t.Error("the driver delivered nothing after its restart")
		}
		if !strings.Contains(log.String(), "supervisor_test.go") {
			t.Errorf("the log has no stack:\n%s", log.String())
		}
	})
}

func TestSupervisorStuckDriverStallsNoOther(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := &room{}
		s := supervise(t, meter.Options{Accept: r.accept, StopWithin: time.Second})
		release := make(chan struct{})
		add(t, s, "stuck", fake{[]string{"a"}, func(context.Context, meter.Sink) error { <-release; return nil }})
		add(t, s, "lively", fake{[]string{"b"}, func(ctx context.Context, sink meter.Sink) error {
			for i := range 20 {
				if err := sink.Deliver(ctx, "b", meter.Power(float64(i))); err != nil {
					return err
				}
				time.Sleep(time.Minute)
			}
			<-ctx.Done()
			return nil
		}})
		stop := running(t, s)
		time.Sleep(30 * time.Minute)
		synctest.Wait()
		h := s.Health()
		a, _ := h.Meter("a")
		b, _ := h.Meter("b")
		if !a.Silent || !b.Silent || b.Taken != 20 || a.Taken != 0 {
			t.Errorf("a %+v\nb %+v", a, b)
		}
		err := stop()
		if err == nil || !strings.HasSuffix(err.Error(), ": stuck") {
			t.Errorf("Run returned %v, want the name of the driver that did not stop", err)
		}
		close(release)
	})
}

func TestSupervisorRefusesDoubles(t *testing.T) {
	idle := func(ctx context.Context, _ meter.Sink) error { <-ctx.Done(); return nil }
	s := supervise(t, meter.Options{Accept: new(room).accept})
	add(t, s, "one", fake{[]string{"a", "b"}, idle})
	for name, c := range map[string]struct {
		driver string
		meters []string
		want   string
	}{
		"name":   {"one", []string{"c"}, `"one" is taken`},
		"meter":  {"two", []string{"c", "b"}, `meter "b" belongs to driver "one"`},
		"itself": {"two", []string{"c", "c"}, `names meter "c" twice`},
		"empty":  {"", []string{"c"}, "needs a name"},
	} {
		err := s.Add(c.driver, fake{c.meters, idle})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
	if h := s.Health(); len(h.Meters) != 2 || len(h.Drivers) != 1 || h.Drivers[0].State != meter.Waiting {
		t.Errorf("a refused driver left something behind: %+v", h)
	}
	add(t, s, "two", fake{[]string{"c"}, idle})
}

func TestSupervisorAddsWhileRunning(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := &room{}
		s := supervise(t, meter.Options{Accept: r.accept})
		stop := running(t, s)
		synctest.Wait()
		add(t, s, "late", fake{[]string{"m"}, func(ctx context.Context, sink meter.Sink) error {
			return sink.Deliver(ctx, "m", meter.Power(3))
		}})
		synctest.Wait()
		if len(r.watts("m")) != 1 {
			t.Error("a driver added while running did not run")
		}
		if err := s.Run(t.Context()); err == nil {
			t.Error("a second Run was taken")
		}
		_ = stop()
	})
}

func TestSupervisorPermanentFailure(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := supervise(t, meter.Options{Accept: new(room).accept})
		runs := 0
		add(t, s, "d", fake{[]string{"m"}, func(context.Context, meter.Sink) error {
			runs++
			return fmt.Errorf("reading: %w", meter.Permanent(errors.New("the file is broken")))
		}})
		stop := running(t, s)
		time.Sleep(time.Hour)
		_ = stop()
		h := s.Health().Drivers[0]
		if runs != 1 || h.State != meter.Failed || h.LastError != "reading: the file is broken" {
			t.Errorf("%d runs, health %+v", runs, h)
		}
	})
}

func TestNewSupervisorNeedsItsParts(t *testing.T) {
	if _, err := meter.NewSupervisor(meter.Options{Clock: wall{}}); err == nil {
		t.Error("no Accept, and no error")
	}
	if _, err := meter.NewSupervisor(meter.Options{Accept: new(room).accept}); err == nil {
		t.Error("no Clock, and no error")
	}
}
