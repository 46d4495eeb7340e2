// Package hooks posts what happens to the addresses that the manager has named.
// The history of the rooms is its outbox: what a webhook has not been told of
// yet is what comes behind the last fact that is settled for it, which is stored.
// So nothing is lost by a stop at any instant, and only what was under way, or
// not noted yet, is posted twice, with the same id.
package hooks

import (
	"context"
	"log/slog"
	"maps"
	"net/http"
	"net/url"
	"sync"
	"time"

	"drumturn/coordinator"
	"drumturn/push"
)

const (
	// giveUpAfter is how old an event may be to be still worth posting.
	giveUpAfter = 24 * time.Hour
	// pageOfFacts is how many facts are read at a time.
	pageOfFacts = 200
	// sendWithin bounds one delivery.
	sendWithin = 15 * time.Second
	// lookAgain is how long it is waited after trouble with the history.
	lookAgain = 10 * time.Second
)

// House is the building as the worker needs it.
type House interface {
	Rooms() []coordinator.RoomID
	Committed() (changed <-chan struct{}, stop func())
	People() *coordinator.People
	DoPeople(ctx context.Context, ev coordinator.PeopleEvent) error
}

// Doer posts; push.NewClient makes one that takes the same care as with push services.
type Doer interface {
	Do(*http.Request) (*http.Response, error)
}

// Config is what a Worker is made of.
type Config struct {
	House House
	// FactsAfter reads a room's history on from an id.
	FactsAfter func(ctx context.Context, room coordinator.RoomID, after coordinator.FactID, limit int) ([]coordinator.StoredFact, error)
	Client     Doer
	Clock      push.Clock
	Log        *slog.Logger
}

// Worker posts events. Make it with New, then Run it.
type Worker struct {
	Config
	mu sync.Mutex
	// resting are hosts that failed several times in a row, and until when.
	resting map[string]rest
	// passed is how far each webhook's history was looked through, beyond what is
	// stored: past what it does not want.
	passed map[string]map[coordinator.RoomID]coordinator.FactID
	// busy are the webhooks under way; true: look at it again after that.
	busy map[string]bool
	// nudged is told when something else than a commit is worth a look.
	nudged chan struct{}
}

// New makes a worker.
func New(c Config) *Worker {
	return &Worker{Config: c, resting: map[string]rest{}, passed: map[string]map[coordinator.RoomID]coordinator.FactID{}, busy: map[string]bool{}, nudged: make(chan struct{}, 1)}
}

// Run posts until ctx ends. Each webhook is worked off by itself, so that one
// that does not answer delays no other.
func (w *Worker) Run(ctx context.Context) {
	changed, stop := w.House.Committed()
	defer stop()
	var under sync.WaitGroup
	defer under.Wait()
	for ctx.Err() == nil {
		var next time.Time
		for _, hook := range w.House.People().WebhooksByAge() {
			at := w.dueAt(&hook)
			switch now := w.Clock.Now(); {
			case at.IsZero():
			case at.After(now):
				if next.IsZero() || at.Before(next) {
					next = at
				}
			case w.take(hook.ID):
				under.Go(func() { w.release(hook.ID, w.work(ctx, &hook)) })
			}
		}
		w.wait(ctx, changed, next)
	}
}

// take notes that a webhook is under way; false when it is already, and is
// looked at again afterwards.
func (w *Worker) take(id string) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	if _, under := w.busy[id]; under {
		w.busy[id] = true
		return false
	}
	w.busy[id] = false
	return true
}

// release ends that.
func (w *Worker) release(id string, again bool) {
	w.mu.Lock()
	again = again || w.busy[id]
	delete(w.busy, id)
	w.mu.Unlock()
	if again {
		w.Nudge()
	}
}

// dueAt is when a webhook is to be looked at; zero for one that is over.
func (w *Worker) dueAt(hook *coordinator.Webhook) time.Time {
	st := w.House.People().HookStates[hook.ID]
	if st.Ended {
		return time.Time{}
	}
	at := w.restingUntil(hostOf(hook.URL))
	if st.NextAt.After(at) {
		at = st.NextAt
	}
	if at.IsZero() {
		at = hook.Made
	}
	return at
}

