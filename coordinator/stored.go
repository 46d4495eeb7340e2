package coordinator

import "time"

// Stored is what a store gives back about a unit: the snapshot (state rows and
// detector checkpoints as last committed) and the tail (readings stored after
// each machine's checkpoint, in time order per machine).
type Stored struct {
	Seq uint64
	// At is the At of the last set committed for the unit (readings included).
	At          time.Time
	Rows        []Row
	Checkpoints []MachineCheckpoint
	Tail        []MachineReading
}
