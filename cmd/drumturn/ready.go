package main

import (
	"context"
	"strconv"
	"sync"
	"time"

	"drumturn/coordinator"
)

// readyWithin bounds each question of ready.
const readyWithin = 2 * time.Second

// readyFor is how long an answer holds: strangers may ask, and each answer costs
// a write to the disk.
const readyFor = 5 * time.Second

// readiness is the last answer.
type readiness struct {
	mu    sync.Mutex
	at    time.Time
	parts map[string]string
	ok    bool
}

// of asks the program, or answers as it did a moment ago.
func (r *readiness) of(a *app) func(context.Context) (map[string]string, bool) {
	return func(ctx context.Context) (map[string]string, bool) {
		r.mu.Lock()
		defer r.mu.Unlock()
		if time.Since(r.at) >= readyFor {
			r.parts, r.ok = a.ready(context.WithoutCancel(ctx))
			r.at = time.Now()
		}
		return r.parts, r.ok
	}
}

// ready says whether the program can do its work: the store takes a commit, and
// every loop answers. What meters do is said too, but a silent meter is no reason
// to start the program anew.
func (a *app) ready(ctx context.Context) (parts map[string]string, ok bool) {
	parts, ok = map[string]string{"store": "ok", "rooms": "ok", "people": "ok"}, true
	ask := func(part string, do func(context.Context) error) {
		ctx, cancel := context.WithTimeout(ctx, readyWithin)
		defer cancel()
		if err := do(ctx); err != nil {
			a.log.Error("not ready", "part", part, "err", err)
			parts[part], ok = "failing: see the log", false
		}
	}
	ask("store", func(ctx context.Context) error { return a.store.MarkJob(ctx, "ready", "last", a.clock.Now()) })
	ask("rooms", func(ctx context.Context) error {
		for _, id := range a.house.Rooms() {
			if _, err := a.house.Do(ctx, id, coordinator.Tick{}); err != nil {
				return err
			}
		}
		return nil
	})
	// Signing out a session that there is not: nothing changes, and the loop answers.
	ask("people", func(ctx context.Context) error { return a.house.DoPeople(ctx, coordinator.SignOut{}) })
	heard := 0
	meters := a.meters.Health().Meters
	for i := range meters {
		if !meters[i].Silent {
			heard++
		}
	}
	parts["meters"] = strconv.Itoa(heard) + " of " + strconv.Itoa(len(meters)) + " heard"
	return parts, ok
}
