package pushtest

import (
	"crypto/rand"
	"crypto/x509"
	"fmt"
	"io"
	"log"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// maxBody is what a service must take at least (RFC 8030 section 7.2); this one takes no more.
const maxBody = 4096

// Service is a push service on TLS that keeps to RFC 8030 and is strict with
// its clients. What breaks a rule is refused and noted as a problem.
type Service struct {
	server *httptest.Server
	closed chan struct{}

	mu       sync.Mutex
	phones   map[string]*Phone // by path
	problems []string
	sent     int
	decide   func(*Phone, Received) *Answer
}

// NewService starts a service that ends with the test. The test fails when a
// problem was noted that it has not read with Problems.
func NewService(t testing.TB) *Service {
	t.Helper()
	return newService(t, true)
}

// NewOldService is NewService without HTTP/2, so that it can half-close.
func NewOldService(t testing.TB) *Service {
	t.Helper()
	return newService(t, false)
}

func newService(t testing.TB, http2 bool) *Service {
	t.Helper()
	s := &Service{closed: make(chan struct{}), phones: map[string]*Phone{}}
	s.server = httptest.NewUnstartedServer(http.HandlerFunc(s.serve))
	s.server.EnableHTTP2 = http2
	s.server.Config.ErrorLog = log.New(io.Discard, "", 0) // clients that break off on purpose
	s.server.StartTLS()
	t.Cleanup(func() {
		close(s.closed)
		s.server.CloseClientConnections()
		s.server.Close()
		for _, p := range s.Problems() {
			t.Errorf("push service: %s", p)
		}
	})
	return s
}

// Host is the service's host and port, for a list of allowed push services.
func (s *Service) Host() string { return s.server.Listener.Addr().String() }

// Certificate is the service's own, in DER.
func (s *Service) Certificate() []byte { return s.server.Certificate().Raw }

// Roots trusts the service's certificate.
func (s *Service) Roots() *x509.CertPool {
	pool := x509.NewCertPool()
	pool.AddCert(s.server.Certificate())
	return pool
}

// Phone makes a phone with a subscription at this service.
func (s *Service) Phone(name string) *Phone {
	path := "/push/" + rand.Text()
	p := newPhone(name, s.server.URL+path)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.phones[path] = p
	return p
}

// Decide sets who answers instead of the phones' scripts: it is asked about every
// message that keeps the rules, and gives nil for 201.
func (s *Service) Decide(decide func(*Phone, Received) *Answer) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.decide = decide
}

// Problems returns and forgets the broken rules noted so far.
func (s *Service) Problems() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	out := s.problems
	s.problems = nil
	return out
}

func (s *Service) serve(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	phone, decide := s.phones[r.URL.Path], s.decide
	s.mu.Unlock()
	if phone == nil {
		http.NotFound(w, r)
		return
	}
	m, status, problem := s.read(phone, r)
	scripted := phone.answer()
	if decide != nil && problem == "" {
		scripted = decide(phone, m)
	}
	switch {
	case problem != "":
		s.note(phone, problem)
		http.Error(w, problem, status)
	case scripted == nil:
		phone.receive(m)
		s.created(w, r)
	default:
		s.say(w, r, phone, m, *scripted)
	}
}

func (s *Service) note(p *Phone, problem string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.problems = append(s.problems, p.Name+": "+problem)
}

// created is the answer of RFC 8030 section 5: 201, where the message is, and the TTL granted.
func (s *Service) created(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	s.sent++
	n := s.sent
	s.mu.Unlock()
	w.Header().Set("Location", fmt.Sprintf("%s/message/%d", s.server.URL, n))
	w.Header().Set("TTL", r.Header.Get("TTL"))
	w.WriteHeader(http.StatusCreated)
}

