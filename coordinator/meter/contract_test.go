package meter_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"drumturn/coordinator/meter"
)

func TestCheck(t *testing.T) {
	now := time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)
	for name, c := range map[string]struct {
		in     meter.Sample
		reason meter.Reason
		watts  float64
		says   string
	}{
		"usual":             {in: meter.Sample{Watts: 450, Wh: 12}, watts: 450},
		"only a register":   {in: meter.Sample{Watts: nan, Wh: 12}, watts: nan},
		"nothing":           {in: meter.Sample{Watts: nan, Wh: nan}, reason: meter.Empty, says: "neither"},
		"noise":             {in: meter.Power(-4.9), watts: 0},
		"at the noise":      {in: meter.Power(-5), watts: 0},
		"backwards":         {in: meter.Power(-5.1), reason: meter.Implausible, says: "wrong way round"},
		"minus infinite":    {in: meter.Power(inf(-1)), reason: meter.Implausible, says: "below zero"},
		"at the limit":      {in: meter.Power(100e3), watts: 100e3},
		"over the limit":    {in: meter.Power(100001), reason: meter.Implausible, says: "unit"},
		"infinite":          {in: meter.Power(inf(1)), reason: meter.Implausible, says: "unit"},
		"register below 0":  {in: meter.Sample{Watts: 1, Wh: -1}, reason: meter.Implausible, says: "register"},
		"register infinite": {in: meter.Sample{Watts: 1, Wh: inf(1)}, reason: meter.Implausible, says: "register"},
		"two minutes ahead": {in: meter.Sample{Watts: 1, Wh: nan, Stamp: now.Add(2 * time.Minute)}, watts: 1},
		"more than that":    {in: meter.Sample{Watts: 1, Wh: nan, Stamp: now.Add(2*time.Minute + 1)}, reason: meter.StampAhead, says: "2026-05-01T12:02:00Z"},
		"old":               {in: meter.Sample{Watts: 1, Wh: nan, Stamp: now.AddDate(-3, 0, 0)}, watts: 1},
		"clock never set":   {in: meter.Sample{Watts: 1, Wh: nan, Stamp: time.Unix(77, 0)}, reason: meter.StampUnset, says: "never set"},
	} {
		got, err := meter.Check("m", c.in, now)
		if reason(err) != c.reason || (err == nil) != (c.reason == "") {
			t.Errorf("%s: %v, want reason %q", name, err, c.reason)
			continue
		}
		if err != nil && !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %q does not say %q", name, err, c.says)
		}
		if err == nil && !same(got.Watts, c.watts) {
			t.Errorf("%s: %v W, want %v", name, got.Watts, c.watts)
		}
	}
}

func inf(sign float64) float64 { return sign / zero }

var zero float64

func TestRegistry(t *testing.T) {
	var r meter.Registry[int]
	if err := r.Register("b", 2); err != nil {
		t.Fatal(err)
	}
	if err := r.Register("a", 1); err != nil {
		t.Fatal(err)
	}
	if err := r.Register("b", 3); err == nil || !strings.Contains(err.Error(), `"b" is taken`) {
		t.Errorf("a second b: %v", err)
	}
	if err := r.Register("", 3); err == nil {
		t.Error("a thing without a name was taken")
	}
	if v, err := r.Get("b"); err != nil || v != 2 {
		t.Errorf("b is %d, %v: the refused one must not replace the first", v, err)
	}
	if _, err := r.Get("c"); err == nil || !strings.Contains(err.Error(), `there are ["a" "b"]`) {
		t.Errorf("c: %v", err)
	}
	if got := fmt.Sprint(r.Names()); got != "[a b]" {
		t.Errorf("names %s", got)
	}
}

// Of many that register one name at once, exactly one wins.
func TestRegistryAtOnce(t *testing.T) {
	var r meter.Registry[int]
	var wg sync.WaitGroup
	won := make(chan int, 50)
	for i := range 50 {
		wg.Go(func() {
			if r.Register("only", i) == nil {
				won <- i
			}
		})
	}
	wg.Wait()
	close(won)
	winner := <-won
	if _, more := <-won; more {
		t.Error("two were registered under one name")
	}
	if v, _ := r.Get("only"); v != winner {
		t.Errorf("registered %d, found %d", winner, v)
	}
}

func TestPermanent(t *testing.T) {
	cause := errors.New("broken")
	err := fmt.Errorf("row 3: %w", meter.Permanent(cause))
	if !meter.IsPermanent(err) || !errors.Is(err, cause) || err.Error() != "row 3: broken" {
		t.Errorf("%v", err)
	}
	if meter.IsPermanent(cause) || meter.Permanent(nil) != nil || meter.IsPermanent(nil) {
		t.Error("what is not permanent is")
	}
}

func TestSinkFunc(t *testing.T) {
	var got float64
	var sink meter.Sink = meter.SinkFunc(func(_ context.Context, _ string, s meter.Sample) error {
		got = s.Watts
		return nil
	})
	sink.Fail("m", errors.New("ignored"))
	if err := sink.Deliver(t.Context(), "m", meter.Power(4)); err != nil || got != 4 {
		t.Errorf("%v, %v", got, err)
	}
}
