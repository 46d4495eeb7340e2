package cycle

import (
	"encoding/json"
	"fmt"
	"math"
	"time"
)

// The layout of a learned engine's checkpoint.
const (
	learnedName    = "learned"
	learnedVersion = 2
)

// learnedMemory is all that a Learned knows besides its settings; what is not
// in it is reckoned from it.
type learnedMemory struct {
	// ReadAt, ReadW and ReadWh are the newest reading, with what it had; HeardAt
	// is the now of its call.
	ReadAt        time.Time
	ReadW, ReadWh float64
	HasW, HasWh   bool
	HeardAt       time.Time
	// LastAt is the newest reading whose power is known: Watts, as a code Code.
	LastAt time.Time
	Watts  float64
	Code   uint8
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
	// StallAt is when the running cycle will have gone on for far too long.
	StallAt          time.Time
	StartWh, CycleWh float64
	// Closed is where in the programme the cycle was declared over; Kept says
	// that it is the newest of the past runs.
	Closed place
	Kept   bool
	// ClosedW is how low the power had fallen then, RestW how low it has since, W.
	ClosedW, RestW float64
	// PeakW is the second highest power, TopW the highest.
	PeakW, TopW float64
	// WorkAt is the newest reading at work, WorkWh the energy tally at it.
	WorkAt  time.Time
	WorkWh  float64
	Flat    flat
	Lull    lull
	Seam    seam
	Train   train
	Cycle   histogram
	Profile profile
	Phases  phases
	// Stops are pauses of the running cycle that Pauses does not count yet.
	Stops []stopped
	// NeedLeast is what no lull is over before.
	NeedLeast time.Duration
	// AfterGlow is how much of the time after the cycle was learned from.
	AfterGlow time.Duration

	Levels  levels
	Pauses  pauses
	Rests   rests
	Past    programmes
	Trust   conformal
	Endings endings
}

// cadence is how often the meter reports at work or below.
func (m *learnedMemory) cadence(high bool) *cadence {
	if high {
		return &m.Meter[1]
	}
	return &m.Meter[0]
}

// set takes over what the settings say of the meter, also of one that had other
// settings when the memory was written.
func (m *learnedMemory) set(s Settings) {
	m.Energy.Power.MaxGap = s.SilentAfter
	m.Energy.Register.Modulus = s.RegisterModulusWh
	m.Derived.Register.Modulus = s.RegisterModulusWh
}

// last is the newest reading.
func (m *learnedMemory) last() Reading {
	r := Reading{At: m.ReadAt, Watts: math.NaN(), Wh: math.NaN()}
	if m.HasW {
		r.Watts = m.ReadW
	}
	if m.HasWh {
		r.Wh = m.ReadWh
	}
	return r
}

// keep notes the newest reading.
func (m *learnedMemory) keep(r Reading) {
	m.ReadAt, m.ReadW, m.ReadWh = r.At, 0, 0
	if m.HasW = isFinite(r.Watts); m.HasW {
		m.ReadW = r.Watts
	}
	if m.HasWh = isFinite(r.Wh); m.HasWh {
		m.ReadWh = r.Wh
	}
}

func isFinite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// Checkpoint implements Engine.
func (l *Learned) Checkpoint() (Checkpoint, error) {
	if l.mem.Running {
		l.follow()
	}
	data, err := json.Marshal(&l.mem)
	if err != nil {
		return Checkpoint{}, fmt.Errorf("learned engine: write checkpoint: %w", err)
	}
	return Checkpoint{Engine: learnedName, Version: learnedVersion, At: l.mem.ReadAt, Data: data}, nil
}

// Restore implements Engine. Data that cannot be read leaves the engine as new, too.
func (l *Learned) Restore(c Checkpoint) error {
	l.clear()
	if c.Engine != learnedName || c.Version < 1 || c.Version > learnedVersion {
		return fmt.Errorf("learned engine: restore %s %d: %w", c.Engine, c.Version, ErrVersion)
	}
	var m learnedMemory
	if err := json.Unmarshal(c.Data, &m); err != nil {
		return fmt.Errorf("learned engine: restore: %w", err)
	}
	m.migrate(c.Version)
	if err := m.check(c.At); err != nil {
		return fmt.Errorf("learned engine: restore: %w", err)
	}
	fresh := l.mem
	l.mem = m
	l.mem.set(l.s)
	l.mem.Profile.Codes = append(fresh.Profile.Codes, m.Profile.Codes...)
	l.mem.Profile.Began = append(fresh.Profile.Began, m.Profile.Began...)
	l.mem.Stops = append(fresh.Stops, m.Stops...)
	l.mem.Trust.Said = fresh.Trust.Said
	if m.Running {
		l.rematch()
	}
	return nil
}

// migrate makes a memory of an older layout one of this.
func (m *learnedMemory) migrate(version int) {
	if version < 2 {
		// The place of a lull was reckoned at its begin.
		m.Lull.Placed = m.Lull.Active
		m.Profile.Began = make([]byte, len(m.Profile.Codes))
	}
	// Early ones have it without a bound where there was no strong phase.
	m.Lull.Stop.Since = min(m.Lull.Stop.Since, saneTime)
	for i := range m.Stops {
		m.Stops[i].Since = min(m.Stops[i].Since, saneTime)
	}
}
