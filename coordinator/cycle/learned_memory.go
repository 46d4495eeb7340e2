package cycle

import (
	"encoding/json"
	"fmt"
	"time"
)

// The layout of a learned engine's checkpoint.
const (
	learnedName    = "learned"
	learnedVersion = 1
)

// learnedMemory is all that a Learned knows besides its settings; what is not
// in it is reckoned from it.
type learnedMemory struct {
	// Last is the newest reading, Watts its power, HeardAt the now of its call.
	Last    Reading
	Watts   float64
	HeardAt time.Time
	// High says whether the newest reading was at work.
	High   bool
	Silent bool
	// Meter is how often the meter reports, below work and at work.
	Meter   [2]cadence
	Energy  IntegratorTally
	Derived RegisterPower
	Onset   onset

	// The running cycle, or the last one.
	Running, Stalled bool
	Start, End       time.Time
	StartWh, CycleWh float64
	// Closed is where in the programme the cycle was declared over; Kept says
	// that it is the newest of the past runs.
	Closed place
	Kept   bool
	// PeakW is the second highest power, TopW the highest.
	PeakW, TopW float64
	// WorkAt is the newest reading at work, WorkWh the energy tally at it.
	WorkAt  time.Time
	WorkWh  float64
	Flat    flat
	Lull    lull
	Seam    seam
	Cycle   histogram
	Profile profile
	Phases  phases
	Outlook outlook
	// AfterGlow is how much of the time after the cycle was learned from.
	AfterGlow time.Duration

	Levels  levels
	Pauses  pauses
	Past    programmes
	Trust   conformal
	Endings endings
}

func (m *learnedMemory) high() bool { return m.High }

// cadence is how often the meter reports at work or below.
func (m *learnedMemory) cadence(high bool) *cadence {
	if high {
		return &m.Meter[1]
	}
	return &m.Meter[0]
}

// Checkpoint implements Engine.
func (l *Learned) Checkpoint() (Checkpoint, error) {
	data, err := json.Marshal(&l.mem)
	if err != nil {
		return Checkpoint{}, fmt.Errorf("learned engine: write checkpoint: %w", err)
	}
	return Checkpoint{Engine: learnedName, Version: learnedVersion, At: l.mem.Last.At, Data: data}, nil
}

// Restore implements Engine.
func (l *Learned) Restore(c Checkpoint) error {
	l.clear()
	if c.Engine != learnedName || c.Version != learnedVersion {
		return fmt.Errorf("learned engine: restore %s %d: %w", c.Engine, c.Version, ErrVersion)
	}
	return nil
}
