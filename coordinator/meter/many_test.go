package meter_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator/meter"
)

// TestManyMetersWithFailingDrivers: thirty drivers of four meters each run for an
// hour, a third of them fail again and again, and every reading of every meter
// arrives once, in order, and is counted.
func TestManyMetersWithFailingDrivers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		inbox := new(room)
		s := supervise(t, meter.Options{Accept: inbox.accept})
		for d := range 30 {
			var names []string
			for m := range 4 {
				names = append(names, fmt.Sprintf("d%d-m%d", d, m))
			}
			counts := make([]int, len(names)) // outlives a restart
			add(t, s, fmt.Sprint("driver", d), fake{names, func(ctx context.Context, sink meter.Sink) error {
				for n := 0; ; n++ {
					for i, name := range names {
						if err := sink.Deliver(ctx, name, meter.Power(float64(counts[i]))); err != nil {
							return err
						}
						counts[i]++
					}
					if d%3 == 0 && n == 20 {
						return errors.New("the line is cut")
					}
					select {
					case <-ctx.Done():
						return ctx.Err()
					case <-time.After(10 * time.Second):
					}
				}
			}})
		}
		stop := running(t, s)
		time.Sleep(time.Hour)
		synctest.Wait()
		health := s.Health()
		if err := stop(); err != nil {
			t.Fatal(err)
		}
		for d := range 30 {
			for m := range 4 {
				name := fmt.Sprintf("d%d-m%d", d, m)
				got := inbox.watts(name)
				for i, w := range got {
					if w != float64(i) {
						t.Fatalf("%s: reading %d is %g", name, i, w)
					}
				}
				h, ok := health.Meter(name)
				if !ok || h.Taken != uint64(len(got)) || h.Driver != fmt.Sprint("driver", d) || len(got) < 200 || h.Silent {
					t.Errorf("%s: %d readings, health %+v", name, len(got), h)
				}
			}
		}
		for _, h := range health.Drivers {
			var d int
			fmt.Sscanf(h.Driver, "driver%d", &d)
			if failing := d%3 == 0; failing != (h.Restarts > 5) || failing != (h.LastError == "the line is cut") {
				t.Errorf("%s: %d restarts, last error %q", h.Driver, h.Restarts, h.LastError)
			}
		}
	})
}
