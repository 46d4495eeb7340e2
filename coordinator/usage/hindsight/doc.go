// Package hindsight looks at what is stored of one machine: its cycles, newest
// first; one of them told again by a fresh engine; how its meter has done. It
// reads a bounded piece of the store for each, off the rooms' loops.
package hindsight

import (
	"context"
	"time"

	"drumturn/coordinator"
)

// Facts reads a unit's history: facts with from <= At < to in the order of time
// until fn says false.
type Facts interface {
	Facts(ctx context.Context, unit coordinator.Unit, from, to time.Time, fn func(coordinator.Fact) bool) error
}

// Readings reads what is stored of a machine's meter with from <= At < to in the
// order of time until fn says false.
type Readings interface {
	Readings(ctx context.Context, unit coordinator.Unit, machine coordinator.MachineID, from, to time.Time, fn func(coordinator.MachineReading) bool) error
}

// Place is a machine in its room.
type Place struct {
	Room    coordinator.RoomID
	Machine coordinator.MachineID
}

// Meter is how one meter does now.
type Meter struct {
	// Heard is when its last reading came; Watts and Wh are that reading's, not a
	// number where it has none.
	Heard     time.Time
	Watts, Wh float64
	Silent    bool
	// Taken, Refused and Failures count readings since the program's start: those
	// that were taken, those that were not believed, and reads that failed.
	Taken, Refused, Failures uint64
	// Trouble is its last trouble in words, as the driver has it; empty when there is none.
	Trouble string
	// TroubleKind is its kind, as the catalogue has it at setup.meter.
	TroubleKind string
	// Skew is how far its clock is behind the program's, where it tells a time.
	Skew    time.Duration
	HasSkew bool
}
