// Package coordinator is the pure core of drumturn. A Room takes events through
// Step and answers with the changes to store and the notices to send; People
// does the same for the building's homes, persons and sessions. Time and random
// tokens are passed in; nothing in here does I/O.
package coordinator

import (
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// RoomID names a room of the building. It has no "/" in it.
type RoomID string

// The ids shared with the queue.
type (
	PersonID  = queue.PersonID
	HomeID    = queue.HomeID
	MachineID = queue.MachineID
	TurnID    = queue.TurnID
)

// LoadID numbers a load within its room, from 1. Zero means no load.
type LoadID uint64

// Machine is the wiring of one machine, from the building file.
type Machine struct {
	queue.Machine
	// Meter is the name of the meter in front of it; empty for one without.
	Meter string
	// RatedW is the machine's highest draw, PlugW what its plug or meter is
	// rated for; W, 0 when the building file does not say.
	RatedW, PlugW float64
	// Power are the settings of its cycle engine.
	Power cycle.Settings
}

// Plan is the wiring of one room.
type Plan struct {
	ID       RoomID
	Name     string
	Zone     *time.Location
	Machines []Machine
	// Seed are the rules of a room that has none stored yet.
	Seed Rules
}
