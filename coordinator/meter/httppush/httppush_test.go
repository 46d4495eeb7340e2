package httppush

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"runtime"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator/meter"
)

const (
	tokenOne = "one-0123456789abcdef"
	tokenTwo = "two-0123456789abcdef"
)

// inbox is a Sink that remembers, and checks readings as the program does.
type inbox struct {
	mu       sync.Mutex
	took     []string
	failures []error
	err      error
	wait     chan struct{}
}

func (b *inbox) Deliver(ctx context.Context, name string, s meter.Sample) error {
	if b.wait != nil {
		select {
		case <-b.wait:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.err != nil {
		return b.err
	}
	if _, err := meter.Check(name, s, time.Now()); err != nil {
		return err
	}
	entry := fmt.Sprintf("%s %g W", name, s.Watts)
	if s.Wh == s.Wh {
		entry += fmt.Sprintf(" %g Wh", s.Wh)
	}
	if !s.Stamp.IsZero() {
		entry += s.Stamp.Format(" 15:04:05")
	}
	b.took = append(b.took, entry)
	return nil
}

func (b *inbox) Fail(_ string, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.failures = append(b.failures, err)
}

func (b *inbox) all() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return strings.Join(b.took, ", ")
}

func newPush(t testing.TB, opts Options) *Push {
	t.Helper()
	if opts.Meters == nil {
		opts.Meters = []Meter{{Name: "one", Token: tokenOne}, {Name: "two", Token: tokenTwo, Format: meter.Format{Watts: "/p"}}}
	}
	p, err := New(opts)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// open runs p with box, and returns once its handler is open.
func open(t testing.TB, p *Push, box meter.Sink) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- p.Run(ctx, box) }()
	for {
		if s, leave := p.enter(); s != nil {
			leave()
			break
		}
		runtime.Gosched()
	}
	return func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
}

func request(method, path, authorization, body string) *http.Request {
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	if authorization != "" {
		r.Header.Set("Authorization", authorization)
	}
	return r
}

func do(p *Push, r *http.Request) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	p.Handler().ServeHTTP(w, r)
	return w
}

func TestPush(t *testing.T) {
	one, two := "Bearer "+tokenOne, "Bearer "+tokenTwo
	for name, c := range map[string]struct {
		method, path, auth, body string
		status                   int
		took                     string
		says                     string
	}{
		"object":        {"POST", "/readings/", one, `{"watts":12.5,"wh":3,"time":"2026-01-02T15:04:05Z"}`, 204, "one 12.5 W 3 Wh 15:04:05", ""},
		"bare number":   {"POST", "/readings/", one, "12.5", 204, "one 12.5 W", ""},
		"with name":     {"POST", "/readings/one", one, "1", 204, "one 1 W", ""},
		"without slash": {"POST", "/readings", one, "1", 204, "one 1 W", ""},
		"prefix taken":  {"POST", "/", one, "1", 204, "one 1 W", ""},
		"own format":    {"POST", "/readings/two", two, `{"p":7}`, 204, "two 7 W", ""},
		"lower case":    {"POST", "/readings/", "bearer " + tokenOne, "1", 204, "one 1 W", ""},
		"several": {"POST", "/readings/", one, `[{"watts":1,"time":1767366245},{"watts":2,"time":1767366246}]`, 204,
			"one 1 W 15:04:05, one 2 W 15:04:06", ""},

		"not posted":      {"GET", "/readings/", one, "", 405, "", "Send readings with POST"},
		"no token":        {"POST", "/readings/", "", "1", 401, "", "Authorization: Bearer TOKEN"},
		"wrong token":     {"POST", "/readings/", one + "x", "1", 401, "", "No meter has this token"},
		"half a token":    {"POST", "/readings/", one[:20], "1", 401, "", "No meter has this token"},
		"other scheme":    {"POST", "/readings/", "Basic " + tokenOne, "1", 401, "", "No meter has this token"},
		"empty token":     {"POST", "/readings/", "Bearer ", "1", 401, "", "No meter has this token"},
		"another's place": {"POST", "/readings/two", one, "1", 404, "", "/readings/one"},
		"deeper":          {"POST", "/readings/one/x", one, "1", 404, "", "nothing here"},
		"no body":         {"POST", "/readings/", one, "", 400, "", "it is empty"},
		"no JSON":         {"POST", "/readings/", one, "on", 400, "", "neither a number nor JSON"},
		"elsewhere":       {"POST", "/readings/", one, `{"power":5}`, 400, "", `its numbers are at ["/power"]`},
		"own format only": {"POST", "/readings/", two, "5", 400, "", `nothing at "/p"`},
		"implausible":     {"POST", "/readings/", one, "-700", 400, "", "wrong way round"},
		"ahead":           {"POST", "/readings/", one, `{"watts":1,"time":"2199-01-01T00:00:00Z"}`, 400, "", "ahead of the clock"},
		"nothing":         {"POST", "/readings/", one, "[]", 400, "", "no reading in it"},
		"one is bad":      {"POST", "/readings/", one, `[{"watts":1,"time":1767366245},{"watts":"x","time":1767366246}]`, 400, "", "reading 2 of 2"},
		"without times":   {"POST", "/readings/", one, `[{"watts":1},{"watts":2}]`, 400, "", "reading 1 of 2 has no time"},
		"newest first":    {"POST", "/readings/", one, `[{"watts":1,"time":1767366246},{"watts":2,"time":1767366245}]`, 400, "", "oldest first"},
		"some refused": {"POST", "/readings/", one, `[{"watts":1,"time":1767366245},{"watts":-99,"time":1767366246},{"watts":3,"time":1767366247}]`, 400,
			"one 1 W 15:04:05, one 3 W 15:04:07", "1 of 3 readings were refused"},
		"too large": {"POST", "/readings/", one, strings.Repeat("1", 100), 413, "", "larger than 99 bytes"},
	} {
		t.Run(name, func(t *testing.T) {
			box := &inbox{}
			opts := Options{}
			if c.status == 413 {
				opts.MaxBody = 99
			}
			p := newPush(t, opts)
			defer open(t, p, box)()
			w := do(p, request(c.method, c.path, c.auth, c.body))
			if w.Code != c.status || !strings.Contains(w.Body.String(), c.says) {
				t.Errorf("%d %q, want %d and %q", w.Code, w.Body, c.status, c.says)
			}
			if got := box.all(); got != c.took {
				t.Errorf("taken %q, want %q", got, c.took)
			}
			if strings.Contains(w.Body.String(), tokenOne) {
				t.Error("the answer shows the token")
			}
			if n := len(box.failures); (c.status == 400 || c.status == 413) && n == 0 &&
				!strings.Contains(name, "implausible") && name != "ahead" && name != "some refused" {
				t.Error("nothing about it beside the meter")
			}
			checkHeaders(t, w)
		})
	}
}

