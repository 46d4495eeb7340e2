package loop

import (
	"sync"
	"sync/atomic"

	"drumturn/coordinator"
)

// board is what a room shows: its newest snapshot with the newest forecasts. The
// loop changes the one, the forecaster the other; readers take no lock.
type board struct {
	shown atomic.Pointer[coordinator.Snapshot]
	watch watchers

	mu        sync.Mutex // orders those who change it
	prospects *coordinator.Prospects
}

// publish shows a newer snapshot, with the forecasts that there are.
func (b *board) publish(s *coordinator.Snapshot) {
	b.mu.Lock()
	b.shown.Store(s.With(b.prospects))
	b.mu.Unlock()
	b.watch.wake()
}

// foretell shows newer forecasts beside what is shown.
func (b *board) foretell(p *coordinator.Prospects) {
	b.mu.Lock()
	b.prospects = p
	b.shown.Store(b.shown.Load().With(p))
	b.mu.Unlock()
	b.watch.wake()
}
