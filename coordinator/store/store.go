// Package store keeps a building on disk: change sets in, snapshot and tail
// out. It is the one package that imports bbolt, and no bbolt type crosses its
// border.
package store

import (
	"context"
	"time"

	"drumturn/coordinator"
)

// Store is what keeps a building. Package store implements it on a file; the
// conformance suite in that package holds any other implementation to the same.
//
// Every method may be called from any goroutine.
type Store interface {
	// Commit stores the sets in one transaction: all of them or none. It answers
	// ErrSequence when a set expects another sequence than its unit has. The caller
	// leaves what the sets point to as it is from then on.
	Commit(ctx context.Context, sets ...coordinator.ChangeSet) error
	// Load reads a unit; a unit never seen is empty with Seq 0.
	Load(ctx context.Context, unit coordinator.Unit) (coordinator.Stored, error)

	// DueDeliveries lists pending outbox rows with NextAt <= now, oldest first, at
	// most limit. It leaves out those whose key inHand (nil: none) says the caller
	// has in hand, and asks inHand about every row up to the last that it lists.
	DueDeliveries(ctx context.Context, now time.Time, limit int, inHand func(key []byte) bool) ([]coordinator.Delivery, error)
	// NextDelivery is the earliest NextAt of a pending row; zero when there is none.
	NextDelivery(ctx context.Context) (time.Time, error)
	// RecordDeliveries writes what became of rows. A row withdrawn meanwhile stays
	// withdrawn, but keeps the new Devices and Told. Newer is the store's: what a
	// row says of it is not recorded.
	RecordDeliveries(ctx context.Context, rows ...coordinator.Delivery) error
	// Deliveries lists the newest rows, whatever their state, at most limit, newest first.
	Deliveries(ctx context.Context, limit int) ([]coordinator.Delivery, error)
	// DeliveriesTo lists the newest rows about a person, told or not, at most
	// limit, newest first.
	DeliveriesTo(ctx context.Context, person coordinator.PersonID, limit int) ([]coordinator.Delivery, error)

	// Facts calls fn for each fact of a unit with from <= At < to, in time order, until fn says false.
	Facts(ctx context.Context, unit coordinator.Unit, from, to time.Time, fn func(coordinator.Fact) bool) error
	// FactsAfter lists the facts of a unit that come after the one with the id (zero:
	// all), oldest first, at most limit.
	FactsAfter(ctx context.Context, unit coordinator.Unit, after coordinator.FactID, limit int) ([]coordinator.StoredFact, error)
	// Readings calls fn for each stored reading of a machine with from <= At < to, in time order, until fn says false.
	Readings(ctx context.Context, unit coordinator.Unit, machine coordinator.MachineID, from, to time.Time, fn func(coordinator.MachineReading) bool) error

	// JobDone reports whether a job ran for a local date; MarkJob records it.
	JobDone(ctx context.Context, job, date string) (bool, error)
	MarkJob(ctx context.Context, job, date string, at time.Time) error
	// ForgetJobs takes back the marks of a job for a date and later ones, and reports
	// whether there were any.
	ForgetJobs(ctx context.Context, job, from string) (bool, error)
	// PutRollups writes (replacing, or with a nil value deleting) sums, and marks
	// the job that made them, in one transaction: all of it or nothing.
	PutRollups(ctx context.Context, mark coordinator.JobMark, sums ...coordinator.Rollup) error
	// Rollups calls fn for the sums with from <= key < to in order, until fn says
	// false; an empty to has no end. It reads little more than it calls fn for.
	Rollups(ctx context.Context, from, to string, fn func(key string, value []byte) bool) error
	// Retain blanks Person and Home in facts before byPerson, and deletes readings before readings
	// and settled outbox rows before byPerson. It does a bounded piece of work and reports whether more is left.
	Retain(ctx context.Context, unit coordinator.Unit, byPerson, readings time.Time) (more bool, err error)

	// Backup writes a consistent copy of the whole store to a new file at path, while running.
	Backup(ctx context.Context, path string) error
	Close() error
}
