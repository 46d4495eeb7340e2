package cycle

import "time"

// Engine watches one machine. It is not safe for use by two goroutines.
//
// Read and Tick return events in a slice that the next call overwrites. now
// never goes back between calls; a reading not newer than the last is ignored.
type Engine interface {
	// Read takes one reading. now is the loop's clock, r.At what the reading stands for.
	Read(now time.Time, r Reading) []Event
	// Tick lets time pass without a reading: silence, and ends that fall due.
	Tick(now time.Time) []Event
	// Next is the earliest instant at which Tick could say something; zero when never.
	Next() time.Time
	// Status is what is known now; it does not change the engine.
	Status() Status
	// Remaining is how long the running cycle still takes; ok is false when none runs.
	Remaining(now time.Time) (e Estimate, ok bool)
	// Checkpoint is the engine's whole memory.
	Checkpoint() (Checkpoint, error)
	// Restore sets the engine to a checkpoint of its own version. ErrVersion
	// means: of another version; the engine is then as new.
	Restore(c Checkpoint) error
}

// Status is what an engine knows at the last call.
type Status struct {
	Running bool
	// Silent means that the meter has not been heard for Settings.SilentAfter.
	Silent bool
	// Start is the begin of the running cycle, or of the last one.
	Start time.Time
	Phase Phase
	// PhaseSince is when Phase began.
	PhaseSince time.Time
	// EnergyWh and PeakW are those of the running cycle so far, or of the last one.
	EnergyWh, PeakW float64
	// LastWork is the newest instant at which the running cycle was seen to work:
	// its end, were it over. Zero in an engine that does not tell.
	LastWork time.Time
	// Last is the newest reading; its At is zero before the first.
	Last Reading
	// Stalled: see the event of that name.
	Stalled bool
}

// Estimate is a remaining time from the instant it was asked: Low <= Median <= High,
// where [Low, High] is meant to hold the truth in 80 of 100 cases. Never negative.
type Estimate struct {
	Median, Low, High time.Duration
	// About marks an estimate without history of this machine behind it.
	About bool
	// Overdue means the cycle should have been over: "any minute now".
	Overdue bool
}

// Checkpoint is an engine's memory, for a restart.
type Checkpoint struct {
	// Engine and Version name the layout of Data.
	Engine  string
	Version int
	// At is the newest reading folded into it.
	At   time.Time
	Data []byte
}
