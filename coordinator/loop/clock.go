package loop

import (
	"math"
	"sync"
	"time"
)

// Clock is where now comes from. Everything above the meter drivers takes its
// time from one Clock, so that replays and stories can follow a recording.
type Clock interface {
	Now() time.Time
	// At returns a channel that is closed once the clock has reached t, and a
	// function that releases it earlier.
	At(t time.Time) (reached <-chan struct{}, release func())
}

// Wall is the clock of the machine that the program runs on.
type Wall struct{}

// Now returns the wall's time.
func (Wall) Now() time.Time { return time.Now() }

// At waits in real time.
func (Wall) At(t time.Time) (<-chan struct{}, func()) { return after(time.Until(t)) }

// Fast runs Speed times as fast as the wall, from Start at Since.
type Fast struct {
	Start time.Time // what this clock said at Since
	Since time.Time // an instant of the wall, with its monotonic reading
	Speed float64
}

// Now returns the accelerated time.
func (f Fast) Now() time.Time {
	return f.Start.Add(time.Duration(float64(time.Since(f.Since)) * f.Speed))
}

// At waits for the accelerated time. It rounds up: woken a moment early, whoever
// waits would find nothing due and come back at once, again and again.
func (f Fast) At(t time.Time) (<-chan struct{}, func()) {
	return after(time.Duration(math.Ceil(float64(t.Sub(f.Now())) / f.Speed)))
}

func after(d time.Duration) (<-chan struct{}, func()) {
	done := make(chan struct{})
	timer := time.AfterFunc(max(d, 0), func() { close(done) })
	return done, func() { timer.Stop() }
}

// Manual stands still until it is set. It never goes back.
type Manual struct {
	mu      sync.Mutex
	now     time.Time
	waiting map[chan struct{}]time.Time
}

// NewManual returns a clock that stands at now.
func NewManual(now time.Time) *Manual {
	return &Manual{now: now, waiting: map[chan struct{}]time.Time{}}
}

// Now returns where it stands.
func (m *Manual) Now() time.Time {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.now
}

// Set moves it on to t; an earlier t leaves it where it is.
func (m *Manual) Set(t time.Time) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if t.After(m.now) {
		m.now = t
	}
	for ch, at := range m.waiting {
		if !at.After(m.now) {
			close(ch)
			delete(m.waiting, ch)
		}
	}
}

// At returns a channel that Set closes.
func (m *Manual) At(t time.Time) (<-chan struct{}, func()) {
	m.mu.Lock()
	defer m.mu.Unlock()
	ch := make(chan struct{})
	if !t.After(m.now) {
		close(ch)
		return ch, func() {}
	}
	m.waiting[ch] = t
	return ch, func() {
		m.mu.Lock()
		defer m.mu.Unlock()
		delete(m.waiting, ch)
	}
}
