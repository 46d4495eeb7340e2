package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"drumturn/coordinator"
)

// TestSecrets: 32 octets behind a beginning that says what they are, each another;
// a source that fails makes none.
func TestSecrets(t *testing.T) {
	// 32 octets are 43 letters of base64 without padding (RFC 4648, section 5).
	shape := regexp.MustCompile(`^drumturn_token_[A-Za-z0-9_-]{43}$`)
	seen := map[string]bool{}
	for range 100 {
		secret, err := NewSecret(nil, TokenSecret)
		if err != nil || !shape.MatchString(secret) || seen[secret] {
			t.Fatalf("%q, %v", secret, err)
		}
		seen[secret] = true
	}
	for _, n := range []int{0, 31, 40} {
		short := bytes.NewReader(make([]byte, n))
		fine := func(string) error { return nil }
		if hook, err := NewWebhook(short, "https://hooks.example.org/", nil, fine); err == nil {
			t.Errorf("of %d octets it makes %+v", n, hook)
		}
	}
	// The hash of the specification's own example: FIPS 180-4, "abc" (from memory,
	// checked against coreutils' sha256sum).
	if got := Hash("abc"); got != "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" {
		t.Errorf("the hash of abc is %s", got)
	}
}

// TestWebhookBodies: whatever is wrong with the body is refused with what is
// wrong, as RFC 9457 has problems, and nothing is made.
func TestWebhookBodies(t *testing.T) {
	for name, c := range map[string]struct {
		body, says string
		status     int
	}{
		"nothing":         {" ", "The body is to be JSON", 400},
		"no JSON":         {"url=https://hooks.example.org/", "The body is to be JSON", 400},
		"a list":          {"[]", "The body is to be JSON", 400},
		"another field":   {`{"url":"https://hooks.example.org/","secret":"mine"}`, "unknown field", 400},
		"two objects":     {`{"url":"https://hooks.example.org/"}{}`, "there is more behind it", 400},
		"a number":        {`{"url":7}`, "The body is to be JSON", 400},
		"too long":        {`{"url":"https://hooks.example.org/` + strings.Repeat("x", longestBody) + `"}`, "The body is to be JSON", 400},
		"http":            {`{"url":"http://hooks.example.org/"}`, "begins with https://", 400},
		"no address":      {`{"kinds":["fault"]}`, "begins with https://", 400},
		"an unknown kind": {`{"url":"https://hooks.example.org/","kinds":["birthday"]}`, "is no kind of event", 400},
	} {
		t.Run(name, func(t *testing.T) {
			k := newKit(t)
			w := k.do(k.request("POST", "/api/v1/webhooks", "all", c.body))
			var p problem
			if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil || w.Code != c.status || w.Header().Get("Content-Type") != "application/problem+json" {
				t.Fatalf("%d %s %v", w.Code, w.Body, err)
			}
			if p.Status != c.status || p.Type != "about:blank" || p.Title != http.StatusText(c.status) || !strings.Contains(p.Detail, c.says) {
				t.Errorf("it says %+v", p)
			}
			if n := len(k.house.People().Webhooks); n > 0 {
				t.Errorf("%d webhooks were made", n)
			}
		})
	}
}

