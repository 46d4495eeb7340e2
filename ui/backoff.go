package ui

import (
	"sync"
	"time"
)

// How guesses at one account are slowed down: some are free, then each has to wait
// twice as long as the one before. Who tried nothing for a day begins anew.
const (
	freeGuesses  = 5
	firstWait    = 5 * time.Second
	longestWait  = 10 * time.Minute
	guessesEnd   = 24 * time.Hour
	mostAccounts = 1000
)

// backoff counts wrong guesses by account. It remembers few accounts: managers.
type backoff struct {
	mu sync.Mutex
	of map[string]strikes
}

type strikes struct {
	wrong int
	last  time.Time
	until time.Time // no guess before it
}

func newBackoff() *backoff { return &backoff{of: map[string]strikes{}} }

// guess takes a guess at an account, as a wrong one until right says otherwise:
// guesses at the same time count, too. wait is how long until the next is taken;
// 0: this one is.
func (b *backoff) guess(account string, now time.Time) (wait time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	v := b.of[account]
	if now.Sub(v.last) >= guessesEnd {
		v = strikes{}
	}
	if now.Before(v.until) {
		return v.until.Sub(now)
	}
	v.wrong++
	v.last = now
	if over := v.wrong - freeGuesses; over >= 0 {
		pause := longestWait
		if over < 20 {
			pause = min(firstWait<<over, longestWait)
		}
		v.until = now.Add(pause)
	}
	if len(b.of) >= mostAccounts {
		b.forget(now)
	}
	b.of[account] = v
	return 0
}

// right takes an account's wrong guesses away.
func (b *backoff) right(account string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	delete(b.of, account)
}

// forget drops the accounts that may guess anyway, and then any.
func (b *backoff) forget(now time.Time) {
	for account, v := range b.of {
		if !now.Before(v.until) || len(b.of) > mostAccounts {
			delete(b.of, account)
		}
	}
	for account := range b.of {
		if len(b.of) < mostAccounts {
			return
		}
		delete(b.of, account)
	}
}