// say gives a scripted answer.
func (s *Service) say(w http.ResponseWriter, r *http.Request, p *Phone, m Received, a Answer) {
	if a.Accept {
		p.receive(m)
	}
	if a.Stall {
		select {
		case <-r.Context().Done():
		case <-s.closed:
		}
		panic(http.ErrAbortHandler)
	}
	if a.HalfClose {
		halfClose(w)
		return
	}
	for name, value := range map[string]string{"Retry-After": a.RetryAfter, "Location": a.Location} {
		if value != "" {
			w.Header().Set(name, value)
		}
	}
	w.WriteHeader(a.Status)
	_, _ = io.WriteString(w, "as the test wishes\n")
}

// halfClose ends the answering side of a connection in the middle of the answer,
// and goes on listening until the other side has enough.
func halfClose(w http.ResponseWriter) {
	hijacker, ok := w.(http.Hijacker)
	if !ok {
		panic(http.ErrAbortHandler) // HTTP/2: the stream is all there is to break off
	}
	conn, _, err := hijacker.Hijack()
	if err != nil {
		panic(http.ErrAbortHandler)
	}
	defer conn.Close()
	_, _ = io.WriteString(conn, "HTTP/1.1 201 Cre")
	if half, ok := conn.(interface{ CloseWrite() error }); ok {
		_ = half.CloseWrite()
	}
	_ = conn.SetReadDeadline(time.Now().Add(time.Second))
	_, _ = io.Copy(io.Discard, conn)
}

// read holds a request to the rules. problem is empty when it keeps them all.
func (s *Service) read(p *Phone, r *http.Request) (m Received, status int, problem string) {
	body, err := io.ReadAll(io.LimitReader(r.Body, maxBody+1))
	switch {
	case err != nil:
		return m, http.StatusBadRequest, "the body breaks off: " + err.Error()
	case r.Method != http.MethodPost:
		return m, http.StatusMethodNotAllowed, "method " + r.Method
	case len(body) > maxBody:
		return m, http.StatusRequestEntityTooLarge, "body over 4096 octets"
	case r.Header.Get("Content-Encoding") != "aes128gcm":
		return m, http.StatusUnsupportedMediaType, "Content-Encoding is not aes128gcm (RFC 8291 section 4)"
	}
	if m, problem = readHeaders(r.Header); problem != "" {
		return m, http.StatusBadRequest, problem
	}
	m.At, m.BodySize = time.Now(), len(body)
	claims, key, err := VerifyVAPID(r.Header.Get("Authorization"), p.Endpoint, m.At)
	if err != nil {
		return m, http.StatusForbidden, "RFC 8292: " + err.Error()
	}
	if !p.signedBy(key) {
		return m, http.StatusForbidden, "signed with another key than before (RFC 8292 section 4)"
	}
	m.Claims = claims
	if m.Plain, err = p.Open(body); err != nil {
		return m, http.StatusBadRequest, "the phone cannot decrypt it: " + err.Error()
	}
	return m, 0, ""
}

var urgencies = map[string]bool{"very-low": true, "low": true, "normal": true, "high": true}

// readHeaders checks TTL (RFC 8030 section 5.2), Urgency (5.3) and Topic (5.4).
func readHeaders(h http.Header) (m Received, problem string) {
	seconds, err := strconv.ParseUint(h.Get("TTL"), 10, 31)
	if err != nil {
		return m, "TTL is missing or no number of seconds (RFC 8030 section 5.2)"
	}
	m.TTL = time.Duration(seconds) * time.Second
	m.Urgency, m.Topic = h.Get("Urgency"), h.Get("Topic")
	if m.Urgency == "" {
		m.Urgency = "normal"
	}
	if !urgencies[m.Urgency] {
		return m, "Urgency is none of the four words (RFC 8030 section 5.3)"
	}
	if _, given := h["Topic"]; given && !validTopic(m.Topic) {
		return m, "Topic is not up to 32 base64url characters (RFC 8030 section 5.4)"
	}
	return m, ""
}

func validTopic(topic string) bool {
	const alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
	return topic != "" && len(topic) <= 32 && strings.Trim(topic, alphabet) == ""
}
