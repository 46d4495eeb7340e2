package cycle

import (
	"encoding/json"
	"fmt"
	"math"
	"time"
)

// The layout of a fixed rule's checkpoint.
const (
	fixedName    = "fixed"
	fixedVersion = 1
)

// fixedMemory is all that a Fixed knows besides its settings. It has no pointer
// but the lengths of past runs, so that folding a reading allocates nothing.
type fixedMemory struct {
	// LastAt, LastWatts and LastWh are the newest reading, HeardAt the now of its call.
	LastAt            time.Time
	LastWatts, LastWh fixedNumber
	HeardAt           time.Time
	// High says on which side of the threshold the newest known power is, Strong
	// whether it is work beyond doubt.
	High, Strong bool
	Silent       bool
	Rise         fixedRise

	Energy  IntegratorTally
	Derived RegisterPower

	// The running cycle, or the last one. StartWh, WorkWh and LowWh are what the
	// energy tally showed at Start, at WorkAt and at LowAt.
	Running, Stalled bool
	Start            time.Time
	StartWh, CycleWh float64
	PeakW            float64
	// WorkAt is the newest reading that showed work.
	WorkAt time.Time
	WorkWh float64
	// Low says that power is below the threshold since LowAt; LowMaxW is the
	// highest since then.
	Low            bool
	LowAt          time.Time
	LowWh, LowMaxW float64
	// Hole is the hole in the readings that the cycle has not come out of yet.
	Hole time.Duration

	Phase, Coming     Phase
	PhaseAt, ComingAt time.Time

	Runs    LastRun
	Standby fixedStandby
	// Short is the length of the last run that was far shorter than all others.
	Short time.Duration
}

// Checkpoint implements Engine.
func (f *Fixed) Checkpoint() (Checkpoint, error) {
	data, err := json.Marshal(&f.mem)
	if err != nil {
		return Checkpoint{}, fmt.Errorf("fixed rule: write checkpoint: %w", err)
	}
	return Checkpoint{Engine: fixedName, Version: fixedVersion, At: f.mem.LastAt, Data: data}, nil
}

// Restore implements Engine. Data that cannot be read leaves the engine as new, too.
func (f *Fixed) Restore(c Checkpoint) error {
	f.clear()
	if c.Engine != fixedName || c.Version != fixedVersion {
		return fmt.Errorf("fixed rule: restore %s %d: %w", c.Engine, c.Version, ErrVersion)
	}
	var m fixedMemory
	if err := json.Unmarshal(c.Data, &m); err != nil {
		return fmt.Errorf("fixed rule: restore: %w", err)
	}
	if n := len(m.Runs.Lengths); n > lastRunKeeps {
		m.Runs.Lengths = m.Runs.Lengths[n-lastRunKeeps:]
	}
	fresh := f.mem
	f.mem = m
	f.mem.Energy.Power.MaxGap = fresh.Energy.Power.MaxGap
	f.mem.Energy.Register.Modulus = fresh.Energy.Register.Modulus
	f.mem.Derived.Register.Modulus = fresh.Derived.Register.Modulus
	return nil
}

// fixedNumber is a number that may be none: JSON has no word for that but null.
type fixedNumber float64

// MarshalJSON writes null for what is not a number.
func (n fixedNumber) MarshalJSON() ([]byte, error) {
	if v := float64(n); !math.IsNaN(v) && !math.IsInf(v, 0) {
		return json.Marshal(v)
	}
	return []byte("null"), nil
}

// UnmarshalJSON reads null as not a number.
func (n *fixedNumber) UnmarshalJSON(data []byte) error {
	if string(data) == "null" {
		*n = fixedNumber(math.NaN())
		return nil
	}
	return json.Unmarshal(data, (*float64)(n))
}
