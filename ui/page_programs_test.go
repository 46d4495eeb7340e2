package ui

import (
	"context"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"drumturn/coordinator"
	"drumturn/ui/api"
)

// programsServer is a server with a manager who is signed in, whose people really step.
func programsServer(t *testing.T) (*fakeHouse, *Server) {
	h := newFakeHouse(fullRoom())
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	return h, newTestServer(t, h, func(o *Options) {
		o.CheckHook = func(address string) error {
			if !strings.HasPrefix(address, "https://hooks.example.org") {
				return coordinator.Refuse(coordinator.Invalid, "webhook.address", "Not there.")
			}
			return nil
		}
	})
}

var shownSecret = regexp.MustCompile(`drumturn_(?:token|hook)_[A-Za-z0-9_-]{43}`)

// TestTokenIsShownOnce: made with what was ticked, shown in the one answer, kept
// as its hash, listed without it, and ended by its button.
func TestTokenIsShownOnce(t *testing.T) {
	h, s := programsServer(t)
	w := post(programsPath, "name", " Screen ", "scope-status", "yes", "scope-events", "yes").as("", "secret-of-boss").of(s)
	secret := shownSecret.FindString(w.Body.String())
	if w.Code != http.StatusOK || secret == "" || w.Header().Get("Cache-Control") != "no-store" {
		t.Fatalf("%d %v\n%s", w.Code, w.Header(), w.Body)
	}
	token, ok := h.People().TokenByHash(api.Hash(secret))
	if !ok || token.Name != "Screen" || !token.May(coordinator.ScopeStatus) || !token.May(coordinator.ScopeEvents) || token.May(coordinator.ScopeUse) {
		t.Fatalf("%+v", token)
	}
	page := get(programsPath).as("", "secret-of-boss").of(s).Body.String()
	if strings.Contains(page, secret) || strings.Contains(page, token.Hash) || !strings.Contains(page, "Screen") || !strings.Contains(page, "never") {
		t.Errorf("the page says\n%s", page)
	}
	if w := post(programsPath+"/revoke", "id", token.ID).as("", "secret-of-boss").of(s); w.Code != http.StatusSeeOther {
		t.Errorf("revoking: %d", w.Code)
	}
	if _, ok := h.People().TokenByHash(api.Hash(secret)); ok {
		t.Error("the token still holds")
	}
}

// TestWebhooksOnThePage: an address that passes the check gets a secret, shown once.
func TestWebhooksOnThePage(t *testing.T) {
	h, s := programsServer(t)
	w := post("/manager/webhooks", "url", "https://hooks.example.org/x", "kind-fault", "yes").as("", "secret-of-boss").of(s)
	secret := shownSecret.FindString(w.Body.String())
	hooks := h.People().WebhooksByAge()
	if w.Code != http.StatusOK || len(hooks) != 1 || secret != hooks[0].Secret || len(hooks[0].Kinds) != 1 || hooks[0].ID == "" {
		t.Fatalf("%d %+v", w.Code, hooks)
	}
	w = post("/manager/webhooks", "url", "https://127.0.0.1/x").as("", "secret-of-boss").of(s)
	if w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "https://127.0.0.1/x") || strings.Contains(w.Body.String(), secret) {
		t.Errorf("a refused address: %d\n%s", w.Code, w.Body)
	}
	if w := post("/manager/webhooks/remove", "id", hooks[0].ID).as("", "secret-of-boss").of(s); w.Code != http.StatusSeeOther || len(h.People().Webhooks) != 0 {
		t.Errorf("removing: %d, %v", w.Code, h.People().Webhooks)
	}
}

// TestProgramsAreTheManagersBusiness, and nobody else's.
func TestProgramsAreTheManagersBusiness(t *testing.T) {
	h, s := programsServer(t)
	h.resident("dan", "h6")
	for _, path := range []string{programsPath, programsPath + "/revoke", "/manager/webhooks", "/manager/webhooks/remove"} {
		if w := post(path, "name", "x", "scope-status", "yes").as("secret-of-dan", "").of(s); w.Code != http.StatusForbidden {
			t.Errorf("%s by a resident: %d", path, w.Code)
		}
	}
	if w := get(programsPath).as("secret-of-dan", "").of(s); w.Code != http.StatusSeeOther || len(h.People().Tokens) != 0 {
		t.Errorf("the page for a resident: %d", w.Code)
	}
	for _, bad := range [][]string{{"name", ""}, {"name", "x"}, {"name", "x", "scope-all", "yes"}} {
		if w := post(programsPath, bad...).as("", "secret-of-boss").of(s); w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%v: %d", bad, w.Code)
		}
	}
}

func TestReady(t *testing.T) {
	for ok, want := range map[bool]int{true: 200, false: 503} {
		h := newFakeHouse(fullRoom())
		s := newTestServer(t, h, func(o *Options) {
			o.Ready = func(context.Context) (map[string]string, bool) { return map[string]string{"store": "x"}, ok }
		})
		if w := get("/readyz").of(s); w.Code != want || !strings.Contains(w.Body.String(), `"store":"x"`) {
			t.Errorf("%v: %d %s", ok, w.Code, w.Body)
		}
	}
}