// checkHeaders holds what RFC 9110 asks for: WWW-Authenticate with 401 (section
// 15.5.2), Allow with 405 (15.5.6), Retry-After with 503 (15.6.4, a may).
func checkHeaders(t *testing.T, w *httptest.ResponseRecorder) {
	t.Helper()
	for status, header := range map[int]string{401: "WWW-Authenticate", 405: "Allow", 503: "Retry-After"} {
		if got := w.Header().Get(header); (got != "") != (w.Code == status) {
			t.Errorf("%d with %s %q", w.Code, header, got)
		}
	}
	if w.Code == 204 && w.Body.Len() > 0 {
		t.Error("204 with a body")
	}
	if w.Code != 204 && !strings.HasPrefix(w.Header().Get("Content-Type"), "text/plain") {
		t.Errorf("type %q", w.Header().Get("Content-Type"))
	}
}

func TestPushRefusalsKeepTheirReason(t *testing.T) {
	box := &inbox{}
	p := newPush(t, Options{})
	defer open(t, p, box)()
	do(p, request("POST", "/readings/", "Bearer "+tokenOne, "{}"))
	var refusal *meter.Refusal
	if len(box.failures) != 1 || !errors.As(box.failures[0], &refusal) || refusal.Reason != meter.Empty {
		t.Errorf("%v", box.failures)
	}
}

func TestPushBusy(t *testing.T) {
	box := &inbox{err: meter.ErrBusy}
	p := newPush(t, Options{})
	defer open(t, p, box)()
	w := do(p, request("POST", "/readings/", "Bearer "+tokenOne, "1"))
	if w.Code != 503 || !strings.Contains(w.Body.String(), "0 of 1 were taken") {
		t.Errorf("%d %q", w.Code, w.Body)
	}
	checkHeaders(t, w)
}

// The answer comes once the reading is in the inbox; when that takes too long,
// or the program ends, the meter is told to come again.
func TestPushWaitsForTheInbox(t *testing.T) {
	for name, end := range map[string]struct {
		do     func(box *inbox, stop func())
		status int
	}{
		"taken":   {func(box *inbox, _ func()) { close(box.wait) }, 204},
		"stuck":   {func(*inbox, func()) { time.Sleep(10 * time.Second) }, 503},
		"the end": {func(_ *inbox, stop func()) { stop() }, 503},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				box := &inbox{wait: make(chan struct{})}
				p := newPush(t, Options{})
				stop := sync.OnceFunc(open(t, p, box))
				answered := make(chan int, 1)
				go func() { answered <- do(p, request("POST", "/readings/", "Bearer "+tokenOne, "1")).Code }()
				synctest.Wait()
				select {
				case status := <-answered:
					t.Errorf("answered %d before the reading was in the inbox", status)
				default:
				}
				end.do(box, stop)
				synctest.Wait()
				select {
				case status := <-answered:
					if status != end.status {
						t.Errorf("answered %d, want %d", status, end.status)
					}
				default:
					t.Error("not answered")
				}
				stop()
			})
		})
	}
}

func TestPushCompressedBody(t *testing.T) {
	p := newPush(t, Options{})
	defer open(t, p, &inbox{})()
	r := request("POST", "/readings/", "Bearer "+tokenOne, "1")
	r.Header.Set("Content-Encoding", "gzip")
	if w := do(p, r); w.Code != 415 {
		t.Errorf("%d %q", w.Code, w.Body)
	}
}

// A body that breaks off is no reading.
func TestPushBrokenBody(t *testing.T) {
	box := &inbox{}
	p := newPush(t, Options{})
	defer open(t, p, box)()
	r := httptest.NewRequest("POST", "/readings/", io.MultiReader(strings.NewReader("12"), brokenReader{}))
	r.Header.Set("Authorization", "Bearer "+tokenOne)
	if w := do(p, r); w.Code != 408 || box.all() != "" {
		t.Errorf("%d %q, taken %q", w.Code, w.Body, box.all())
	}
}

type brokenReader struct{}

func (brokenReader) Read([]byte) (int, error) { return 0, io.ErrUnexpectedEOF }
