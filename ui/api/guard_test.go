package api

import (
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
)

// TestTokens: what lets in, and what does not.
func TestTokens(t *testing.T) {
	k := newKit(t)
	for _, c := range []struct {
		name, header string
		want         int
		challenge    string
	}{
		{"a token", "Bearer " + secretOf("status"), 200, ""},
		{"in small letters", "bearer " + secretOf("status"), 200, ""},
		{"none", "", 401, "Bearer"},
		{"another", "Bearer " + secretOf("nobody"), 401, `Bearer error="invalid_token"`},
		{"its hash", "Bearer " + Hash(secretOf("status")), 401, `Bearer error="invalid_token"`},
		{"as a password", "Basic " + secretOf("status"), 401, `Bearer error="invalid_token"`},
		{"nothing behind it", "Bearer ", 401, `Bearer error="invalid_token"`},
		{"of another scope", "Bearer " + secretOf("use"), 403, `Bearer error="insufficient_scope", scope="status"`},
	} {
		r := k.request("GET", "/api/v1/building", "", "")
		if c.header != "" {
			r.Header.Set("Authorization", c.header)
		}
		w := k.do(r)
		if w.Code != c.want || w.Header().Get("WWW-Authenticate") != c.challenge {
			t.Errorf("%s: %d, %q", c.name, w.Code, w.Header().Get("WWW-Authenticate"))
		}
	}
	// A secret in an address ends up in logs: it is not taken there.
	if w := k.do(k.request("GET", "/api/v1/building?access_token="+secretOf("status"), "", "")); w.Code != 401 {
		t.Errorf("in the address: %d", w.Code)
	}
	id := k.house.People().TokensByAge()[0].ID
	for _, token := range k.house.People().TokensByAge() {
		if token.Name == "status" {
			id = token.ID
		}
	}
	if err := k.house.DoPeople(t.Context(), coordinator.RevokeToken{ID: id}); err != nil {
		t.Fatal(err)
	}
	if w := k.do(k.request("GET", "/api/v1/building", "status", "")); w.Code != 401 {
		t.Errorf("after it was revoked: %d", w.Code)
	}
}

// TestEveryScopeOpensItsOwn, and nothing else.
func TestEveryScopeOpensItsOwn(t *testing.T) {
	k := newKit(t)
	for path, scope := range map[string]coordinator.TokenScope{
		"/api/v1/building": coordinator.ScopeStatus, "/api/v1/use?from=2026-03-01&to=2026-03-02": coordinator.ScopeUse,
		"/api/v1/webhooks": coordinator.ScopeWebhooks, "/metrics": coordinator.ScopeMetrics,
	} {
		for _, other := range coordinator.TokenScopes() {
			want := 403
			if other == scope {
				want = 200
			}
			if w := k.do(k.request("GET", path, string(other), "")); w.Code != want {
				t.Errorf("%s with %s: %d, want %d", path, other, w.Code, want)
			}
		}
		if w := k.do(k.request("GET", path, "", "")); w.Code != 401 {
			t.Errorf("%s for a stranger: %d", path, w.Code)
		}
	}
}

// TestStrangersAreLimited, by where they come from; a token passes meanwhile.
func TestStrangersAreLimited(t *testing.T) {
	k := newKit(t)
	ask := func(from, token string) int {
		r := k.request("GET", "/api/v1/building", token, "")
		r.RemoteAddr = from
		return k.do(r).Code
	}
	n := 0
	for ; ask("192.0.2.1:1000", "") == 401; n++ {
		if n > 10*strangersBurst {
			t.Fatal("strangers are not limited")
		}
	}
	if n < strangersBurst || ask("192.0.2.2:1000", "") != 401 || ask("192.0.2.1:1001", "status") != 200 {
		t.Errorf("after %d: another place %d, a token %d", n, ask("192.0.2.2:1000", ""), ask("192.0.2.1:1001", "status"))
	}
}

// TestUseIsNoted: to the hour, and not by each request.
func TestUseIsNoted(t *testing.T) {
	k := newKit(t)
	used := func() time.Time { return k.house.People().Tokens[Hash(secretOf("status"))[:16]].Used }
	for range 5 {
		k.do(k.request("GET", "/api/v1/building", "status", ""))
	}
	for range 200 {
		if !used().IsZero() {
			break
		}
		time.Sleep(time.Millisecond) // it is noted behind the answer
	}
	if !used().Equal(noon) {
		t.Errorf("used %v", used())
	}
}

// TestNothingPersonal: no answer names anybody, nor repeats what somebody typed.
func TestNothingPersonal(t *testing.T) {
	k := newKit(t)
	k.house.happens(coordinator.Fact{At: noon, Kind: coordinator.FactFault, Machine: "1", Person: "p-anna", Home: "h-secret", Turn: 31, Load: 77, Note: "typed by a resident"})
	k.house.happens(coordinator.Fact{At: noon, Kind: coordinator.FactOut, Machine: "1", Person: "p-anna", Note: "typed by the manager"})
	for _, q := range k.questions() {
		q.path = strings.ReplaceAll(q.path, "/events", "/events?after=1-1")
		body := k.do(k.ask(q)).Body.String()
		for _, secret := range []string{"p-anna", "h-secret", "Anna", "typed", "\"turn\"", "\"load\""} {
			if strings.Contains(body, secret) && !strings.Contains(q.path, "openapi") {
				t.Errorf("%s says %q: %s", q.path, secret, body)
			}
		}
	}
}

func TestNothingElseIsThere(t *testing.T) {
	k := newKit(t)
	for _, r := range []string{"GET /api/v2/building", "PUT /api/v1/building", "GET /api/", "GET /api/v1/../v1/people", "DELETE /api/v1/rooms/cellar"} {
		method, path, _ := strings.Cut(r, " ")
		w := httptest.NewRecorder()
		k.server.ServeHTTP(w, k.request(method, path, "all", ""))
		if w.Code != 404 && w.Code != 405 && w.Code != 301 && w.Code != 307 {
			t.Errorf("%s: %d %s", r, w.Code, w.Body)
		}
	}
}
