package api

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"drumturn/coordinator"
)

const (
	// perSecond and burst bound the requests of one token.
	perSecond, burst = 10, 60
	// strangersPerSecond and strangersBurst bound those without a token that holds,
	// by where they come from.
	strangersPerSecond, strangersBurst = 1, 20
	// mostKeys bounds what the limits remember.
	mostKeys = 10_000
	// streamsPerToken bounds the event streams of one token.
	streamsPerToken = 10
	// usedWithin bounds noting that a token was used.
	usedWithin = 10 * time.Second
)

// Hash is what is stored of a token's secret: its SHA-256, in hex. The secrets
// are 32 random octets, which no list of guesses holds, so that a slow hash
// would protect nothing.
func Hash(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// guard lets requests pass that bear a token of the scope (RFC 6750 section 2.1).
func (s *Server) guard(scope coordinator.TokenScope, do answer) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		t, ok := s.bearer(r)
		if !ok {
			s.stranger(w, r)
			return
		}
		if !s.limits.allow("token "+t.ID, perSecond, burst) {
			tooMany(w)
			return
		}
		s.noteUse(r.Context(), &t)
		if !t.May(scope) {
			w.Header().Set("WWW-Authenticate", `Bearer error="insufficient_scope", scope="`+string(scope)+`"`)
			writeProblem(w, problem{Status: http.StatusForbidden, Detail: "This token has not the scope “" + string(scope) + "”. Make one that has, on the manager's page."})
			return
		}
		if err := do(w, r, &t); err != nil {
			s.fail(w, r, err)
		}
	}
}

// bearer finds the token of a request. Secrets in addresses are not taken: they
// end up in logs.
func (s *Server) bearer(r *http.Request) (coordinator.Token, bool) {
	kind, secret, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	if !strings.EqualFold(kind, "Bearer") {
		return coordinator.Token{}, false
	}
	hash := Hash(strings.TrimSpace(secret))
	t, ok := s.o.House.People().TokenByHash(hash)
	return t, ok && subtle.ConstantTimeCompare([]byte(t.Hash), []byte(hash)) == 1
}

// stranger refuses a request without a token that holds.
func (s *Server) stranger(w http.ResponseWriter, r *http.Request) {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		host = r.RemoteAddr
	}
	if !s.limits.allow("from "+host, strangersPerSecond, strangersBurst) {
		tooMany(w)
		return
	}
	challenge := "Bearer"
	if r.Header.Get("Authorization") != "" {
		challenge += ` error="invalid_token"`
	}
	w.Header().Set("WWW-Authenticate", challenge)
	writeProblem(w, problem{Status: http.StatusUnauthorized, Detail: "This needs a token, sent as “Authorization: Bearer …”. The manager makes one on the page for other programs."})
}

func tooMany(w http.ResponseWriter) {
	w.Header().Set("Retry-After", "10")
	writeProblem(w, problem{Status: http.StatusTooManyRequests, Detail: "Too many requests. Wait ten seconds."})
}

// noteUse keeps, to the hour, when the token was last used. Nobody waits for it.
func (s *Server) noteUse(ctx context.Context, t *coordinator.Token) {
	if s.o.House.Now().Sub(t.Used) < time.Hour || !s.limits.once(t.ID, s.o.House.Now()) {
		return
	}
	ctx = context.WithoutCancel(ctx)
	go func() {
		ctx, cancel := context.WithTimeout(ctx, usedWithin)
		defer cancel()
		if err := s.o.House.DoPeople(ctx, coordinator.UseToken{ID: t.ID}); err != nil {
			s.o.Log.Warn("when a token was used was not kept", "err", err)
		}
	}()
}

// limits are the allowances of tokens and strangers, and the open streams.
type limits struct {
	mu      sync.Mutex
	rates   map[string]*rate.Limiter
	noted   map[string]time.Time
	streams map[string]int
}

func newLimits() *limits {
	return &limits{rates: map[string]*rate.Limiter{}, noted: map[string]time.Time{}, streams: map[string]int{}}
}

// allow takes one request from a key's allowance.
func (l *limits) allow(key string, every rate.Limit, most int) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.rates) >= mostKeys && l.rates[key] == nil {
		clear(l.rates) // every allowance is whole again; the map stays bounded
	}
	if l.rates[key] == nil {
		l.rates[key] = rate.NewLimiter(every, most)
	}
	return l.rates[key].Allow()
}

// once reports whether a token's use is to be noted now: not if that was done
// within the minute.
func (l *limits) once(id string, now time.Time) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if now.Sub(l.noted[id]) < time.Minute {
		return false
	}
	l.noted[id] = now
	return true
}

// enter counts a stream of a token in; false when it has too many.
func (l *limits) enter(id string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.streams[id] >= streamsPerToken {
		return false
	}
	l.streams[id]++
	return true
}

func (l *limits) leave(id string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.streams[id]--; l.streams[id] <= 0 {
		delete(l.streams, id)
	}
}
