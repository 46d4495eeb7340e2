package pushtest

import (
	"bytes"
	"context"
	"crypto/tls"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"
)

func client(s *Service) *http.Client {
	return &http.Client{
		Transport:     &http.Transport{TLSClientConfig: &tls.Config{RootCAs: s.Roots()}},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

func post(t *testing.T, s *Service, url string, header map[string]string) (int, http.Header) {
	t.Helper()
	req, err := http.NewRequest(http.MethodPost, url, bytes.NewReader(b64(t, rfc8291Body)))
	if err != nil {
		t.Fatal(err)
	}
	for k, v := range header {
		req.Header.Set(k, v)
	}
	resp, err := client(s).Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	_, _ = io.Copy(io.Discard, resp.Body)
	return resp.StatusCode, resp.Header
}

// The rules of RFC 8030 as the service holds its clients to them. (That it
// takes what is right is shown by the tests of the sender.)
func TestServiceRefuses(t *testing.T) {
	s := NewService(t)
	p := s.Phone("p")
	good := map[string]string{"TTL": "60", "Urgency": "high", "Topic": "abc_-9", "Content-Encoding": "aes128gcm"}
	for _, c := range []struct {
		name, field, value string
		status             int
		problem            string
	}{
		{"no TTL (5.2)", "TTL", "", 400, "TTL"},
		{"TTL no number (5.2)", "TTL", "-1", 400, "TTL"},
		{"unknown urgency (5.3)", "Urgency", "urgent", 400, "Urgency"},
		{"topic of 33 (5.4)", "Topic", strings.Repeat("a", 33), 400, "Topic"},
		{"topic with a point (5.4)", "Topic", "a.b", 400, "Topic"},
		{"older encoding (RFC 8291 4)", "Content-Encoding", "aesgcm", 415, "aes128gcm"},
		{"unsigned (RFC 8292)", "Authorization", "Bearer x", 403, "scheme"},
	} {
		header := map[string]string{}
		for k, v := range good {
			header[k] = v
		}
		header[c.field] = c.value
		status, _ := post(t, s, p.Endpoint, header)
		problems := s.Problems()
		if status != c.status || len(problems) != 1 || !strings.Contains(problems[0], c.problem) {
			t.Errorf("%s: %d, %v", c.name, status, problems)
		}
	}
	if len(p.Messages()) != 0 {
		t.Error("something was accepted")
	}
	if status, _ := post(t, s, "https://"+s.Host()+"/push/unknown", good); status != 404 {
		t.Errorf("unknown subscription: %d", status)
	}
}

func TestSubscriptionJSON(t *testing.T) {
	p := newPhone("p", "https://push.example.net/1")
	var got struct {
		Endpoint string
		Keys     struct{ P256dh, Auth string }
	}
	if err := json.Unmarshal(p.Subscription(), &got); err != nil {
		t.Fatal(err)
	}
	if got.Endpoint != p.Endpoint || len(b64(t, got.Keys.P256dh)) != 65 || len(b64(t, got.Keys.Auth)) != 16 {
		t.Errorf("%s", p.Subscription())
	}
}

func TestKeptAndAwait(t *testing.T) {
	p := newPhone("p", "https://push.example.net/1")
	for _, topic := range []string{"a", "b", "a", "", ""} {
		p.receive(Received{Topic: topic})
	}
	if kept := p.Kept(); len(kept) != 4 || kept[0].Topic != "b" {
		t.Errorf("kept %+v", kept)
	}
	if got, err := p.Await(t.Context(), 5); err != nil || len(got) != 5 {
		t.Errorf("Await = %d, %v", len(got), err)
	}
	ctx, cancel := context.WithDeadline(t.Context(), time.Unix(0, 0))
	defer cancel()
	if _, err := p.Await(ctx, 6); err == nil {
		t.Error("Await did not say that the sixth is missing")
	}
}
