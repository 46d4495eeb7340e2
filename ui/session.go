package ui

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

// A browser holds one secret for its resident and another for the manager: a
// volunteer who looks after the room can be both, and signs out of one at a
// time.
const (
	residentDays = 400 // the longest that browsers keep a cookie
	managerDays  = 30
	// managerIdle ends a manager's session that nobody used: the page is opened
	// once a week.
	managerIdle = 14 * 24 * time.Hour
	secretBytes = 32
)

// cookieKind says how cookies are named and guarded.
type cookieKind struct {
	resident, manager, wall string
	// known marks a browser on which a manager has signed in; it outlives sessions
	// and opens nothing.
	known  string
	secure bool
}

// cookiesFor picks the cookies for a public URL. Over https, and over plain
// http on this very computer (which browsers treat as secure), names carry the
// __Host- prefix: no other site, path or port of the domain can set them. Over
// plain http to another computer browsers would drop such cookies, so there
// the names have no prefix and anyone on the network can read them; the
// manager's page says so.
func cookiesFor(public *url.URL, plain bool) cookieKind {
	if public.Scheme == "https" || (loopback(public.Host) && !plain) {
		return cookieKind{resident: "__Host-drumturn", manager: "__Host-drumturn-manager", wall: "__Host-drumturn-wall",
			known: "__Host-drumturn-known", secure: true}
	}
	return cookieKind{resident: "drumturn", manager: "drumturn-manager", wall: "drumturn-wall", known: "drumturn-known"}
}

// newSecret makes a cookie's value and the hash under which its session is kept.
func (s *Server) newSecret() (secret, hash string, err error) {
	raw := make([]byte, secretBytes)
	if _, err := io.ReadFull(s.o.Random, raw); err != nil {
		return "", "", fmt.Errorf("make a secret: %w", err)
	}
	secret = base64.RawURLEncoding.EncodeToString(raw)
	return secret, hashSecret(secret), nil
}

// hashSecret is what is stored of a secret: its SHA-256, in hex.
func hashSecret(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// setCookie gives the browser its secret; an empty value takes it away.
func (s *Server) setCookie(c echo.Context, name, value string, days int) {
	c.SetCookie(s.cookie(name, value, days))
}

func (s *Server) cookie(name, value string, days int) *http.Cookie {
	cookie := &http.Cookie{
		Name: name, Value: value, Path: "/", MaxAge: days * 24 * 60 * 60,
		Secure: s.cookies.secure, HttpOnly: true, SameSite: http.SameSiteLaxMode,
	}
	if value == "" {
		cookie.MaxAge = -1
	}
	return cookie
}

// sentCookie finds a request's cookie; nil without one. Most requests have none of
// a name, which is seen without taking the header apart.
func sentCookie(c echo.Context, name string) *http.Cookie {
	if !slices.ContainsFunc(c.Request().Header["Cookie"], func(line string) bool { return strings.Contains(line, name) }) {
		return nil
	}
	cookie, err := c.Cookie(name)
	if err != nil {
		return nil
	}
	return cookie
}

// sessionHash is the hash of a request's cookie; empty without one.
func sessionHash(c echo.Context, name string) string {
	cookie := sentCookie(c, name)
	if cookie == nil || cookie.Value == "" || len(cookie.Value) > 100 {
		return ""
	}
	return hashSecret(cookie.Value)
}

// visitor finds whose browser it is; nil for somebody without an account.
func (s *Server) visitor(c echo.Context) *coordinator.Person {
	return s.personOf(sessionHash(c, s.cookies.resident))
}

// manager finds the signed-in manager; nil when there is none.
func (s *Server) manager(c echo.Context) *coordinator.Person {
	hash := sessionHash(c, s.cookies.manager)
	p := s.personOf(hash)
	if p == nil || !p.Manager {
		return nil
	}
	s.sawManager(c, hash)
	return p
}

// sawManager notes, every some minutes, that a session is in use. That it cannot
// be noted is no reason to keep the manager out.
func (s *Server) sawManager(c echo.Context, hash string) {
	if s.o.House.People().NotedLately(hash, s.o.House.Now()) {
		return
	}
	ev := coordinator.SawSession{SessionHash: hash, Where: limitKey(c.RealIP())}
	if err := s.o.House.DoPeople(c.Request().Context(), ev); err != nil {
		s.o.Log.Warn("a session's use could not be noted", "err", err)
	}
}

// newManagerSession makes a secret, and what an event says of the session behind it.
func (s *Server) newManagerSession(c echo.Context) (secret string, v coordinator.NewSession, err error) {
	secret, hash, err := s.newSecret()
	return secret, coordinator.NewSession{
		SessionHash: hash, Expires: s.expiry(managerDays), Idle: managerIdle,
		Device: agentFamily(c.Request().UserAgent()), Where: limitKey(c.RealIP()),
	}, err
}

func (s *Server) personOf(hash string) *coordinator.Person {
	if hash == "" {
		return nil
	}
	p, ok := s.o.House.People().SessionPerson(hash, s.o.House.Now())
	if !ok {
		return nil
	}
	return &p
}

// expiry is when a session made now ends, by the house's clock.
func (s *Server) expiry(days int) time.Time { return s.o.House.Now().AddDate(0, 0, days) }

// newID makes a short random id that begins with kind.
func (s *Server) newID(kind string) (string, error) {
	raw := make([]byte, 9)
	if _, err := io.ReadFull(s.o.Random, raw); err != nil {
		return "", fmt.Errorf("make an id: %w", err)
	}
	return kind + base64.RawURLEncoding.EncodeToString(raw), nil
}

// codeLetters are those that are not mistaken for one another on paper.
const codeLetters = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"

// newCode makes a code that people can type: n letters, about 4.95 bits each,
// in groups of four.
func (s *Server) newCode(n int) (string, error) {
	out := make([]byte, 0, n)
	buf := make([]byte, 4*n)
	for len(out) < n {
		if _, err := io.ReadFull(s.o.Random, buf); err != nil {
			return "", fmt.Errorf("make a code: %w", err)
		}
		for _, b := range buf {
			// Values past the last full round would make some letters likelier.
			if int(b) < 256-256%len(codeLetters) && len(out) < n {
				out = append(out, codeLetters[int(b)%len(codeLetters)])
			}
		}
	}
	var code strings.Builder
	for group := range slices.Chunk(out, 4) {
		if code.Len() > 0 {
			code.WriteByte('-')
		}
		code.Write(group)
	}
	return code.String(), nil
}
