package meter_test

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator/meter"
)

func TestSupervisorSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := supervise(t, meter.Options{
			Accept:      new(room).accept,
			SilentAfter: func(string) time.Duration { return 5 * time.Minute },
		})
		add(t, s, "d", fake{[]string{"m"}, func(ctx context.Context, sink meter.Sink) error {
			time.Sleep(6 * time.Minute)
			return sink.Deliver(ctx, "m", meter.Power(1))
		}})
		stop := running(t, s)
		steps := []struct {
			after  time.Duration
			silent bool
		}{
			{4*time.Minute + 59*time.Second, false},
			{time.Second, true}, // never heard for 5 minutes
			{61 * time.Second, false},
			{4 * time.Minute, false},
			{time.Minute, true},
		}
		for i, step := range steps {
			time.Sleep(step.after)
			synctest.Wait()
			if m, _ := func() (meter.MeterHealth, bool) { h := s.Health(); return h.Meter("m") }(); m.Silent != step.silent {
				t.Errorf("step %d: silent %v, want %v", i, m.Silent, step.silent)
			}
		}
		_ = stop()
	})
}

func TestSupervisorChecksReadings(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := &room{}
		var log bytes.Buffer
		s := supervise(t, meter.Options{Accept: r.accept, Log: slog.New(slog.NewTextHandler(&log, nil))})
		errs := make(chan error, 10)
		add(t, s, "d", fake{[]string{"m"}, func(ctx context.Context, sink meter.Sink) error {
			for _, w := range []float64{500, -700, -700, 1e6, -2} {
				errs <- sink.Deliver(ctx, "m", meter.Power(w))
			}
			errs <- sink.Deliver(ctx, "other", meter.Power(1))
			sink.Fail("m", errors.New("the cable is out"))
			sink.Fail("other", errors.New("not its meter"))
			return nil
		}})
		stop := running(t, s)
		synctest.Wait()
		_ = stop()
		close(errs)
		want := []meter.Reason{"", meter.Implausible, meter.Implausible, meter.Implausible, "", meter.UnknownMeter}
		i := 0
		for err := range errs {
			if got := reason(err); got != want[i] {
				t.Errorf("delivery %d: %v, want reason %q", i, err, want[i])
			}
			i++
		}
		if got := r.watts("m"); len(got) != 2 || got[0] != 500 || got[1] != 0 {
			t.Errorf("the room took %v, want 500 and the noise as 0", got)
		}
		h := s.Health()
		m, ok := h.Meter("m")
		if !ok || m.Taken != 2 || m.Refused[meter.Implausible] != 3 || m.Failures != 1 || m.Trouble != "the cable is out" || m.Reason != meter.Broken {
			t.Errorf("health %+v", m)
		}
		if n := strings.Count(log.String(), "below zero"); n != 1 {
			t.Errorf("the same trouble was logged %d times", n)
		}
	})
}

func reason(err error) meter.Reason {
	var r *meter.Refusal
	if errors.As(err, &r) {
		return r.Reason
	}
	return ""
}

func TestSupervisorBusyRoom(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := &room{err: meter.ErrBusy}
		s := supervise(t, meter.Options{Accept: r.accept})
		add(t, s, "d", fake{[]string{"m"}, func(ctx context.Context, sink meter.Sink) error {
			for sink.Deliver(ctx, "m", meter.Power(7)) != nil {
				time.Sleep(time.Second)
			}
			return nil
		}})
		stop := running(t, s)
		synctest.Wait()
		h := s.Health()
		if m, _ := h.Meter("m"); m.Trouble != meter.ErrBusy.Error() || m.Reason != meter.Busy || m.Failures != 1 || !m.Heard.IsZero() {
			t.Errorf("while busy: %+v", m)
		}
		r.mu.Lock()
		r.err = nil
		r.mu.Unlock()
		time.Sleep(2 * time.Second)
		_ = stop()
		h = s.Health()
		if m, _ := h.Meter("m"); m.Trouble != "" || m.Reason != "" || m.LastError == "" || m.Taken != 1 {
			t.Errorf("after: %+v", m)
		}
	})
}

func TestSupervisorHealthIsACopy(t *testing.T) {
	s := supervise(t, meter.Options{Accept: new(room).accept})
	add(t, s, "d", fake{meters: []string{"m"}, run: nil})
	h := s.Health()
	h.Meters[0].Refused[meter.Empty] = 9
	h.Meters[0].Taken = 9
	again := s.Health()
	if again.Meters[0].Refused[meter.Empty] != 0 || again.Meters[0].Taken != 0 {
		t.Error("changing a Health changed the supervisor")
	}
	if _, ok := again.Meter("none"); ok {
		t.Error("found a meter that is not there")
	}
}

func TestSampleReading(t *testing.T) {
	now := time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)
	for name, c := range map[string]struct{ stamp, want time.Time }{
		"none":  {time.Time{}, now},
		"older": {now.Add(-time.Minute), now.Add(-time.Minute)},
		"ahead": {now.Add(time.Minute), now},
	} {
		s := meter.Sample{Watts: 5, Wh: math.NaN(), Stamp: c.stamp}
		if got := s.Reading(now); !got.At.Equal(c.want) || got.Watts != 5 || !math.IsNaN(got.Wh) {
			t.Errorf("%s: %+v, want at %s", name, got, c.want)
		}
	}
}
