package ui

import (
	"context"
	"sync"
	"time"

	"drumturn/coordinator/usage/hindsight"
)

// hearings keeps what was found of each meter for a while: a week of readings is
// much to read for every look at a page.
type hearings struct {
	mu sync.Mutex
	of map[hindsight.Place]hearing
}

// hearing is how a meter was heard in the last day and week, when it was looked at.
type hearing struct {
	at        time.Time
	day, week hindsight.Hearing
}

// keepHearing is for how long it is shown again.
const keepHearing = 10 * time.Minute

// get is what is kept, or else looked for now.
func (h *hearings) get(ctx context.Context, p *pastScene) (hearing, error) {
	h.mu.Lock()
	kept, ok := h.of[p.at]
	h.mu.Unlock()
	if age := p.now.Sub(kept.at); ok && age >= 0 && age < keepHearing {
		return kept, nil
	}
	both, err := hindsight.Hear(ctx, p.past, p.at, p.now, p.silent(), p.now.AddDate(0, 0, -7), p.now.Add(-24*time.Hour))
	if err != nil {
		return hearing{}, err
	}
	kept = hearing{at: p.now, week: both[0], day: both[1]}
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.of == nil {
		h.of = map[hindsight.Place]hearing{}
	}
	h.of[p.at] = kept
	return kept, nil
}
