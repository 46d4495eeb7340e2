package api

import (
	"context"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"

	"drumturn/coordinator"
)

// The document is checked, and so is every answer against it, by
// github.com/pb33f/libopenapi-validator: OpenAPI 3.1 and JSON Schema 2020-12.
func documentOf(t *testing.T) (validator.Validator, map[string]bool) {
	t.Helper()
	doc, err := libopenapi.NewDocument(Document())
	if err != nil {
		t.Fatal(err)
	}
	v, errs := validator.NewValidator(doc)
	if len(errs) > 0 {
		t.Fatal(errs)
	}
	model, err := doc.BuildV3Model()
	if err != nil {
		t.Fatal(err)
	}
	declared := map[string]bool{}
	for path, item := range model.Model.Paths.PathItems.FromOldest() {
		for method, op := range item.GetOperations().FromOldest() {
			for code := range op.Responses.Codes.FromOldest() {
				declared[strings.ToUpper(method)+" "+path+" "+code] = false
			}
		}
	}
	return v, declared
}

func TestDocumentIsOpenAPI(t *testing.T) {
	v, _ := documentOf(t)
	if ok, errs := v.ValidateDocument(); !ok {
		for _, e := range errs {
			t.Errorf("%s: %s %v", e.Message, e.Reason, e.SchemaValidationErrors)
		}
	}
}

// asked is a request of a test, and what is expected of it.
type asked struct {
	pattern, path, token, body string
	want                       int
}

const hookBody = `{"url":"https://hooks.example.org/laundry","kinds":["cycle","fault"]}`

func (k *kit) questions() []asked {
	const room, machine, use, events, hooks, hook = "GET /api/v1/rooms/{room}", "GET /api/v1/rooms/{room}/machines/{machine}", "GET /api/v1/use",
		"GET /api/v1/rooms/{room}/events", "POST /api/v1/webhooks", "DELETE /api/v1/webhooks/{webhook}"
	return []asked{
		{"GET /api/v1/openapi.json", "/api/v1/openapi.json", "", "", 200},
		{"GET /api/v1/building", "/api/v1/building", "status", "", 200},
		{room, "/api/v1/rooms/cellar", "status", "", 200},
		{room, "/api/v1/rooms/attic", "status", "", 404},
		{machine, "/api/v1/rooms/cellar/machines/1", "status", "", 200},
		{machine, "/api/v1/rooms/cellar/machines/2", "status", "", 200},
		{machine, "/api/v1/rooms/cellar/machines/3", "status", "", 200},
		{machine, "/api/v1/rooms/cellar/machines/9", "status", "", 404},
		{use, "/api/v1/use?from=2026-03-01&to=2026-03-16&by=day", "use", "", 200},
		{use, "/api/v1/use?from=2026-03-01&to=2026-03-16", "use", "", 200},
		{use, "/api/v1/use", "use", "", 400},
		{use, "/api/v1/use?from=2026-03-01&to=2026-03-16&room=attic", "use", "", 404},
		{events, "/api/v1/rooms/cellar/events", "events", "", 200},
		{events, "/api/v1/rooms/attic/events", "events", "", 404},
		{events, "/api/v1/rooms/cellar/events?after=yesterday", "events", "", 400},
		{"GET /api/v1/webhooks", "/api/v1/webhooks", "manage-webhooks", "", 200},
		{hooks, "/api/v1/webhooks", "manage-webhooks", hookBody, 201},
		{hooks, "/api/v1/webhooks", "manage-webhooks", `{"url":"http://hooks.example.org/"}`, 400},
		{hooks, "/api/v1/webhooks", "manage-webhooks", `{"url":"https://hooks.example.org/","kinds":["joke"]}`, 400},
		{hooks, "/api/v1/webhooks", "manage-webhooks", `{"url":"https://hooks.example.org/","owner":"me"}`, 400},
		{hooks, "/api/v1/webhooks", "manage-webhooks", `{"url":"https://hooks.example.org/"}{}`, 400},
		{hooks, "/api/v1/webhooks", "manage-webhooks", `{`, 400},
		{hook, "/api/v1/webhooks/nosuch", "manage-webhooks", "", 404},
		{hook, "/api/v1/webhooks/WEBHOOK", "manage-webhooks", "", 204},
		{"GET /api/v1/webhooks", "/api/v1/webhooks", "all", "", 200},
	}
}

