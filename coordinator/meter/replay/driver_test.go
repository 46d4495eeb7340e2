package replay

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator/meter"
)

// clock is the clock of a synctest bubble.
type clock struct{}

func (clock) Now() time.Time { return time.Now() }

func (clock) At(t time.Time) (<-chan struct{}, func()) {
	done := make(chan struct{})
	timer := time.AfterFunc(time.Until(t), func() { close(done) })
	return done, func() { timer.Stop() }
}

// inbox notes what comes, and when by the clock that it is given.
type inbox struct {
	now      func() time.Time
	began    time.Time
	got      []string
	failures []string
	busy     int // how often it is full before it takes the next
	err      error
}

func (b *inbox) Deliver(_ context.Context, name string, s meter.Sample) error {
	if b.busy > 0 {
		b.busy--
		return meter.ErrBusy
	}
	if b.err != nil {
		return b.err
	}
	if !s.Stamp.Equal(b.now()) {
		return fmt.Errorf("stamp %s at %s", s.Stamp, b.now())
	}
	b.got = append(b.got, fmt.Sprintf("%s %g@%g", name, s.Watts, b.now().Sub(b.began).Seconds()))
	return nil
}

func (b *inbox) Fail(name string, err error) { b.failures = append(b.failures, name+": "+err.Error()) }

func file(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "recording.csv")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func newDriver(t *testing.T, opts Options) *Driver {
	t.Helper()
	d, err := New(opts)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

const (
	washer = "time,watts\n2026-01-02T00:00:00Z,1\n2026-01-02T00:00:10Z,2\n2026-01-02T00:10:00Z,3\n"
	dryer  = "2026-01-02T00:00:05Z,10\n2026-01-02T00:00:20Z,20\n"
)

// Several recordings come in one order of time, each reading at its own instant.
func TestDriverFollows(t *testing.T) {
	var now time.Time
	box := &inbox{now: func() time.Time { return now }, began: at(0)}
	d := newDriver(t, Options{
		Tracks: []Track{{"w", file(t, washer)}, {"d", file(t, dryer)}},
		Follow: func(t time.Time) { now = t },
	})
	for range 2 { // Run may be called again
		box.got = nil
		if err := d.Run(t.Context(), box); err != nil {
			t.Fatal(err)
		}
		if got, want := strings.Join(box.got, " "), "w 1@0 d 10@5 w 2@10 d 20@20 w 3@600"; got != want {
			t.Errorf("played %s, want %s", got, want)
		}
	}
	if got := fmt.Sprint(d.Meters()); got != "[w d]" {
		t.Errorf("meters %s", got)
	}
}

// Played as live, the recording begins now and keeps its own pace.
func TestDriverLive(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		box := &inbox{now: time.Now, began: time.Now()}
		d := newDriver(t, Options{Tracks: []Track{{"w", file(t, washer)}, {"d", file(t, dryer)}}, Clock: clock{}})
		if err := d.Run(t.Context(), box); err != nil {
			t.Fatal(err)
		}
		if got, want := strings.Join(box.got, " "), "w 1@0 d 10@5 w 2@10 d 20@20 w 3@600"; got != want {
			t.Errorf("played %s, want %s", got, want)
		}
	})
}

func TestDriverRepeats(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 40*time.Second)
		defer cancel()
		box := &inbox{now: time.Now, began: time.Now()}
		d := newDriver(t, Options{Tracks: []Track{{"d", file(t, dryer)}}, Clock: clock{}, Repeat: true})
		if err := d.Run(ctx, box); err != nil {
			t.Fatal(err)
		}
		if got, want := strings.Join(box.got, " "), "d 10@0 d 20@15 d 10@16 d 20@31 d 10@32"; got != want {
			t.Errorf("played %s, want %s", got, want)
		}
	})
}

// A recording of one row is not repeated without pause.
func TestDriverRepeatsOneRow(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 2500*time.Millisecond)
		defer cancel()
		box := &inbox{now: time.Now, began: time.Now()}
		d := newDriver(t, Options{Tracks: []Track{{"d", file(t, "1767312005,7\n")}}, Clock: clock{}, Repeat: true})
		if err := d.Run(ctx, box); err != nil || len(box.got) != 3 {
			t.Errorf("%v, %v", box.got, err)
		}
	})
}

func TestDriverEndsWithItsContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		box := &inbox{now: time.Now, began: time.Now()}
		d := newDriver(t, Options{Tracks: []Track{{"w", file(t, washer)}}, Clock: clock{}})
		done := make(chan error, 1)
		go func() { done <- d.Run(ctx, box) }()
		time.Sleep(time.Minute)
		cancel()
		if err := <-done; err != nil || len(box.got) != 2 {
			t.Errorf("%v, %v", box.got, err)
		}
	})
}

func TestDriverTrouble(t *testing.T) {
	var now time.Time
	follow := func(t time.Time) { now = t }
	clockNow := func() time.Time { return now }
	t.Run("bad rows", func(t *testing.T) {
		box := &inbox{now: clockNow, began: at(0)}
		path := file(t, "oops,5\n2026-01-02T00:00:01Z,1\n2026-01-02T00:00:02Z,x\n2026-01-02T00:00:03Z,3\n")
		err := newDriver(t, Options{Tracks: []Track{{"w", path}}, Follow: follow}).Run(t.Context(), box)
		if err != nil || strings.Join(box.got, " ") != "w 1@1 w 3@3" {
			t.Errorf("%v, %v", box.got, err)
		}
		if all := strings.Join(box.failures, "\n"); len(box.failures) != 2 || !strings.Contains(all, "recording.csv: line 1: ") || !strings.Contains(all, "recording.csv: line 3: ") {
			t.Errorf("%q", box.failures)
		}
	})
	t.Run("full inbox", func(t *testing.T) {
		box := &inbox{now: clockNow, began: at(0), busy: 3}
		err := newDriver(t, Options{Tracks: []Track{{"d", file(t, dryer)}}, Follow: follow}).Run(t.Context(), box)
		if err != nil || len(box.got) != 2 {
			t.Errorf("%v, %v", box.got, err)
		}
	})
	t.Run("refused", func(t *testing.T) {
		box := &inbox{now: clockNow, err: meter.Refuse("d", meter.Implausible, "no")}
		err := newDriver(t, Options{Tracks: []Track{{"d", file(t, dryer)}}, Follow: follow}).Run(t.Context(), box)
		if err != nil {
			t.Error(err)
		}
	})
	t.Run("the room is gone", func(t *testing.T) {
		gone := errors.New("the room is gone")
		box := &inbox{now: clockNow, err: gone}
		err := newDriver(t, Options{Tracks: []Track{{"d", file(t, dryer)}}, Follow: follow}).Run(t.Context(), box)
		if !errors.Is(err, gone) || meter.IsPermanent(err) {
			t.Error(err)
		}
	})
	t.Run("no file", func(t *testing.T) {
		err := newDriver(t, Options{Tracks: []Track{{"d", "nowhere.csv"}}, Follow: follow}).Run(t.Context(), &inbox{})
		if !errors.Is(err, os.ErrNotExist) || meter.IsPermanent(err) {
			t.Errorf("%v: the file may still come", err)
		}
	})
	t.Run("cut off", func(t *testing.T) {
		whole := zipped(strings.Repeat(dryer[:24], 1000))
		box := &inbox{now: clockNow}
		path := file(t, string(whole[:len(whole)-9]))
		if err := newDriver(t, Options{Tracks: []Track{{"d", path}}, Follow: follow}).Run(t.Context(), box); !meter.IsPermanent(err) {
			t.Errorf("%v: a restart cannot mend it", err)
		}
	})
	t.Run("empty", func(t *testing.T) {
		path := file(t, "time,watts\n")
		if err := newDriver(t, Options{Tracks: []Track{{"d", path}}, Follow: follow}).Run(t.Context(), &inbox{}); err != nil {
			t.Error(err)
		}
		if err := newDriver(t, Options{Tracks: []Track{{"d", path}}, Clock: clock{}, Repeat: true}).Run(t.Context(), &inbox{}); !meter.IsPermanent(err) {
			t.Errorf("repeating nothing: %v", err)
		}
	})
}

func TestNewErrors(t *testing.T) {
	one := []Track{{"a", "f"}}
	follow := func(time.Time) {}
	for want, opts := range map[string]Options{
		"no recording is named":   {Follow: follow},
		"either a clock":          {Tracks: one},
		"one to move":             {Tracks: one, Follow: follow, Clock: clock{}},
		"time cannot begin again": {Tracks: one, Follow: follow, Repeat: true},
		"is there twice":          {Tracks: []Track{{"a", "f"}, {"a", "g"}}, Follow: follow},
		"has no name":             {Tracks: []Track{{"", "f"}}, Follow: follow},
	} {
		if _, err := New(opts); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", opts, err, want)
		}
	}
}
