package usage

import (
	"context"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// Facts reads a unit's history: facts with from <= At < to in the order of time
// until fn says false.
type Facts interface {
	Facts(ctx context.Context, unit coordinator.Unit, from, to time.Time, fn func(coordinator.Fact) bool) error
}

// Rollups reads stored sums by key; from <= key < to, in order.
type Rollups interface {
	Rollups(ctx context.Context, from, to string, fn func(key string, value []byte) bool) error
}

// RollupWriter stores sums, and the mark of the job that made them, at once.
type RollupWriter interface {
	PutRollups(ctx context.Context, mark coordinator.JobMark, sums ...coordinator.Rollup) error
}

// Readings reads a machine's readings with from <= At < to in the order of time
// until fn says false.
type Readings interface {
	Readings(ctx context.Context, unit coordinator.Unit, machine coordinator.MachineID, from, to time.Time, fn func(coordinator.MachineReading) bool) error
}

// Jobs remembers which job was done for which local date.
type Jobs interface {
	JobDone(ctx context.Context, job, date string) (bool, error)
	MarkJob(ctx context.Context, job, date string, at time.Time) error
	ForgetJobs(ctx context.Context, job, from string) (bool, error)
}

// Retainer shortens a unit's history by a bounded piece, and reports whether more is left.
type Retainer interface {
	Retain(ctx context.Context, unit coordinator.Unit, byPerson, readings time.Time) (more bool, err error)
}

// Backuper writes a consistent copy of everything to a new file.
type Backuper interface {
	Backup(ctx context.Context, path string) error
}

// Store is what housekeeping needs of a store.
type Store interface {
	Facts
	Rollups
	RollupWriter
	Readings
	Jobs
	Retainer
	Backuper
}

// Room is what housekeeping must know about a room.
type Room struct {
	ID coordinator.RoomID
	// KeepDays is how many days history is kept by person; 90 when not positive.
	KeepDays int
	// Machines are those of the room, in its order.
	Machines []coordinator.MachineID
	// Kinds says what each machine is.
	Kinds map[coordinator.MachineID]queue.Kind
	// CallAfter is how long an uncollected load keeps others from being called; 0
	// for as long as it is there.
	CallAfter time.Duration
	// Hours are the opening hours that hold now.
	Hours queue.Hours
	// Power are the settings of the machines' engines.
	Power map[coordinator.MachineID]cycle.Settings
	// Tariffs are the prices of energy.
	Tariffs coordinator.Tariffs
	// PerHome: the house rules want sums for each home.
	PerHome bool
}