// wait sleeps until something may be due.
func (w *Worker) wait(ctx context.Context, changed <-chan struct{}, next time.Time) {
	var reached <-chan struct{}
	if !next.IsZero() {
		var release func()
		reached, release = w.Clock.At(next)
		defer release()
	}
	select {
	case <-ctx.Done():
	case <-changed:
	case <-w.nudged:
	case <-reached:
	}
}

// Nudge has the worker look again.
func (w *Worker) Nudge() {
	select {
	case w.nudged <- struct{}{}:
	default:
	}
}

// work settles the oldest event that is still to be told to a webhook. It
// reports whether there may be more to do.
func (w *Worker) work(ctx context.Context, hook *coordinator.Webhook) bool {
	st := w.stateOf(hook)
	ev, id, err := w.oldest(ctx, hook, &st)
	if err != nil {
		if ctx.Err() == nil {
			w.Log.Error("the history could not be read for a webhook", "err", err)
			w.rest(hostOf(hook.URL), w.Clock.Now().Add(lookAgain))
		}
		return true
	}
	if ev == nil {
		return false
	}
	w.settle(ctx, hook, &st, ev, id)
	if ctx.Err() != nil {
		return false
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), sendWithin)
	defer cancel()
	if err := w.House.DoPeople(ctx, coordinator.MoveWebhook{State: st}); err != nil {
		w.Log.Error("how far a webhook has come was not stored", "err", err)
		w.rest(hostOf(hook.URL), w.Clock.Now().Add(lookAgain))
	}
	return true
}

// stateOf is how far a webhook has come, as a copy of its own.
func (w *Worker) stateOf(hook *coordinator.Webhook) coordinator.HookState {
	st := w.House.People().HookStates[hook.ID]
	w.mu.Lock()
	passed := w.passed[hook.ID]
	w.mu.Unlock()
	after := map[coordinator.RoomID]coordinator.FactID{}
	for _, room := range w.House.Rooms() {
		after[room] = latest(coordinator.FactID{At: hook.Made}, st.After[room], passed[room])
	}
	st.ID, st.After = hook.ID, after
	return st
}

// latest is the last of some ids.
func latest(ids ...coordinator.FactID) (last coordinator.FactID) {
	for _, id := range ids {
		if id.At.After(last.At) || id.At.Equal(last.At) && id.N > last.N {
			last = id
		}
	}
	return last
}

// oldest finds the oldest event of all rooms that the webhook wants and has not
// been told of, and moves it past what it does not want.
func (w *Worker) oldest(ctx context.Context, hook *coordinator.Webhook, st *coordinator.HookState) (found *coordinator.PublicEvent, id coordinator.FactID, err error) {
	for _, room := range w.House.Rooms() {
		ev, at, err := w.next(ctx, hook, room, st)
		if err != nil {
			return nil, id, err
		}
		if ev != nil && (found == nil || at.At.Before(id.At)) {
			found, id = ev, at
		}
	}
	w.mu.Lock()
	w.passed[hook.ID] = maps.Clone(st.After)
	w.mu.Unlock()
	return found, id, nil
}

// next is the next event of a room that the webhook wants; nil when there is none.
func (w *Worker) next(ctx context.Context, hook *coordinator.Webhook, room coordinator.RoomID, st *coordinator.HookState) (*coordinator.PublicEvent, coordinator.FactID, error) {
	for {
		facts, err := w.FactsAfter(ctx, room, st.After[room], pageOfFacts)
		if err != nil {
			return nil, coordinator.FactID{}, err
		}
		for i := range facts {
			if ev, ok := facts[i].Public(room); ok && hook.Wants(ev.Kind) {
				return &ev, facts[i].ID, nil
			}
			st.After[room] = facts[i].ID
		}
		if len(facts) < pageOfFacts {
			return nil, coordinator.FactID{}, nil
		}
	}
}

func hostOf(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		return ""
	}
	return u.Host
}
