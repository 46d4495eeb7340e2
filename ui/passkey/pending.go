package passkey

import (
	"crypto/rand"
	"encoding/base64"
	"sync"
	"time"

	"github.com/go-webauthn/webauthn/webauthn"
)

// How many challenges are open at a time: of one holder, and in all. Whoever asks
// for more loses their own oldest, not another's.
const (
	openEach = 8
	openAll  = 4000
)

// pending keeps the challenges that were given out, each for one answer.
type pending struct {
	mu   sync.Mutex
	of   map[string][]ceremony // by holder, the oldest first
	many int
}

type ceremony struct {
	ticket  string
	session webauthn.SessionData
	expires time.Time
}

func newPending() *pending { return &pending{of: map[string][]ceremony{}} }

// add keeps a challenge for a holder and gives its ticket.
func (p *pending) add(holder string, s webauthn.SessionData, now time.Time) string {
	raw := make([]byte, 24)
	_, _ = rand.Read(raw) // never fails
	c := ceremony{ticket: base64.RawURLEncoding.EncodeToString(raw), session: s, expires: now.Add(Ceremony)}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.many >= openAll {
		p.sweep(now)
	}
	list := append(p.of[holder], c)
	p.many++
	if len(list) > openEach {
		list = list[1:]
		p.many--
	}
	p.of[holder] = list
	return c.ticket
}

// take gives the challenge of a ticket once, to its holder, in its time.
func (p *pending) take(holder, ticket string, now time.Time) (webauthn.SessionData, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	list := p.of[holder]
	for i, c := range list {
		if c.ticket == ticket {
			p.set(holder, append(list[:i:i], list[i+1:]...))
			return c.session, now.Before(c.expires)
		}
	}
	return webauthn.SessionData{}, false
}

// set replaces the challenges of a holder.
func (p *pending) set(holder string, list []ceremony) {
	p.many += len(list) - len(p.of[holder])
	if len(list) == 0 {
		delete(p.of, holder)
		return
	}
	p.of[holder] = list
}

// sweep drops what ran out, and, when that is not enough, all of somebody's.
func (p *pending) sweep(now time.Time) {
	for holder, list := range p.of {
		n := 0
		for n < len(list) && !now.Before(list[n].expires) {
			n++
		}
		p.set(holder, list[n:])
	}
	for holder := range p.of {
		if p.many < openAll {
			return
		}
		p.set(holder, nil)
	}
}
