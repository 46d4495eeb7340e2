package loop

import "sync"

// watchers are those who want to know of new snapshots.
type watchers struct {
	mu  sync.Mutex
	all map[chan struct{}]struct{}
}

// add returns a channel with room for one value, and a function that removes it.
func (w *watchers) add() (<-chan struct{}, func()) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.all == nil {
		w.all = map[chan struct{}]struct{}{}
	}
	ch := make(chan struct{}, 1)
	w.all[ch] = struct{}{}
	return ch, func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		delete(w.all, ch)
	}
}

// wake leaves a value for each watcher that has none yet; it never blocks.
func (w *watchers) wake() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for ch := range w.all {
		select {
		case ch <- struct{}{}:
		default:
		}
	}
}
