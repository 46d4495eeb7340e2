package main

import (
	"crypto/x509"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/push"
	"drumturn/push/hooks"
	"drumturn/ui/api"
)

// asProgram asks the running program with a token, whose answer it gives.
func (w *wired) asProgram(path, secret string) (int, string) {
	w.Helper()
	r, err := http.NewRequestWithContext(w.Context(), http.MethodGet, "http://"+w.app.address()+path, nil)
	if err != nil {
		w.Fatal(err)
	}
	if secret != "" {
		r.Header.Set("Authorization", "Bearer "+secret)
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		w.Fatal(err)
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		w.Fatal(err)
	}
	return answer.StatusCode, string(body)
}

// TestOtherPrograms: the running program answers one that has a token, and posts
// what happens, signed, to the address that it was told.
func TestOtherPrograms(t *testing.T) {
	posted := make(chan coordinator.PublicEvent, 10)
	receiver := httptest.NewTLSServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		var ev coordinator.PublicEvent
		if err := json.Unmarshal(body, &ev); err != nil || r.Header.Get(hooks.HeaderSignature) != hooks.Sign("shared", evening, body) {
			t.Errorf("%s, signed %s: %v", body, r.Header.Get(hooks.HeaderSignature), err)
		}
		posted <- ev
	}))
	defer receiver.Close()
	roots := x509.NewCertPool()
	roots.AddCert(receiver.Certificate())
	w := wiring(t, handBuilding, nil)
	s := w.setup()
	s.client = push.ClientOptions{AllowPrivate: true, RootCAs: roots}
	w.startAs(s)
	const secret = api.TokenSecret + "test"
	for _, ev := range []coordinator.PeopleEvent{
		coordinator.MakeToken{Token: coordinator.Token{Name: "test", Hash: api.Hash(secret), Scopes: []coordinator.TokenScope{coordinator.ScopeStatus, coordinator.ScopeUse}}},
		coordinator.AddWebhook{Webhook: coordinator.Webhook{ID: "h1", URL: receiver.URL, Secret: "shared", Kinds: []coordinator.FactKind{coordinator.FactOut}}},
	} {
		if err := w.app.house.DoPeople(t.Context(), ev); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := w.app.house.Do(t.Context(), "cellar", coordinator.TakeOut{Machine: "1", Text: "typed"}); err != nil {
		t.Fatal(err)
	}
	if ev := <-posted; ev.Kind != coordinator.FactOut || ev.Machine != "1" || ev.Room != "cellar" || ev.Detail != "" {
		t.Errorf("posted %+v", ev)
	}
	w.until("the note of it", func() bool {
		st := w.app.house.People().HookStates["h1"]
		return len(st.Calls) == 1 && st.Calls[0].Outcome == coordinator.HookTaken
	})
	for path, want := range map[string]string{
		"/api/v1/building":                                 `"status":"out"`,
		"/api/v1/rooms/cellar":                             `"id":"cellar"`,
		"/api/v1/openapi.json":                             `"openapi": "3.1.0"`,
		"/api/v1/use?from=2026-03-01&to=2026-03-03&by=day": `"periods":[{"from":"2026-03-01"`,
	} {
		if status, body := w.asProgram(path, secret); status != http.StatusOK || !strings.Contains(body, want) {
			t.Errorf("%s: %d %s", path, status, body)
		}
	}
	for path, want := range map[string]int{
		"/api/v1/use?from=2026-03-09&to=2026-03-03": 400, "/api/v1/use?from=1&to=2": 400, "/api/v1/use?from=2026-03-01&to=2026-03-03&room=loft": 400,
		"/api/v1/use?from=2026-03-01&to=2026-03-03&by=year": 400, "/api/v1/webhooks": 403,
	} {
		if status, body := w.asProgram(path, secret); status != want {
			t.Errorf("%s: %d %s", path, status, body)
		}
	}
	if status, _ := w.asProgram("/api/v1/building", ""); status != http.StatusUnauthorized {
		t.Errorf("a stranger: %d", status)
	}
}

// TestUseRowSaysEveryTime: running, blocked and out of service are each their own
// seconds, and the share is of the hours in which machines could run.
func TestUseRowSaysEveryTime(t *testing.T) {
	d := coordinator.Date{Year: 2026, Month: 2, Day: 3}
	figures := usage.Figures{
		Days: 1, Cycles: 4, Running: 3 * time.Hour, RunningOpen: 2 * time.Hour, Open: 8 * time.Hour, Blocked: 20 * time.Minute, Out: 6 * time.Hour,
	}
	got := useRow(&usage.Report{}, &usage.Row{From: d, To: d, Room: "cellar", Machine: "1", Figures: figures})
	want := api.UseRow{
		From: "2026-02-03", To: "2026-02-03", Room: "cellar", Machine: "1", Days: 1, Cycles: 4,
		RunningS: 10800, BlockedS: 1200, OutOfServiceS: 21600, Utilisation: 0.25,
	}
	if got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
}

// TestMetricsAndReadiness of the running program: to whom, and what is said when
// the store is gone.
func TestMetricsAndReadiness(t *testing.T) {
	w := wiring(t, handBuilding, nil).start()
	const secret = api.TokenSecret + "metrics"
	ev := coordinator.MakeToken{Token: coordinator.Token{Name: "metrics", Hash: api.Hash(secret), Scopes: []coordinator.TokenScope{coordinator.ScopeMetrics}}}
	if err := w.app.house.DoPeople(t.Context(), ev); err != nil {
		t.Fatal(err)
	}
	if status, body := w.asProgram("/metrics", ""); status != http.StatusUnauthorized || strings.Contains(body, "drumturn_") {
		t.Errorf("a stranger reads %d %s", status, body)
	}
	status, body := w.asProgram("/metrics", secret)
	for _, want := range []string{`drumturn_machine_status{machine="1",room="cellar",status="`, "drumturn_store_size_bytes ", "drumturn_turns_waiting"} {
		if status != http.StatusOK || !strings.Contains(body, want) {
			t.Errorf("%d: nothing says %s", status, want)
		}
	}
	w.asProgram("/api/v1/rooms/cellar", secret)
	w.asProgram("/api/v1/rooms/attic", secret)
	w.asProgram("/nowhere/"+secret, "")
	_, body = w.asProgram("/metrics", secret)
	for _, want := range []string{
		`drumturn_http_request_duration_seconds_count{code="401",method="GET",route="/metrics"} 1`,
		`drumturn_http_request_duration_seconds_count{code="403",method="GET",route="/api/v1/rooms/{room}"} 2`,
		`drumturn_http_request_duration_seconds_count{code="404",method="GET",route="none"} 1`,
	} {
		if !strings.Contains(body, want) {
			t.Errorf("nothing says %s", want)
		}
	}
	if strings.Contains(body, secret) || strings.Contains(body, "nowhere") {
		t.Error("an address is a label")
	}
	if status, body := w.asProgram("/readyz", ""); status != http.StatusOK || !strings.Contains(body, `"store":"ok"`) || !strings.Contains(body, `"meters":"`) {
		t.Errorf("%d %s", status, body)
	}
	if status, body := w.asProgram("/healthz", ""); status != http.StatusOK || body != "well\n" {
		t.Errorf("%d %s", status, body)
	}
	w.end()
	parts, ok := w.app.ready(t.Context())
	if ok || parts["store"] == "ok" || parts["rooms"] == "ok" || parts["people"] == "ok" || strings.Contains(parts["store"], w.dir) {
		t.Errorf("closed: %v %v", parts, ok)
	}
}
