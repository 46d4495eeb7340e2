package usage

import (
	"context"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/robfig/cron/v3"

	"drumturn/coordinator"
)

// sleepUntil moves a bubble's clock, which begins in the year 2000.
func sleepUntil(t time.Time) {
	time.Sleep(time.Until(t))
	synctest.Wait()
}

// start runs a keeper and answers with what stops it.
func start(k *Keeper) (stop func()) {
	running, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() { k.Run(running); close(done) }()
	return func() { cancel(); <-done }
}

// TestAYear runs the real scheduler through 2026 in Berlin, both changes of the
// clocks included: each night's work is done once, at 04:15 local time.
func TestAYear(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sleepUntil(local("2026-01-01 12:00"))
		s := newFake()
		s.add("cellar", fact(coordinator.FactCalled, "w1", "2026-01-01 08:00", 0, time.Minute))
		stop := start(keeper(t, s, Options{Log: silent()}))
		sleepUntil(local("2026-12-31 12:00"))
		stop()
		for d := date("2026-01-01"); d.Before(date("2026-12-31")); d = d.Add(1) {
			for _, job := range []string{"rollup/cellar", "rollup/attic", "retain/cellar"} {
				if at := s.done(t, job, d.String()).In(berlin).Format("2006-01-02 15:04"); at != d.Add(1).String()+" 04:15" {
					t.Errorf("%s for %v was done at %s", job, d, at)
				}
			}
		}
	})
}

// TestDoubleAndMissingHour takes the hours that the clocks repeat and skip,
// which is unwise: the work is still done once for each day.
func TestDoubleAndMissingHour(t *testing.T) {
	for _, begin := range []string{"2026-03-26 12:00", "2026-10-22 12:00"} {
		synctest.Test(t, func(t *testing.T) {
			sleepUntil(local(begin))
			s := newFake()
			s.add("cellar", coordinator.Fact{At: local(begin).Add(-time.Hour), Kind: coordinator.FactCalled})
			stop := start(keeper(t, s, Options{Log: silent(), Schedule: "30 2 * * *"}))
			first := DateOf(local(begin), berlin)
			sleepUntil(first.Add(5).Begin(berlin).Add(12 * time.Hour))
			stop()
			for d := first; d.Before(first.Add(4)); d = d.Add(1) {
				s.done(t, "rollup/cellar", d.String())
			}
		})
	}
}

// TestDowntime stops the program for five nights. A minute after its start
// every missed day gets its sums, and the backup is made once.
func TestDowntime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sleepUntil(local("2026-05-01 12:00"))
		s := newFake()
		s.add("cellar", fact(coordinator.FactCalled, "w1", "2026-05-01 08:00", 0, time.Minute))
		k := keeper(t, s, Options{Log: silent(), BackupDir: t.TempDir()})
		stop := start(k)
		sleepUntil(local("2026-05-03 12:00"))
		stop()
		backups := len(s.backups)
		sleepUntil(local("2026-05-08 09:00"))
		stop = start(k)
		sleepUntil(local("2026-05-08 09:02"))
		stop()
		for d := date("2026-05-03"); d.Before(date("2026-05-08")); d = d.Add(1) {
			if at := s.done(t, "rollup/cellar", d.String()); !at.Equal(local("2026-05-08 09:01")) {
				t.Errorf("%v was made up for at %v", d, at.In(berlin))
			}
		}
		if len(s.backups) != backups+1 || !strings.HasSuffix(s.backups[backups], "2026-05-08.db") {
			t.Errorf("backups %v", s.backups)
		}
	})
}

// TestKeeperTriesAgain: the failure is logged each hour until it is over.
func TestKeeperTriesAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		sleepUntil(local("2026-05-01 12:00"))
		s := newFake()
		s.fail = func(what string) error {
			if what == "retain attic" && time.Now().Before(local("2026-05-02 06:00")) {
				panic("a fault of ours")
			}
			return nil
		}
		var log strings.Builder
		stop := start(keeper(t, s, Options{Log: logged(&log)}))
		sleepUntil(local("2026-05-02 08:00"))
		stop()
		// 12:01, each hour from 12:40 to 03:40, 04:15, 04:40 and 05:40.
		mustSay(t, &log, 1+16+3, "housekeeping failed")
		if at := s.done(t, "retain/attic", "2026-05-01"); !at.Equal(local("2026-05-02 06:40")) {
			t.Errorf("done at %v", at.In(berlin))
		}
	})
}

// scheduled runs a job every hour for some hours and notes when it began.
func scheduled(t *testing.T, log *strings.Builder, hours int, job func(ctx context.Context, n int)) (begun []time.Time) {
	t.Helper()
	sleepUntil(local("2026-05-01 11:59"))
	running, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	tick, err := parseSchedule("0 * * * *")
	must(t, err)
	go func() {
		defer close(done)
		runBySchedules(running, berlin, logged(log), 150*time.Minute, time.Now, func(ctx context.Context, now time.Time) {
			begun = append(begun, now)
			job(ctx, len(begun))
		}, tick, once{local("2026-05-01 11:59").Add(30 * time.Second)})
	}()
	time.Sleep(time.Duration(hours) * time.Hour)
	cancel()
	<-done
	return begun
}

// TestAPanicDoesNotStopTheNext: with the library's wrappers in the wrong order
// the job would never run again.
func TestAPanicDoesNotStopTheNext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var log strings.Builder
		begun := scheduled(t, &log, 12, func(context.Context, int) { panic("a fault of ours") })
		if len(begun) != 1+12 {
			t.Errorf("ran %d times", len(begun))
		}
		mustSay(t, &log, 13, "a fault of ours")
	})
}

// TestLongRunsDoNotOverlap: a run of 100 minutes leaves out the hour it covers,
// also where that comes from another schedule.
func TestLongRunsDoNotOverlap(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var log strings.Builder
		begun := scheduled(t, &log, 6, func(ctx context.Context, n int) {
			select {
			case <-time.After(100 * time.Minute):
			case <-ctx.Done():
			}
		})
		var at []string
		for _, b := range begun {
			at = append(at, b.In(berlin).Format("15:04:05"))
		}
		if want := []string{"11:59:30", "14:00:00", "16:00:00"}; !slices.Equal(at, want) {
			t.Errorf("began at %v, want %v", at, want)
		}
	})
}

// TestStopWaits: a job is told to end, and Run returns only after it has. One
// that never ends by itself is told so when its time is up.
func TestStopWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var log strings.Builder
		var ended []time.Duration
		begun := scheduled(t, &log, 4, func(ctx context.Context, n int) {
			from := time.Now()
			<-ctx.Done()
			time.Sleep(time.Minute) // the rest of its piece of work
			ended = append(ended, time.Since(from))
		})
		// 11:59:30 for 150 minutes and one; 15:00 until the stop at 15:59 and a minute.
		if want := []time.Duration{151 * time.Minute, 60 * time.Minute}; len(begun) != 2 || !slices.Equal(ended, want) {
			t.Errorf("begun %v, lasted %v", begun, ended)
		}
	})
}

func TestOnce(t *testing.T) {
	s := once{local("2026-05-01 12:00")}
	var _ cron.Schedule = s
	if !s.Next(local("2026-05-01 11:00")).Equal(s.at) || !s.Next(s.at).IsZero() {
		t.Error("a single instant came twice or never")
	}
}
