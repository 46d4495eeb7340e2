package ui

import (
	"context"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"drumturn/coordinator"
	"drumturn/push/words"
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

// TestTryHook: the button of a webhook posts one, and what came of it is said beside
// it in words, each outcome in its own and in every language.
func TestTryHook(t *testing.T) {
	var tried []string
	var status int
	var why string
	h := newFakeHouse(fullRoom())
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, h, func(o *Options) {
		o.CheckHook = func(string) error { return nil }
		o.TryHook = func(_ context.Context, id string) (int, string, error) {
			if _, ok := h.People().Webhooks[id]; !ok {
				return 0, "", coordinator.Refuse(coordinator.NotFound, "webhook.unknown", "There is no such webhook any more.")
			}
			tried = append(tried, id)
			return status, why, nil
		}
	})
	post("/manager/webhooks", "url", "https://hooks.example.org/x").as("", "secret-of-boss").of(s)
	id := h.People().WebhooksByAge()[0].ID
	page := get(programsPath).as("", "secret-of-boss").of(s).Body.String()
	if !strings.Contains(page, `action="/manager/webhooks/try"><input type="hidden" name="id" value="`+id+`">`) {
		t.Fatalf("no button:\n%s", page)
	}
	if w := post("/manager/webhooks/try", "id", id).of(s); w.Code != http.StatusForbidden || len(tried) > 0 {
		t.Errorf("a stranger: %d, %v", w.Code, tried)
	}
	said := map[string]bool{}
	for _, c := range []struct {
		status int
		why    string
		want   string
	}{
		{202, "", "The trial was taken: answer 202."}, {410, "", "gone for good (410)"}, {307, "", "leads elsewhere (answer 307)"},
		{401, "", "does not let it in (answer 401)"}, {503, "", "did not take it (answer 503)"}, {0, "i/o timeout", "no answer: i/o timeout."},
	} {
		status, why = c.status, c.why
		w := post("/manager/webhooks/try", "id", id).as("", "secret-of-boss").of(s)
		if w.Code != http.StatusOK || !strings.Contains(w.Body.String(), c.want) {
			t.Errorf("%d: %d, nothing says %q", c.status, w.Code, c.want)
		}
		for _, l := range words.All() {
			says := trialWords(l, c.status, c.why)
			if said[says] || strings.ContainsAny(says, "{}") || strings.Contains(says, "hook-trial") {
				t.Errorf("%s, %d: %q", l.Code(), c.status, says)
			}
			said[says] = true
		}
	}
	if len(tried) != 6 {
		t.Errorf("tried %d times", len(tried))
	}
	if w := post("/manager/webhooks/try", "id", "gone").as("", "secret-of-boss").of(s); w.Code != http.StatusNotFound || !strings.Contains(w.Body.String(), "no such webhook") {
		t.Errorf("one that is gone: %d", w.Code)
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
