package mqtt

import (
	"sync"
	"time"
)

const (
	// guessesPerMinute is how many wrong passwords for one user are checked from
	// one address in a minute; further ones are refused unseen.
	guessesPerMinute = 10
	// guessesKept bounds the memory that guessing can fill.
	guessesKept = 4096
)

// guesses slows down who tries passwords. The zero value is ready.
type guesses struct {
	mu   sync.Mutex
	made map[guess]tally
}

type guess struct{ from, user string }

// tally counts failures in the minute that began at since.
type tally struct {
	since time.Time
	n     int
}

// allowed reports whether a password may be tried.
func (g *guesses) allowed(from, user string, now time.Time) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	t := g.made[guess{from, user}]
	return t.n < guessesPerMinute || now.Sub(t.since) >= time.Minute
}

// failed counts a wrong password, and reports whether it is the first of its minute.
func (g *guesses) failed(from, user string, now time.Time) (first bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	key := guess{from, user}
	t := g.made[key]
	if now.Sub(t.since) >= time.Minute {
		t = tally{since: now}
	}
	t.n++
	if g.made == nil || len(g.made) >= guessesKept {
		g.made = map[guess]tally{}
	}
	g.made[key] = t
	return t.n == 1
}
