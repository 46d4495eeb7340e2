package hooks

import (
	"context"
	"time"

	"drumturn/coordinator"
)

// Trial is posted when a manager tries an address. It is no event: nothing
// happened, and it belongs to no room.
type Trial struct {
	ID   string    `json:"id"`
	At   time.Time `json:"at"`
	Kind string    `json:"kind"`
}

// trialWord is its id and its kind.
const trialWord = "trial"

// Try posts a trial to a webhook at once, signed and guarded as events are, and
// gives what was answered; why is set when nothing was. What waits to be posted is
// not touched by it. The error is a refusal.
func (w *Worker) Try(ctx context.Context, id string) (status int, why string, err error) {
	hook, ok := w.House.People().Webhooks[id]
	if !ok {
		return 0, "", coordinator.Refuse(coordinator.NotFound, "webhook.unknown", "There is no such webhook any more.")
	}
	now := w.Clock.Now()
	status, why = w.post(ctx, &hook, trialWord, Trial{trialWord, now.UTC(), trialWord}, now)
	return status, why, nil
}
