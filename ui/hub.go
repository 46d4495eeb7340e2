package ui

import (
	"context"
	"sync"
	"time"

	"drumturn/coordinator"
)

// quiet is the least time between two updates of a room's pages.
const quiet = time.Second

// hub wakes the event streams of one room. It watches the room only while
// somebody looks. The first change after a quiet second is told at once; what
// changes within that second is told together at its end.
type hub struct {
	house House
	room  coordinator.RoomID

	mu   sync.Mutex
	subs map[chan struct{}]struct{}
	stop context.CancelFunc
}

func newHub(h House, room coordinator.RoomID) *hub {
	return &hub{house: h, room: room, subs: map[chan struct{}]struct{}{}}
}

// join adds a stream; the channel wakes it, and wakes not taken melt into one.
func (h *hub) join() chan struct{} {
	wake := make(chan struct{}, 1)
	h.mu.Lock()
	defer h.mu.Unlock()
	h.subs[wake] = struct{}{}
	if h.stop == nil {
		ctx, cancel := context.WithCancel(context.Background())
		h.stop = cancel
		changed, unwatch := h.house.Watch(h.room)
		go h.run(ctx, changed, unwatch)
	}
	return wake
}

// leave takes it out; with the last one the watching ends.
func (h *hub) leave(wake chan struct{}) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.subs, wake)
	if len(h.subs) == 0 && h.stop != nil {
		h.stop()
		h.stop = nil
	}
}

// run tells changes, and each new minute because the board's now moves.
func (h *hub) run(ctx context.Context, changed <-chan struct{}, unwatch func()) {
	defer unwatch()
	beat := time.NewTicker(quiet)
	defer beat.Stop()
	minute := h.minute()
	for {
		select {
		case <-ctx.Done():
			return
		case _, ok := <-changed:
			if !ok {
				return
			}
		case <-beat.C:
			if h.minute().Equal(minute) {
				continue
			}
		}
		minute = h.minute()
		h.tell()
		if !pause(ctx, quiet) {
			return
		}
	}
}

func (h *hub) minute() time.Time { return h.house.Now().Truncate(time.Minute) }

func (h *hub) tell() {
	h.mu.Lock()
	defer h.mu.Unlock()
	for wake := range h.subs {
		select {
		case wake <- struct{}{}:
		default:
		}
	}
}

// pause waits; false when ctx ended first.
func pause(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-timer.C:
		return true
	}
}
