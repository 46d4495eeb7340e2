package mail

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"drumturn/push"
)

// mostOpen bounds the letters that a Post has in hand.
const mostOpen = 200

// Waits between tries at a letter: a server that does not know us yet may ask
// to come again in some minutes (common practice, no source).
var postWaits = []time.Duration{5 * time.Second, 30 * time.Second, time.Minute, 2 * time.Minute, 5 * time.Minute}

// Post sends letters that somebody waits for before a page, in the background,
// so that no answer tells by its time what became of one. They are in memory
// only: whoever gets none asks again.
type Post struct {
	deliver func(context.Context, Letter) push.Result
	log     *slog.Logger
	letters chan posted
	open    chan struct{}
}

type posted struct {
	Letter
	until time.Time
}

// NewPost returns a post that Run sets to work.
func NewPost(s *Server, log *slog.Logger) *Post { return newPost(s.Deliver, log) }

func newPost(deliver func(context.Context, Letter) push.Result, log *slog.Logger) *Post {
	return &Post{deliver: deliver, log: log, letters: make(chan posted, mostOpen), open: make(chan struct{}, mostOpen)}
}

// Send takes a letter that is of use for a while. It never blocks; false: there
// are too many.
func (p *Post) Send(l Letter, useful time.Duration) bool {
	select {
	case p.open <- struct{}{}:
		p.letters <- posted{l, time.Now().Add(useful)}
		return true
	default:
		return false
	}
}

// Run sends until ctx ends.
func (p *Post) Run(ctx context.Context) {
	var under sync.WaitGroup
	defer under.Wait()
	for {
		select {
		case <-ctx.Done():
			return
		case l := <-p.letters:
			under.Go(func() { p.carry(ctx, l) })
		}
	}
}

// carry tries until the letter is taken, cannot be, or is of no more use.
func (p *Post) carry(ctx context.Context, l posted) {
	defer func() { <-p.open }()
	for try := 0; ; try++ {
		one, cancel := context.WithTimeout(ctx, time.Minute)
		r := p.deliver(one, l.Letter)
		cancel()
		wait := postWaits[min(try, len(postWaits)-1)]
		switch {
		case r.Class == push.Taken || ctx.Err() != nil:
			return
		case r.Class != push.Again || time.Now().Add(wait).After(l.until):
			p.log.Warn("a letter that somebody asked for was not sent", "status", r.Status, "err", r.Err)
			return
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
	}
}
