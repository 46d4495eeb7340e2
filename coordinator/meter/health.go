package meter

import (
	"errors"
	"maps"
	"sort"
	"sync"
	"time"
)

// State says what a driver is doing.
type State string

// The states.
const (
	Waiting  State = "waiting"  // Run has not begun
	Running  State = "running"  // its Run runs
	Pausing  State = "pausing"  // it failed and will be started again
	Finished State = "finished" // nothing more will come
	Failed   State = "failed"   // it failed, and a restart cannot mend it
	Stopped  State = "stopped"  // the program is ending
)

// DriverHealth is how one driver does.
type DriverHealth struct {
	Driver string
	State  State
	// Since is when State began.
	Since time.Time
	// Restarts counts how often it was started again.
	Restarts int
	// LastError is what its last failed run returned; empty when none failed.
	LastError   string
	LastErrorAt time.Time
}

// MeterHealth is how one meter does.
type MeterHealth struct {
	Meter, Driver string
	// Heard is when its last reading was taken, by the rooms' clock; zero before the first.
	Heard time.Time
	// Last is that reading.
	Last Sample
	// Silent: nothing was taken for as long as the meter may be quiet. What such
	// a machine does is unknown.
	Silent bool
	// Taken counts the readings that were taken.
	Taken uint64
	// Refused counts those that were not, by reason.
	Refused map[Reason]uint64
	// Failures counts reads that failed and readings that found no room in time.
	Failures uint64
	// Trouble is the last trouble in words, and stands until a reading is taken
	// after it; LastError is the same, and stays.
	Trouble string
	// Reason is the kind of Trouble; empty when there is none.
	Reason      Reason
	LastError   string
	LastErrorAt time.Time
}

// Health is how all drivers and meters do at one instant. It is a copy: nothing changes it.
type Health struct {
	At time.Time
	// Drivers and Meters are sorted by name.
	Drivers []DriverHealth
	Meters  []MeterHealth
}

// Health reports how everything does now.
func (s *Supervisor) Health() Health {
	h := Health{At: s.opts.Clock.Now()}
	for _, name := range s.drivers.Names() {
		d, _ := s.drivers.Get(name)
		d.mu.Lock()
		h.Drivers = append(h.Drivers, d.health)
		d.mu.Unlock()
	}
	s.mu.Lock()
	states := make([]*meterState, 0, len(s.meters))
	for _, state := range s.meters {
		states = append(states, state)
	}
	s.mu.Unlock()
	for _, state := range states {
		h.Meters = append(h.Meters, state.at(h.At, s.opts.SilentAfter(state.name())))
	}
	sort.Slice(h.Meters, func(i, j int) bool { return h.Meters[i].Meter < h.Meters[j].Meter })
	return h
}

// Meter finds a meter's health by name; ok is false when there is none.
func (h *Health) Meter(name string) (m MeterHealth, ok bool) {
	i := sort.Search(len(h.Meters), func(i int) bool { return h.Meters[i].Meter >= name })
	if i < len(h.Meters) && h.Meters[i].Meter == name {
		return h.Meters[i], true
	}
	return MeterHealth{}, false
}

// meterState is the changing health of one meter.
type meterState struct {
	since time.Time // when it was put under supervision

	mu     sync.Mutex
	health MeterHealth
	said   string // the kind of trouble that was logged last, at saidAt
	saidAt time.Time
}

func newMeterState(meter, driver string, since time.Time) *meterState {
	return &meterState{since: since, health: MeterHealth{Meter: meter, Driver: driver, Refused: map[Reason]uint64{}}}
}

// name never changes, so it needs no lock.
func (m *meterState) name() string { return m.health.Meter }

// took notes a reading that is in its room's inbox.
func (m *meterState) took(now time.Time, s Sample) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.health.Heard, m.health.Last, m.health.Trouble, m.health.Reason = now, s, "", ""
	m.health.Taken++
}

// sayAgainAfter is how often the same trouble is worth a line in the log.
const sayAgainAfter = 10 * time.Minute

// failed notes trouble, and reports whether it is worth a line in the log.
func (m *meterState) failed(now time.Time, err error) (news bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	h := &m.health
	h.Trouble, h.Reason, h.LastErrorAt = err.Error(), ReasonOf(err), now
	kind := h.Trouble
	var refusal *Refusal
	if errors.As(err, &refusal) {
		h.Trouble, kind = refusal.Text, string(refusal.Reason)
		h.Refused[refusal.Reason]++
	} else {
		h.Failures++
	}
	h.LastError = h.Trouble
	if kind == m.said && now.Sub(m.saidAt) < sayAgainAfter {
		return false
	}
	m.said, m.saidAt = kind, now
	return true
}

// at copies the health as it is now.
func (m *meterState) at(now time.Time, silentAfter time.Duration) MeterHealth {
	m.mu.Lock()
	defer m.mu.Unlock()
	h := m.health
	h.Refused = maps.Clone(h.Refused)
	last := m.since
	if h.Heard.After(last) {
		last = h.Heard
	}
	h.Silent = now.Sub(last) >= silentAfter
	return h
}
