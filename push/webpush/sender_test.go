package webpush

import (
	"context"
	"encoding/base64"
	"errors"
	"net"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/push"
	"drumturn/push/pushtest"
)

const subject = "laundry@example.org"

func newSender(t testing.TB, client Doer) *Sender {
	t.Helper()
	keys, err := push.NewKeys()
	if err != nil {
		t.Fatal(err)
	}
	s, err := New(client, keys, subject)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func clientOf(s *pushtest.Service) *http.Client {
	return push.NewClient(push.ClientOptions{AllowPrivate: true, RootCAs: s.Roots()})
}

func subscription(p *pushtest.Phone) coordinator.Subscription {
	return coordinator.Subscription{Endpoint: p.Endpoint, P256dh: p.P256dh(), Auth: p.Auth()}
}

func message(p *pushtest.Phone, payload string) push.Message {
	return push.Message{
		To: subscription(p), Payload: []byte(payload), TTL: 90 * time.Minute,
		Urgency: push.UrgencyHigh, Topic: "0123456789abcdefghijklmnopqrst-_",
	}
}

// A message goes through a service that keeps to RFC 8030, is verified as RFC
// 8292 says and decrypted as RFC 8291 says, by code that shares nothing with
// the sender.
func TestSendIsReceived(t *testing.T) {
	service := pushtest.NewService(t)
	phone := service.Phone("a")
	before := time.Now()
	r := newSender(t, clientOf(service)).Send(t.Context(), message(phone, `{"title":"It's your turn"}`))
	if r.Status != 201 || r.Err != nil {
		t.Fatalf("result %+v", r)
	}
	got := phone.Messages()
	if len(got) != 1 {
		t.Fatalf("%d messages", len(got))
	}
	m := got[0]
	if string(m.Plain) != `{"title":"It's your turn"}` || m.TTL != 90*time.Minute || m.Urgency != "high" ||
		m.Topic != "0123456789abcdefghijklmnopqrst-_" {
		t.Errorf("received %+v", m)
	}
	if m.Claims.Subject != "mailto:"+subject || m.Claims.Audience != pushtest.Origin(phone.Endpoint) {
		t.Errorf("claims %+v", m.Claims)
	}
	// The library always signs for 12 hours; RFC 8292 section 2 allows 24.
	if left := time.Unix(m.Claims.Expires, 0).Sub(before); left < 11*time.Hour || left > 13*time.Hour {
		t.Errorf("signed for %v", left)
	}
	if m.BodySize != recordSize {
		t.Errorf("body of %d octets, want all of one size, %d", m.BodySize, recordSize)
	}
}

func TestEveryMessageHasItsOwnKeyAndSalt(t *testing.T) {
	seen := map[string]bool{}
	client := doFunc(func(r *http.Request) (*http.Response, error) {
		head := make([]byte, 86)
		if _, err := r.Body.Read(head); err != nil {
			return nil, err
		}
		seen[string(head[:16])], seen[string(head[21:])] = true, true
		return &http.Response{StatusCode: 201, Body: http.NoBody}, nil
	})
	s := newSender(t, client)
	phone := pushtest.NewService(t).Phone("a")
	for range 3 {
		if r := s.Send(t.Context(), message(phone, "x")); r.Err != nil {
			t.Fatal(r.Err)
		}
	}
	if len(seen) != 6 {
		t.Errorf("%d different salts and keys in 3 messages, want 6", len(seen))
	}
}

type doFunc func(*http.Request) (*http.Response, error)

func (f doFunc) Do(r *http.Request) (*http.Response, error) { return f(r) }

// The library pads into the payload's spare capacity: with a shared payload the
// race detector would fire here, and the spare octets would change.
func TestSendLeavesASharedPayloadAlone(t *testing.T) {
	service := pushtest.NewService(t)
	s := newSender(t, clientOf(service))
	backing := []byte("shared payload" + strings.Repeat("#", 3000))
	var wg sync.WaitGroup
	for i := range 4 {
		phone := service.Phone(strconv.Itoa(i))
		wg.Go(func() {
			m := message(phone, "")
			m.Payload = backing[:14]
			if r := s.Send(t.Context(), m); r.Status != 201 {
				t.Errorf("%+v", r)
			}
		})
	}
	wg.Wait()
	if strings.Trim(string(backing[14:]), "#") != "" {
		t.Error("the spare capacity was written to")
	}
}

func TestAnswers(t *testing.T) {
	service := pushtest.NewService(t)
	s := newSender(t, clientOf(service))
	for _, c := range []struct {
		answer pushtest.Answer
		want   push.Result
	}{
		{pushtest.Answer{Status: 202}, push.Result{Status: 202}},
		{pushtest.Answer{Status: 404}, push.Result{Status: 404}},
		{pushtest.Answer{Status: 410}, push.Result{Status: 410}},
		{pushtest.Answer{Status: 413}, push.Result{Status: 413}},
		{pushtest.Answer{Status: 429, RetryAfter: "120"}, push.Result{Status: 429, RetryAfter: 2 * time.Minute}},
		{pushtest.Answer{Status: 503, RetryAfter: "soon"}, push.Result{Status: 503}},
		{pushtest.Answer{Status: 403}, push.Result{Status: 403}},
	} {
		phone := service.Phone("a")
		phone.Always(c.answer)
		if got := s.Send(t.Context(), message(phone, "x")); got != c.want {
			t.Errorf("%+v: %+v", c.answer, got)
		}
	}
}

func TestRedirectIsNotFollowed(t *testing.T) {
	service := pushtest.NewService(t)
	from, to := service.Phone("from"), service.Phone("to")
	s := newSender(t, clientOf(service))
	for _, status := range []int{301, 302, 303, 307, 308} {
		from.Next(pushtest.Answer{Status: status, Location: to.Endpoint})
		if r := s.Send(t.Context(), message(from, "x")); r.Status != status || r.Err != nil {
			t.Errorf("%d: %+v", status, r)
		}
	}
	if to.Requests() != 0 {
		t.Error("a redirect was followed")
	}
}

func TestContextEndsAStalledSend(t *testing.T) {
	service := pushtest.NewService(t)
	phone := service.Phone("a")
	phone.Always(pushtest.Answer{Stall: true, Accept: true})
	ctx, cancel := context.WithCancel(t.Context())
	go func() {
		_, _ = phone.Await(ctx, 1) // the service has it, and keeps its answer back
		cancel()
	}()
	r := newSender(t, clientOf(service)).Send(ctx, message(phone, "x"))
	if !errors.Is(r.Err, context.Canceled) || r.Status != 0 {
		t.Errorf("%+v", r)
	}
}

// Whoever knows an endpoint can disturb the phone, so no error may show it.
func TestErrorsHideTheEndpoint(t *testing.T) {
	service := pushtest.NewService(t)
	phone := service.Phone("a")
	strict := push.NewClient(push.ClientOptions{RootCAs: service.Roots()})
	r := newSender(t, strict).Send(t.Context(), message(phone, "x"))
	if !errors.Is(r.Err, push.ErrAddress) {
		t.Fatalf("a loopback address was not refused: %+v", r)
	}
	untrusting := push.NewClient(push.ClientOptions{AllowPrivate: true})
	u := newSender(t, untrusting).Send(t.Context(), message(phone, "x"))
	if u.Err == nil || phone.Requests() != 0 {
		t.Fatalf("an unknown certificate was not refused: %+v", u)
	}
	for _, err := range []error{r.Err, u.Err} {
		if strings.Contains(err.Error(), "/push/") {
			t.Errorf("shows the endpoint: %v", err)
		}
	}
}

func TestSendRefusesWhatTheLibraryWouldNot(t *testing.T) {
	service := pushtest.NewService(t)
	phone := service.Phone("a")
	s := newSender(t, clientOf(service))
	for name, change := range map[string]func(*push.Message){
		"no TTL":            func(m *push.Message) { m.TTL = 0 },
		"under a second":    func(m *push.Message) { m.TTL = 999 * time.Millisecond },
		"unknown urgency":   func(m *push.Message) { m.Urgency = "urgent" },
		"no urgency":        func(m *push.Message) { m.Urgency = "" },
		"topic of 33":       func(m *push.Message) { m.Topic = strings.Repeat("a", 33) },
		"topic with slash":  func(m *push.Message) { m.Topic = "a/b" },
		"payload too large": func(m *push.Message) { m.Payload = make([]byte, recordSize) },
		"key off the curve": func(m *push.Message) {
			m.To.P256dh = base64.RawURLEncoding.EncodeToString(append([]byte{4}, make([]byte, 64)...))
		},
	} {
		m := message(phone, "x")
		change(&m)
		if r := s.Send(t.Context(), m); !errors.Is(r.Err, push.ErrUnsendable) {
			t.Errorf("%s: %+v", name, r)
		}
	}
	if phone.Requests() != 0 {
		t.Error("something was sent")
	}
}

func TestNewChecksKeysAndSubject(t *testing.T) {
	one, err := push.NewKeys()
	if err != nil {
		t.Fatal(err)
	}
	other, err := push.NewKeys()
	if err != nil {
		t.Fatal(err)
	}
	client := push.NewClient(push.ClientOptions{})
	for name, c := range map[string]struct {
		client  Doer
		keys    push.Keys
		subject string
		want    string
	}{
		"no client":       {nil, one, subject, "client"},
		"mixed pair":      {client, push.Keys{Public: one.Public, Private: other.Private}, subject, "does not belong"},
		"mailto: subject": {client, one, "mailto:" + subject, "mailto:"},
		"empty subject":   {client, one, "", "missing"},
		"local subject":   {client, one, "root@localhost", "open internet"},
	} {
		if _, err := New(c.client, c.keys, c.subject); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// The body is drained and closed, so one connection serves all messages.
func TestConnectionIsReused(t *testing.T) {
	var mu sync.Mutex
	fresh := 0
	server := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		http.Error(w, strings.Repeat("no ", 1000), http.StatusServiceUnavailable)
	}))
	server.Config.ConnState = func(_ net.Conn, s http.ConnState) {
		if s == http.StateNew {
			mu.Lock()
			fresh++
			mu.Unlock()
		}
	}
	server.Start()
	defer server.Close()
	phone := pushtest.NewService(t).Phone("a")
	s := newSender(t, push.NewClient(push.ClientOptions{AllowPrivate: true}))
	for range 5 {
		m := message(phone, "x")
		m.To.Endpoint = server.URL
		if r := s.Send(t.Context(), m); r.Status != 503 {
			t.Fatalf("%+v", r)
		}
	}
	mu.Lock()
	defer mu.Unlock()
	if fresh != 1 {
		t.Errorf("%d connections for 5 messages", fresh)
	}
}

func BenchmarkSend(b *testing.B) {
	client := doFunc(func(*http.Request) (*http.Response, error) {
		return &http.Response{StatusCode: 201, Body: http.NoBody}, nil
	})
	s := newSender(b, client)
	m := message(pushtest.NewService(b).Phone("a"), strings.Repeat("x", 400))
	for b.Loop() {
		if r := s.Send(b.Context(), m); r.Status != 201 {
			b.Fatal(r)
		}
	}
}
