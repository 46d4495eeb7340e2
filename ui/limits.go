package ui

import (
	"net/netip"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// limiter lets each key act now and then. It remembers at most max keys.
type limiter struct {
	mu    sync.Mutex
	every rate.Limit
	burst int
	max   int
	seen  map[string]*rate.Limiter
}

func newLimiter(every time.Duration, burst int) *limiter {
	return &limiter{every: rate.Every(every), burst: burst, max: 10_000, seen: map[string]*rate.Limiter{}}
}

// allow takes one act from key's allowance; false when it is used up.
func (l *limiter) allow(key string, now time.Time) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	one, ok := l.seen[key]
	if !ok {
		if len(l.seen) >= l.max {
			l.forget(now)
		}
		one = rate.NewLimiter(l.every, l.burst)
		l.seen[key] = one
	}
	return one.AllowN(now, 1)
}

// forget drops the keys whose allowance is whole again: nothing is lost with
// them. When all are in use it drops any one, so the map stays bounded.
func (l *limiter) forget(now time.Time) {
	for key, one := range l.seen {
		if one.TokensAt(now) >= float64(l.burst) {
			delete(l.seen, key)
		}
	}
	for key := range l.seen {
		if len(l.seen) < l.max {
			return
		}
		delete(l.seen, key)
	}
}

// limits are the server's limiters, one for each thing that can be guessed or
// spammed. A building often shares one address, so bursts are generous;
// codes and passphrases are long enough to stand that.
type limits struct {
	join, signIn, first, report, act, code, data *limiter
	// known is by a browser on which a manager signed in before, passkey by source:
	// guesses made elsewhere take nothing from these.
	known, passkey *limiter
	// wrong slows guesses at one manager down, wherever they come from.
	wrong *backoff
	// mailAsk is by person, mailTo by address, mailAll for the house: letters that
	// anybody can have sent.
	mailAsk, mailTo, mailAll *limiter
}

func newLimits() *limits {
	return &limits{
		join:   newLimiter(6*time.Second, 20),
		signIn: newLimiter(10*time.Second, 10),
		first:  newLimiter(10*time.Second, 10),
		report: newLimiter(10*time.Second, 20),
		act:    newLimiter(time.Second/4, 60),
		code:   newLimiter(2*time.Second, 60),
		data:   newLimiter(time.Minute, 5),

		known:   newLimiter(10*time.Second, 10),
		passkey: newLimiter(time.Second, 60),
		wrong:   newBackoff(),

		mailAsk: newLimiter(10*time.Minute, 4),
		mailTo:  newLimiter(10*time.Minute, 3),
		mailAll: newLimiter(time.Minute, 60),
	}
}

// limitKey is the address as limits count it: an IPv6 host has a whole /64.
func limitKey(ip string) string {
	addr, err := netip.ParseAddr(ip)
	if err != nil {
		return "?"
	}
	if addr = addr.Unmap().WithZone(""); addr.Is4() {
		return addr.String()
	}
	p, err := addr.Prefix(64)
	if err != nil {
		return "?"
	}
	return p.String()
}

// streamLimit counts open event streams.
type streamLimit struct {
	mu           sync.Mutex
	perKey, most int
	all          int
	open         map[string]int
}

func newStreamLimit(perKey, most int) *streamLimit {
	return &streamLimit{perKey: perKey, most: most, open: map[string]int{}}
}

// enter counts a stream in; false when there are too many.
func (l *streamLimit) enter(key string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.all >= l.most || l.open[key] >= l.perKey {
		return false
	}
	l.all++
	l.open[key]++
	return true
}

// leave counts it out again.
func (l *streamLimit) leave(key string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all--
	if l.open[key]--; l.open[key] <= 0 {
		delete(l.open, key)
	}
}
