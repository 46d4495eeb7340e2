package usage

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

	"github.com/robfig/cron/v3"

	"drumturn/coordinator"
)

// Options of a Keeper. Zone is required.
type Options struct {
	// Zone is the building's.
	Zone *time.Location
	// Schedule is when the night's work is due; NightlySchedule when empty.
	Schedule string
	// KeepReadings is how many days meter readings are kept; 730 when zero.
	KeepReadings int
	// BackupDir is where backups go; empty for none.
	BackupDir string
	// KeepBackups is how many are kept there; 14 when zero.
	KeepBackups int
	// Monthly says how monthly reports are made.
	Monthly MonthlyOptions
	// Now is the clock; time.Now when nil.
	Now func() time.Time
	// Log is told of failures, once each; slog.Default() when nil.
	Log *slog.Logger
}

const (
	defaultKeepDays     = 90
	defaultKeepReadings = 730
	defaultKeepBackups  = 14
	// hourly is when the keeper looks for nights that were missed.
	hourly = "40 * * * *"
	// settle is how long after the start it first looks, so that the rooms have
	// taken up their work.
	settle = time.Minute
	// limit is how long one run may take.
	limit = 2 * time.Hour
	// farBack is how many nights are made up for at most.
	farBack = 400
)

// Keeper does the housekeeping of a building.
type Keeper struct {
	store Store
	rooms func() []Room
	o     Options
	night cron.Schedule
	// monthly is when the report of the month before is due.
	monthly cron.Schedule
	mu      sync.Mutex // one run at a time
	runs    atomic.Uint64
}

// NewKeeper makes a keeper. rooms is asked at each run, so that changed rules count.
func NewKeeper(s Store, rooms func() []Room, o Options) (*Keeper, error) {
	if o.Zone == nil {
		return nil, errors.New("housekeeping needs the building's time zone")
	}
	if o.Schedule == "" {
		o.Schedule = NightlySchedule
	}
	night, err := parseSchedule(o.Schedule)
	if err != nil {
		return nil, err
	}
	if o.Monthly.Schedule == "" {
		o.Monthly.Schedule = MonthlySchedule
	}
	monthly, err := parseSchedule(o.Monthly.Schedule)
	if err != nil {
		return nil, err
	}
	if o.KeepReadings <= 0 {
		o.KeepReadings = defaultKeepReadings
	}
	if o.KeepBackups <= 0 {
		o.KeepBackups = defaultKeepBackups
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	return &Keeper{store: s, rooms: rooms, o: o, night: night, monthly: monthly}, nil
}

// Run keeps house until ctx ends, and returns when no work is under way. A
// minute after the start, and then every hour, it makes up for missed nights.
func (k *Keeper) Run(ctx context.Context) {
	tick, err := parseSchedule(hourly)
	if err != nil {
		panic(err) // a constant
	}
	job := func(ctx context.Context, now time.Time) {
		if err := k.CatchUp(ctx, now); err != nil && ctx.Err() == nil {
			k.o.Log.Error("housekeeping failed; it is tried again within the hour", "err", err)
		}
	}
	runBySchedules(ctx, k.o.Zone, k.o.Log, limit, k.o.Now, job, k.night, k.monthly, tick, once{time.Now().Add(settle)})
}

// CatchUp does what is due at now and was not done: the sums of each day that
// has none, reports of months that have none, then once for the last night the shortening of history and the
// backup. A part that fails does not keep the others from being done; it is not
// marked as done, and the errors are joined.
func (k *Keeper) CatchUp(ctx context.Context, now time.Time) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	defer k.runs.Add(1)
	last, ok := k.lastDue(now)
	if !ok {
		return nil
	}
	var errs []error
	rooms := k.rooms()
	errs = append(errs, guard("marks of days to come", func() error { return k.forgetToCome(ctx, rooms, now) }))
	for _, r := range rooms {
		errs = append(errs, guard("packing the sums of room "+string(r.ID), func() error { return k.repack(ctx, r.ID, now) }))
	}
	for _, r := range rooms {
		errs = append(errs, guard("daily sums of room "+string(r.ID), func() error { return k.rollUps(ctx, &r, last, now) }))
	}
	for _, r := range rooms {
		errs = append(errs, guard("sums made anew of room "+string(r.ID), func() error { return k.refresh(ctx, &r, last, now) }))
	}
	for _, r := range rooms {
		errs = append(errs, guard("measuring the cycles of room "+string(r.ID), func() error { return k.measure(ctx, &r, last, now) }))
	}
	errs = append(errs, guard("monthly report", func() error { return k.months(ctx, now) }))
	for _, r := range withBuilding(rooms) {
		errs = append(errs, guard("shortening the history of unit "+string(r.ID), func() error {
			return k.once(ctx, "retain/"+string(r.ID), last, now, func() error { return k.retain(ctx, r, now) })
		}))
	}
	if k.o.BackupDir != "" {
		errs = append(errs, guard("backup", func() error {
			return k.once(ctx, "backup", last, now, func() error { return k.backup(ctx, DateOf(now, k.o.Zone)) })
		}))
	}
	return errors.Join(errs...)
}

