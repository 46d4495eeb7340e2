package hooks

import (
	"crypto/x509"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/loop"
	"drumturn/push"
)

// TestSign against the HMAC of OpenSSL 3 and of Python's hmac, which agree on it:
// printf '1773748800.{"id":"1-1"}' | openssl dgst -sha256 -hmac drumturn_hook_test
func TestSign(t *testing.T) {
	got := Sign("drumturn_hook_test", time.Unix(1773748800, 999), []byte(`{"id":"1-1"}`))
	if want := "v1=66f276100d19764eacf45bc657feb6ec331104c9bd6f65957a339c1a31ff4206"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	for _, other := range []string{
		Sign("drumturn_hook_tesT", time.Unix(1773748800, 0), []byte(`{"id":"1-1"}`)),
		Sign("drumturn_hook_test", time.Unix(1773748801, 0), []byte(`{"id":"1-1"}`)),
		Sign("drumturn_hook_test", time.Unix(1773748800, 0), []byte(`{"id":"1-2"}`)),
	} {
		if other == got {
			t.Error("another secret, time or body has the same signature")
		}
	}
}

func TestCheckURL(t *testing.T) {
	for _, good := range []string{"https://hooks.example.org/laundry?key=1", "https://hooks.example.org:8443", "https://5.6.7.8/x", "https://[2a00::1]/"} {
		if err := CheckURL(good); err != nil {
			t.Errorf("%s: %v", good, err)
		}
	}
	for _, bad := range []string{
		"", "hooks.example.org", "http://hooks.example.org/", "https://", "https:///x", "https://user:pw@hooks.example.org/", "https://hooks.example.org/#x",
		"https://127.0.0.1/", "https://[::1]/", "https://10.1.2.3/", "https://169.254.169.254/latest", "https://[fe80::1]/", "https://[::ffff:192.168.1.1]/",
		"https://localhost/", "https://x.localhost/", "ftp://hooks.example.org/", "https://hooks.example.org/a b", "file:///etc/passwd", "https://100.64.0.1/",
	} {
		if err := CheckURL(bad); err == nil {
			t.Errorf("%q passes", bad)
		}
	}
}

// receiver is a real server on TLS.
func receiver(t *testing.T, answer http.HandlerFunc) (*httptest.Server, *x509.CertPool) {
	s := httptest.NewTLSServer(answer)
	t.Cleanup(s.Close)
	roots := x509.NewCertPool()
	roots.AddCert(s.Certificate())
	return s, roots
}

func (w *world) posted(client Doer, url string) (int, string) {
	worker := New(Config{House: w, FactsAfter: w.factsAfter, Client: client, Clock: loop.Wall{}, Log: slog.New(slog.DiscardHandler)})
	hook := coordinator.Webhook{ID: "h", URL: url, Secret: "drumturn_hook_test"}
	return worker.post(w.Context(), &hook, "1-1", &coordinator.PublicEvent{ID: "1-1", Room: "cellar", Kind: coordinator.FactFault}, time.Unix(1773748800, 0))
}

// TestPostForReal: what a server on TLS gets.
func TestPostForReal(t *testing.T) {
	w := newWorld(t)
	var got *http.Request
	var body []byte
	s, roots := receiver(t, func(w http.ResponseWriter, r *http.Request) {
		got = r
		body, _ = io.ReadAll(r.Body)
		w.WriteHeader(http.StatusAccepted)
	})
	status, why := w.posted(push.NewClient(push.ClientOptions{AllowPrivate: true, RootCAs: roots}), s.URL+"/laundry?key=1")
	if status != 202 || why != "" || got.Method != "POST" || got.URL.RequestURI() != "/laundry?key=1" {
		t.Fatalf("%d %q %+v", status, why, got)
	}
	if got.Header.Get(HeaderSignature) != Sign("drumturn_hook_test", time.Unix(1773748800, 0), body) || got.Header.Get(HeaderTime) != "1773748800" ||
		got.Header.Get(HeaderEvent) != "1-1" || got.Header.Get("Content-Type") != "application/json" {
		t.Errorf("%v", got.Header)
	}
}

// TestNoWayInside: an address that leads into the house is not connected to,
// whatever its name; a redirect is not followed; nothing secret is in the reason.
func TestNoWayInside(t *testing.T) {
	w := newWorld(t)
	asked := 0
	s, roots := receiver(t, func(http.ResponseWriter, *http.Request) { asked++ })
	status, why := w.posted(push.NewClient(push.ClientOptions{RootCAs: roots}), s.URL+"/secret-path")
	if status != 0 || why != push.ErrAddress.Error() || asked != 0 {
		t.Errorf("%d %q, asked %d times", status, why, asked)
	}
	away, roots := receiver(t, func(w http.ResponseWriter, r *http.Request) { http.Redirect(w, r, s.URL, http.StatusTemporaryRedirect) })
	status, why = w.posted(push.NewClient(push.ClientOptions{AllowPrivate: true, RootCAs: roots}), away.URL)
	if status != 307 || asked != 0 || outcomeOf(status) != coordinator.HookAgain {
		t.Errorf("%d %q, asked %d times", status, why, asked)
	}
	s.Close()
	if status, why = w.posted(push.NewClient(push.ClientOptions{AllowPrivate: true, RootCAs: roots}), s.URL+"/secret-path"); status != 0 || why == "" || strings.Contains(why, "secret-path") {
		t.Errorf("%d %q", status, why)
	}
}
