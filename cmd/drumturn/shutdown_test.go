package main

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/meter"
)

// TestGroup: when one part ends all are told to stop, and every error is kept.
func TestGroup(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	g := group{stop: cancel}
	broken := errors.New("the wire is loose")
	g.start("waits", func() error { <-ctx.Done(); return ctx.Err() })
	g.start("breaks later", func() error { <-ctx.Done(); return errors.New("also broken") })
	g.start("breaks", func() error { return broken })
	err := g.wait()
	if !errors.Is(err, broken) || !strings.Contains(err.Error(), "breaks: the wire") || !strings.Contains(err.Error(), "breaks later: also") {
		t.Errorf("%v", err)
	}
	if errors.Is(err, context.Canceled) || strings.Contains(err.Error(), "waits") {
		t.Errorf("being told to stop is called an error: %v", err)
	}
}

// TestGroupOfOneThatEnds: a part that ends without an error stops the others too.
func TestGroupOfOneThatEnds(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	g := group{stop: cancel}
	g.start("waits", func() error { <-ctx.Done(); return nil })
	g.start("ends", func() error { return nil })
	if err := g.wait(); err != nil {
		t.Error(err)
	}
}

// lateDriver delivers one more reading when it is told to stop.
type lateDriver struct{ delivered chan error }

func (lateDriver) Meters() []string { return []string{"one"} }

func (d lateDriver) Run(ctx context.Context, sink meter.Sink) error {
	if err := sink.Deliver(ctx, "one", meter.Power(1)); err != nil {
		return err
	}
	<-ctx.Done()
	d.delivered <- sink.Deliver(context.WithoutCancel(ctx), "one", meter.Power(777))
	return nil
}

// TestLastReadingIsStored: rooms stop after meters, so that a reading that was
// taken at the very end is on disk, and the next start knows it.
func TestLastReadingIsStored(t *testing.T) {
	w := wiring(t, metered("washer", "driver = \"sim\"\n", ""), nil)
	s := w.setup()
	s.file.Meters = nil
	late := lateDriver{make(chan error, 1)}
	s.drivers = map[string]meter.Driver{"late": late}
	a, err := newApp(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	w.app = a
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- a.run(ctx) }()
	w.until("the first reading", func() bool { m, ok := health(w).Meter("one"); return ok && m.Taken == 1 })
	w.clock.Set(evening.Add(time.Minute))
	cancel()
	if err := <-late.delivered; err != nil {
		t.Errorf("the last reading: %v", err)
	}
	if err := <-ended; err != nil {
		t.Error(err)
	}
	a.close()
	w.open()
	var all []float64
	err = w.app.store.Readings(t.Context(), "cellar", "1", evening.Add(-time.Hour), evening.Add(time.Hour), func(r coordinator.MachineReading) bool {
		all = append(all, r.Watts)
		return true
	})
	if err != nil || len(all) != 2 || all[1] != 777 {
		t.Errorf("stored are %v, %v", all, err)
	}
	if m := w.app.house.Snapshot("cellar").Machine("1"); m.Watts != 777 {
		t.Errorf("after the restart the washer is %+v", m)
	}
}

// TestRequestUnderWayIsAnswered: a resident who pressed the button as the
// program was told to stop gets an answer, and what was answered is kept.
func TestRequestUnderWayIsAnswered(t *testing.T) {
	w := wiring(t, handBuilding, nil).start()
	anna := w.visitor()
	person := anna.join("1", "anna")
	pressed := make(chan int, 1)
	req, err := http.NewRequestWithContext(t.Context(), "POST", "http://"+w.app.address()+"/r/cellar/turns", strings.NewReader("need=wash"))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.Header.Set("Sec-Fetch-Site", "same-origin")
	anna.client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	go func() {
		resp, err := anna.client.Do(req)
		if err != nil {
			pressed <- 0 // it came when nobody listened any more
			return
		}
		resp.Body.Close()
		pressed <- resp.StatusCode
	}()
	w.end()
	status := <-pressed
	w.open()
	turns := 0
	for _, turn := range w.app.house.Snapshot("cellar").Turns {
		if turn.Person == person.ID {
			turns++
		}
	}
	if status == http.StatusSeeOther && turns != 1 || status == 0 && turns > 1 {
		t.Errorf("answered %d, and %d turns are kept", status, turns)
	}
}

// TestPortFreedAfterClose: once closed, address and store can be used again.
func TestPortFreedAfterClose(t *testing.T) {
	w := wiring(t, handBuilding, nil).open()
	at := w.app.address()
	w.app.close()
	w.app.close() // again does no harm
	w.write("building.toml", strings.Replace(handBuilding, "127.0.0.1:0", at, 1))
	w.start()
	if w.app.address() != at {
		t.Errorf("it listens at %s, not %s", w.app.address(), at)
	}
	w.visitor().sees("/healthz", "well")
}

// TestFailingPartEndsTheProgram: a driver that fails for good is no reason to
// stop, a store that fails is.
func TestFailingPartEndsTheProgram(t *testing.T) {
	w := wiring(t, handBuilding, nil).open()
	ended := make(chan error, 1)
	go func() { ended <- w.app.run(t.Context()) }()
	w.awaitControl()
	if err := w.app.store.Close(); err != nil {
		t.Fatal(err)
	}
	// Whoever asks for something now is refused, and the program ends.
	_, _ = w.app.house.Do(t.Context(), "cellar", coordinator.TakeOut{Machine: "1", Person: "manager", Text: "Test"})
	if err := <-ended; err == nil || !strings.Contains(err.Error(), "rooms") {
		t.Errorf("it ended with %v", err)
	}
}