// TestWebhookSecretIsToldOnce, in the answer that made it.
func TestWebhookSecretIsToldOnce(t *testing.T) {
	k := newKit(t)
	w := k.do(k.request("POST", "/api/v1/webhooks", "all", `{"url":"https://hooks.example.org/x"}`))
	var made struct {
		ID, Secret string
		Kinds      []string
	}
	if err := json.Unmarshal(w.Body.Bytes(), &made); err != nil || w.Code != 201 || !strings.HasPrefix(made.Secret, WebhookSecret) || w.Header().Get("Cache-Control") != "no-store" {
		t.Fatalf("%d %s %v", w.Code, w.Body, err)
	}
	if len(made.Kinds) != len(coordinator.PublicKinds()) {
		t.Errorf("none chosen is all: %v", made.Kinds)
	}
	list := k.do(k.request("GET", "/api/v1/webhooks", "all", "")).Body.String()
	if strings.Contains(list, made.Secret) || !strings.Contains(list, made.ID) {
		t.Errorf("the list says %s", list)
	}
	if w := k.do(k.request("DELETE", "/api/v1/webhooks/"+made.ID, "all", "")); w.Code != 204 || w.Body.Len() > 0 {
		t.Errorf("removing: %d %s", w.Code, w.Body)
	}
	if w := k.do(k.request("DELETE", "/api/v1/webhooks/"+made.ID, "all", "")); w.Code != 404 {
		t.Errorf("removing it again: %d", w.Code)
	}
	who := ""
	for id, token := range k.house.People().Tokens {
		if token.Hash == Hash(secretOf("all")) {
			who = coordinator.AboutToken(id)
		}
	}
	acts := k.house.acts
	if len(acts) != 2 || acts[0].Kind != coordinator.FactHookAdded || acts[1].Kind != coordinator.FactHookRemoved || who == "" || acts[0].About != who || acts[1].About != who {
		t.Errorf("the log says %+v, want it to be of %s", acts, who)
	}
}

// TestFailuresAreForTheLog: what goes wrong inside is written there with the
// route, and neither its words nor the token go out.
func TestFailuresAreForTheLog(t *testing.T) {
	k := newKit(t)
	k.use = func(UseQuery) (*Use, error) { return nil, errors.New("disk sda1 is full") }
	var log bytes.Buffer
	k.server.o.Log = slog.New(slog.NewTextHandler(&log, nil))
	w := k.do(k.request("GET", "/api/v1/use?from=2026-03-01&to=2026-03-02", "use", ""))
	body, _ := io.ReadAll(w.Body)
	if w.Code != 500 || strings.Contains(string(body), "sda1") {
		t.Errorf("%d %s", w.Code, body)
	}
	if said := log.String(); !strings.Contains(said, "sda1") || !strings.Contains(said, "GET /api/v1/use") || strings.Contains(said, secretOf("use")) {
		t.Errorf("the log says %s", said)
	}
}

// TestMachineAsItIs: what is not known is left out, never 0 in its place.
func TestMachineAsItIs(t *testing.T) {
	k := newKit(t)
	ask := func(id string) map[string]any {
		w := k.do(k.request("GET", "/api/v1/rooms/cellar/machines/"+id, "status", ""))
		out := map[string]any{}
		if err := json.Unmarshal(w.Body.Bytes(), &out); err != nil || w.Code != 200 {
			t.Fatalf("%s: %d %s", id, w.Code, w.Body)
		}
		return out
	}
	one := ask("1")
	for key, want := range map[string]any{
		"status": "running", "power_w": 1980.5, "energy_wh": 512.5, "cycle": 4.0, "heard_at": "2026-03-17T11:59:59Z",
		"until": "2026-03-17T13:00:00Z", "earliest": "2026-03-17T12:50:00Z", "latest": "2026-03-17T13:10:00Z",
	} {
		if one[key] != want {
			t.Errorf("%s is %v, want %v", key, one[key], want)
		}
	}
	unheard := ask("3")
	for _, key := range []string{"power_w", "heard_at", "until", "earliest", "latest"} {
		if v, there := unheard[key]; there {
			t.Errorf("a machine that was never heard has %s %v", key, v)
		}
	}
	for path, want := range map[string]int{"/api/v1/rooms/attic": 404, "/api/v1/rooms/cellar/machines/9": 404, "/api/v1/rooms/attic/machines/1": 404} {
		if w := k.do(k.request("GET", path, "status", "")); w.Code != want || !strings.Contains(w.Body.String(), "There is no") {
			t.Errorf("%s: %d %s", path, w.Code, w.Body)
		}
	}
}
