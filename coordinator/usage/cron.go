package usage

import (
	"context"
	"log/slog"
	"time"

	"github.com/robfig/cron/v3"
)

// runBySchedules runs job at each schedule's times until ctx ends, then waits
// for it to return. The job is given the time; its context ends with ctx or
// after limit. While it runs, further times are left out, and a panic in it is
// logged and does not keep it from its next time.
func runBySchedules(ctx context.Context, zone *time.Location, log *slog.Logger, limit time.Duration, now func() time.Time, job func(context.Context, time.Time), schedules ...cron.Schedule) {
	logger := cronLog{log}
	// Recover must be the inner of the two: outside, one panic would leave the
	// job marked as running for ever. One wrapped job serves all schedules, so
	// that they do not overlap either.
	chain := cron.NewChain(cron.SkipIfStillRunning(logger), cron.Recover(logger))
	wrapped := chain.Then(cron.FuncJob(func() {
		inner, cancel := context.WithTimeout(ctx, limit)
		defer cancel()
		job(inner, now())
	}))
	c := cron.New(cron.WithLocation(zone), cron.WithLogger(logger))
	for _, s := range schedules {
		c.Schedule(s, wrapped)
	}
	c.Start()
	<-ctx.Done()
	<-c.Stop().Done()
}

// once is a schedule of a single instant.
type once struct{ at time.Time }

// Next is the instant while it lies ahead, then never.
func (o once) Next(t time.Time) time.Time {
	if t.Before(o.at) {
		return o.at
	}
	return time.Time{}
}

// cronLog passes on what the library logs; its ordinary chatter is for debugging.
type cronLog struct{ log *slog.Logger }

func (c cronLog) Info(msg string, keysAndValues ...any) {
	c.log.Debug("schedule: "+msg, keysAndValues...)
}

func (c cronLog) Error(err error, msg string, keysAndValues ...any) {
	c.log.Error("housekeeping: "+msg, append(keysAndValues, "err", err)...)
}