// refresh makes outdated sums anew; what is too much for one run is done in the next.
func (k *Keeper) refresh(ctx context.Context, room *Room, last Date, now time.Time) error {
	job := "refresh/" + string(room.ID)
	done, err := k.store.JobDone(ctx, job, last.String())
	if err != nil || done {
		return err
	}
	more, err := refresh(ctx, k.store, room, k.o.Zone, now, k.o.KeepReadings)
	if err != nil || more {
		return err
	}
	if err := forgetHomes(ctx, k.store, room, now, k.o.Zone); err != nil {
		return err
	}
	return k.store.MarkJob(ctx, job, last.String(), now)
}

// Edition counts the runs that may have changed sums.
func (k *Keeper) Edition() uint64 { return k.runs.Load() }

// guard names the part in its error, and makes one of a panic.
func guard(what string, part func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v\n%s", p, debug.Stack())
		}
		if err != nil {
			err = fmt.Errorf("%s: %w", what, err)
		}
	}()
	return part()
}

// once runs a job unless it was done for the date, and marks it.
func (k *Keeper) once(ctx context.Context, job string, date Date, now time.Time, do func() error) error {
	done, err := k.store.JobDone(ctx, job, date.String())
	if err != nil || done {
		return err
	}
	if err := do(); err != nil {
		return err
	}
	return k.store.MarkJob(ctx, job, date.String(), now)
}

// nightAfter is when the work for a local day is due: the first time of the
// schedule on the next day or later.
func (k *Keeper) nightAfter(d Date) time.Time {
	return k.night.Next(d.End(k.o.Zone).Add(-time.Second).In(k.o.Zone))
}

// lastDue is the last local day whose night has come; not ok when there is none
// within the reach.
func (k *Keeper) lastDue(now time.Time) (Date, bool) {
	d := DateOf(now, k.o.Zone)
	for range farBack {
		d = d.Add(-1)
		if t := k.nightAfter(d); !t.IsZero() && !t.After(now) {
			return d, true
		}
	}
	return Date{}, false
}

// rollUps makes the sums of each day that has none.
func (k *Keeper) rollUps(ctx context.Context, room *Room, last Date, now time.Time) error {
	_, err := k.eachMissing(ctx, "rollup/"+string(room.ID), room, last, now, rollUp)
	return err
}

// measure measures the cycles of each day on which that was not done, and looks
// for wear when there were some.
func (k *Keeper) measure(ctx context.Context, room *Room, last Date, now time.Time) error {
	days, err := k.eachMissing(ctx, "wear/"+string(room.ID), room, last, now, measureDay)
	if err != nil || days == 0 {
		return err
	}
	return wearNight(ctx, k.store, room)
}

// daily is a job of one room and local date, which stores its mark with what it made.
type daily func(ctx context.Context, s Store, room *Room, date Date, zone *time.Location, mark coordinator.JobMark) error

// eachMissing does a job for each day for which it was not done, oldest first,
// and stops at the first that fails, so that no gap is left behind. It says how
// many days it did.
func (k *Keeper) eachMissing(ctx context.Context, job string, room *Room, last Date, now time.Time, do daily) (int, error) {
	days, err := k.missing(ctx, job, room.ID, last)
	if err != nil {
		return 0, err
	}
	for i := len(days) - 1; i >= 0; i-- {
		mark := coordinator.JobMark{Job: job, Date: days[i].String(), At: now}
		if err := do(ctx, k.store, room, days[i], k.o.Zone, mark); err != nil {
			return 0, fmt.Errorf("%s: %w", days[i], err)
		}
	}
	return len(days), nil
}

// missing lists the days without sums, newest first, back to the last that has
// them or to the room's first fact.
func (k *Keeper) missing(ctx context.Context, job string, room coordinator.RoomID, last Date) (days []Date, err error) {
	oldest := last
	first := func(f coordinator.Fact) bool { oldest = DateOf(f.At, k.o.Zone); return false }
	if err := k.store.Facts(ctx, room, time.Time{}, last.End(k.o.Zone), first); err != nil {
		return nil, err
	}
	for d := last; !d.Before(oldest) && len(days) < farBack; d = d.Add(-1) {
		done, err := k.store.JobDone(ctx, job, d.String())
		if err != nil {
			return nil, err
		}
		if done {
			break
		}
		days = append(days, d)
	}
	return days, nil
}