// TestEveryAnswerIsAsTheDocumentSays asks for every answer that the document
// names, of every operation, and holds each against it.
func TestEveryAnswerIsAsTheDocumentSays(t *testing.T) {
	v, declared := documentOf(t)
	k := newKit(t)
	check := func(q asked, r *http.Request) int {
		t.Helper()
		w := k.do(r)
		key := fmt.Sprintf("%s %d", q.pattern, w.Code)
		if _, there := declared[key]; !there {
			t.Errorf("%s: the document does not name that answer: %s", key, w.Body)
		}
		declared[key] = true
		if ok, errs := v.ValidateHttpResponse(r, w.Result()); !ok {
			for _, e := range errs {
				t.Errorf("%s: %s: %s %v\n%s", key, e.Message, e.Reason, e.SchemaValidationErrors, w.Body)
			}
		}
		return w.Code
	}
	for _, q := range k.questions() {
		if got := check(q, k.ask(q)); got != q.want {
			t.Errorf("%s %s: %d, want %d", q.pattern, q.path, got, q.want)
		}
	}
	k.tooManyHooks(check)
	for _, q := range k.questions() {
		if q.token == "" {
			continue
		}
		for other, want := range map[string]int{"": 401, "metrics": 403} {
			q := q
			q.token = other
			if got := check(q, k.ask(q)); got != want && got != 429 {
				t.Errorf("%s with token %q: %d, want %d", q.pattern, other, got, want)
			}
		}
		for n := 0; check(q, k.ask(q)) != 429; n++ {
			if n > 1000 {
				t.Fatalf("%s is not limited", q.pattern)
			}
		}
	}
	for _, key := range slices.Sorted(maps.Keys(declared)) {
		if !declared[key] {
			t.Errorf("%s was never given", key)
		}
	}
}

// tooManyHooks adds webhooks until there are as many as there may be.
func (k *kit) tooManyHooks(check func(asked, *http.Request) int) {
	k.Helper()
	q := asked{"POST /api/v1/webhooks", "/api/v1/webhooks", "all", hookBody, 409}
	for n := 0; check(q, k.ask(q)) != 409; n++ {
		if n > 30 {
			k.Fatal("webhooks are not limited")
		}
	}
}

// ask makes the request of a question. A stream ends soon.
func (k *kit) ask(q asked) *http.Request {
	method, _, _ := strings.Cut(q.pattern, " ")
	path := q.path
	if hooks := k.house.People().WebhooksByAge(); len(hooks) > 0 {
		path = strings.ReplaceAll(path, "WEBHOOK", hooks[0].ID)
	}
	r := k.request(method, path, q.token, q.body)
	if strings.Contains(path, "/events") {
		ctx, cancel := context.WithTimeout(r.Context(), 30*time.Millisecond)
		k.Cleanup(cancel)
		r = r.WithContext(ctx)
	}
	return r
}

// TestRequestsAreAsTheDocumentSays: what these tests ask, but for what they ask
// wrongly, is what the document lets one ask.
func TestRequestsAreAsTheDocumentSays(t *testing.T) {
	v, _ := documentOf(t)
	k := newKit(t)
	for _, q := range k.questions() {
		r := k.ask(q)
		ok, errs := v.ValidateHttpRequest(r)
		if fine := q.want < 400 || q.want == 404 || strings.Contains(q.path, "after=") || strings.Contains(q.body, "http://"); !ok && fine {
			t.Errorf("%s %s: %v", q.pattern, q.path, errs[0])
		}
		if ok && q.want == 400 && (q.path == "/api/v1/use" || strings.Contains(q.body, "joke") || strings.Contains(q.body, "owner")) {
			t.Errorf("%s %s %s: the document lets that pass", q.pattern, q.path, q.body)
		}
	}
}

// TestAWrongAnswerIsFound: the check can fail.
func TestAWrongAnswerIsFound(t *testing.T) {
	v, _ := documentOf(t)
	r := httptest.NewRequest("GET", "/api/v1/building", nil)
	for _, body := range []string{`{"name":"x"}`, `{"name":"x","as_of":"noon","rooms":[],"home":"12"}`, `{"name":1,"as_of":"2026-03-17T12:00:00Z","rooms":[]}`} {
		wrong := &http.Response{StatusCode: 200, Header: http.Header{"Content-Type": {"application/json"}}, Body: io.NopCloser(strings.NewReader(body))}
		if ok, _ := v.ValidateHttpResponse(r, wrong); ok {
			t.Errorf("%s passes", body)
		}
	}
}

// TestDocumentNamesEveryKindAndScope: what may come is what is written.
func TestDocumentNamesEveryKindAndScope(t *testing.T) {
	text := string(Document())
	for _, kind := range coordinator.PublicKinds() {
		if !strings.Contains(text, `"`+string(kind)+`"`) {
			t.Errorf("the kind %q is not in the document", kind)
		}
	}
	for _, scope := range coordinator.TokenScopes() {
		if !strings.Contains(text, string(scope)+" (") {
			t.Errorf("the scope %q is not in the document", scope)
		}
	}
}
