package ui

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"testing"

	"drumturn/coordinator"
)

func TestAnotherSitesFormsAreRefused(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.resident("dan", "h6")
	s := newTestServer(t, h, nil)
	cases := []struct {
		name   string
		header http.Header
		want   int
	}{
		{"our page", http.Header{"Sec-Fetch-Site": {"same-origin"}}, 303},
		{"typed address", http.Header{"Sec-Fetch-Site": {"none"}}, 303},
		{"another site", http.Header{"Sec-Fetch-Site": {"cross-site"}}, 403},
		{"a neighbour of the domain", http.Header{"Sec-Fetch-Site": {"same-site"}}, 403},
		{"old browser, our page", http.Header{"Sec-Fetch-Site": {}, "Origin": {"http://localhost:8080"}}, 303},
		{"old browser, another site", http.Header{"Sec-Fetch-Site": {}, "Origin": {"https://evil.example"}}, 403},
		{"old browser, hidden origin", http.Header{"Sec-Fetch-Site": {}, "Origin": {"null"}}, 403},
		{"a script", http.Header{"Sec-Fetch-Site": {}}, 303},
	}
	for _, c := range cases {
		a := post("/r/cellar/turns/6", "do", "leave").as("secret-of-dan", "")
		a.header = c.header
		if w := a.of(s); w.Code != c.want {
			t.Errorf("%s: %d, want %d", c.name, w.Code, c.want)
		}
		b := post("/r/cellar/loads/8", "do", "collected").as("secret-of-dan", "")
		b.header = c.header
		if w := b.of(s); (w.Code == 403) != (c.want == 403) {
			t.Errorf("a notice's button, %s: %d", c.name, w.Code)
		}
	}
}

// TestAGetChangesNothing: links and pictures cannot act in a visitor's name.
func TestAGetChangesNothing(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.resident("dan", "h6")
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, h, nil)
	for _, r := range s.routes() {
		if r.method == http.MethodGet && !strings.HasSuffix(r.path, "/events") {
			path := strings.NewReplacer(":room", "cellar", ":machine", "w1", ":turn", "6").Replace(r.path)
			get(path+"?do=leave&need=wash").as("secret-of-dan", "secret-of-boss").of(s)
		}
	}
	if got := fmt.Sprint(h.events(), h.peopleEv); got != "[] []" {
		t.Errorf("told %s", got)
	}
}

func TestHeaders(t *testing.T) {
	s := newTestServer(t, newFakeHouse(fullRoom(), smallRoom()), nil)
	for _, path := range []string{"/", "/r/cellar", "/nothing", "/sw.js", "/manager", "/healthz"} {
		h := get(path).of(s).Header()
		csp := h.Get("Content-Security-Policy")
		for _, want := range []string{"default-src 'none'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'"} {
			if !strings.Contains(csp, want) {
				t.Errorf("%s: policy %q lacks %s", path, csp, want)
			}
		}
		if strings.Contains(csp, "unsafe") || strings.Contains(csp, "*") {
			t.Errorf("%s: policy %q is loose", path, csp)
		}
		if h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Referrer-Policy") != "same-origin" {
			t.Errorf("%s: %v", path, h)
		}
	}
	if got := get("/manager").of(s).Header().Get("Cache-Control"); got != "no-store" {
		t.Errorf("the manager's page may be kept: %q", got)
	}
}

// TestNoInlineCode: the policy would refuse it, so no page may hold any.
func TestNoInlineCode(t *testing.T) {
	h := newFakeHouse(fullRoom(), smallRoom())
	h.resident("fay", "h8")
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, h, nil)
	for _, path := range []string{"/", "/r/cellar", "/r/cellar/wall", "/r/cellar/m/w4", "/r/cellar/join", "/me", "/manager", "/nothing"} {
		page := get(path).as("secret-of-fay", "secret-of-boss").of(s).Body.String()
		for _, bad := range []string{" style=", "<style", " onclick=", " onload=", "javascript:", "<script>", "http-equiv=\"Content"} {
			if strings.Contains(page, bad) {
				t.Errorf("%s holds %q", path, bad)
			}
		}
	}
}

func TestCookies(t *testing.T) {
	cases := []struct {
		url, name string
		secure    bool
	}{
		{"https://laundry.example", "__Host-drumturn", true},
		{"http://localhost:8080", "__Host-drumturn", true},
		{"http://127.0.0.1:8080", "__Host-drumturn", true},
		{"http://[::1]:8080", "__Host-drumturn", true},
		{"http://laundry.lan:8080", "drumturn", false},
		{"http://192.168.7.2:8080", "drumturn", false},
	}
	for _, c := range cases {
		h := newFakeHouse(fullRoom())
		s := newTestServer(t, h, func(o *Options) { o.PublicURL = c.url })
		w := post("/r/cellar/join", "code", "tidewater", "home", "12").of(s)
		got := w.Result().Cookies()
		if len(got) != 1 {
			t.Errorf("%s: cookies %v", c.url, got)
			continue
		}
		k := got[0]
		if k.Name != c.name || k.Secure != c.secure || !k.HttpOnly || k.SameSite != http.SameSiteLaxMode || k.Path != "/" || k.Domain != "" {
			t.Errorf("%s: %v", c.url, k)
		}
		if len(k.Value) != 43 { // 32 bytes, base64url without padding
			t.Errorf("%s: the secret has %d characters", c.url, len(k.Value))
		}
		ev := h.peopleEv[0].(coordinator.JoinBuilding)
		if ev.SessionHash != hashSecret(k.Value) || strings.Contains(fmt.Sprint(ev), k.Value) {
			t.Errorf("%s: the secret itself is stored", c.url)
		}
	}
}

// TestSessionsEnd: at their time, by signing out, and nobody can plant one.
func TestSessionsEnd(t *testing.T) {
	h := newFakeHouse(fullRoom())
	secret := h.resident("dan", "h6")
	s := newTestServer(t, h, nil)
	isIn := func(secret string) bool {
		return strings.Contains(get("/me").as(secret, "").of(s).Body.String(), "Forget me")
	}
	if !isIn(secret) || isIn("planted") || isIn(strings.Repeat("x", 5000)) {
		t.Error("who is in is wrong")
	}
	w := post("/me/sign-out").as(secret, "").of(s)
	if k := w.Result().Cookies(); len(k) != 1 || k[0].MaxAge >= 0 {
		t.Errorf("the cookie stays: %v", k)
	}
	if isIn(secret) {
		t.Error("the session outlives signing out")
	}
	secret = h.resident("eve", "h7")
	h.now = noon.AddDate(1, 0, 1)
	if isIn(secret) {
		t.Error("the session outlives its time")
	}
}

// TestAResidentIsNoManager: the two cookies open only their own doors.
func TestAResidentIsNoManager(t *testing.T) {
	h := newFakeHouse(fullRoom())
	dan := h.resident("dan", "h6")
	s := newTestServer(t, h, nil)
	if page := get("/manager").as("", dan).of(s).Body.String(); strings.Contains(page, "Needs a hand") {
		t.Error("a resident's secret opens the manager's page")
	}
}

func TestGuessingIsLimited(t *testing.T) {
	codes := func(s *Server, a ask, n int) (last int) {
		for range n {
			last = a.of(s).Code
		}
		return last
	}
	h := newFakeHouse(fullRoom())
	h.people.FirstToken = hashSecret("token")
	s := newTestServer(t, h, nil)
	for _, a := range []ask{
		post("/r/cellar/join", "code", "guess", "home", "12"),
		post("/manager/sign-in", "passphrase", "guess guess guess"),
		post("/manager/first", "token", "guess", "passphrase", "guess guess guess", "again", "guess guess guess"),
		post("/r/cellar/m/w4", "do", "fault", "text", "spam"),
	} {
		if got := codes(s, a, 25); got != http.StatusTooManyRequests {
			t.Errorf("%s: the 25th try gives %d", a.path, got)
		}
	}
}

// TestNobodyPretendsAnotherAddress: X-Forwarded-For counts only from proxies
// that the building file names.
func TestNobodyPretendsAnotherAddress(t *testing.T) {
	tries := func(s *Server) (last int) {
		for i := range 30 {
			a := post("/r/cellar/join", "code", "guess", "home", "12")
			a.header = http.Header{"X-Forwarded-For": {fmt.Sprintf("203.0.113.%d", i)}, "X-Real-Ip": {fmt.Sprintf("203.0.113.%d", i)}}
			last = a.of(s).Code
		}
		return last
	}
	if got := tries(newTestServer(t, newFakeHouse(fullRoom()), nil)); got != http.StatusTooManyRequests {
		t.Errorf("thirty tries under thirty pretended addresses: %d", got)
	}
	trusting := newTestServer(t, newFakeHouse(fullRoom()), func(o *Options) {
		o.TrustedProxies = []netip.Prefix{netip.MustParsePrefix("192.0.2.1/24")} // httptest's address
	})
	if got := tries(trusting); got != http.StatusForbidden {
		t.Errorf("thirty visitors behind the proxy: %d", got)
	}
}

func TestLongBodiesAreRefused(t *testing.T) {
	s := newTestServer(t, newFakeHouse(fullRoom()), nil)
	for _, n := range []int{20_000, 100_000} {
		a := post("/r/cellar/join", "code", strings.Repeat("x", n))
		if w := a.of(s); w.Code != http.StatusRequestEntityTooLarge {
			t.Errorf("%d bytes: %d", n, w.Code)
		}
	}
}

func TestAssetsStayInTheirFolder(t *testing.T) {
	s := newTestServer(t, newFakeHouse(fullRoom()), nil)
	sum := s.assets.sum
	if w := get("/static/" + sum + "/app.css").of(s); w.Code != 200 || !strings.Contains(w.Header().Get("Cache-Control"), "immutable") {
		t.Errorf("the style sheet: %d %v", w.Code, w.Header())
	}
	for _, path := range []string{
		"/static/" + sum + "/../../server.go", "/static/" + sum + "/..%2f..%2fserver.go", "/static/" + sum + "/%2e%2e/server.go",
		"/static/0000/app.css", "/static/" + sum + "/", "/icons/..%2fserver.go", "/static/..%5c..%5cserver.go/x",
	} {
		if w := get(path).of(s); w.Code != http.StatusNotFound {
			t.Errorf("%s: %d", path, w.Code)
		}
	}
}

// TestWhatWasTypedIsText: names and reasons cannot become mark-up.
func TestWhatWasTypedIsText(t *testing.T) {
	const evil = `"><script>alert(1)</script>{{.}}`
	room := fullRoom()
	room.Name, room.Machines[7].OutText = evil, evil
	room.Machines[0].Faults = []coordinator.Fault{{At: noon, Text: evil}}
	h := newFakeHouse(room, smallRoom())
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, h, nil)
	for _, a := range []ask{
		get("/"), get("/r/cellar"), get("/r/cellar/wall"), get("/manager").as("", "secret-of-boss"),
		get("/r/cellar/join?code=" + url.QueryEscape(evil)),
		post("/r/cellar/join", "code", evil, "home", evil, "name", evil),
	} {
		page := a.of(s).Body.String()
		if strings.Contains(page, "<script>alert") || !strings.Contains(page, "&lt;script&gt;") {
			t.Errorf("%s shows mark-up, or nothing of what was typed", a.path)
		}
	}
	unmanaged := newTestServer(t, newFakeHouse(room), nil)
	page := get("/manager/first?token=" + url.QueryEscape(evil)).of(unmanaged).Body.String()
	if strings.Contains(page, "<script>alert") || !strings.Contains(page, "&lt;script&gt;") {
		t.Error("the one-time link's page shows mark-up, or nothing of its token")
	}
}

// TestErrors: refusals keep their sentence even when wrapped; anything else is
// logged once and never shown.
func TestErrors(t *testing.T) {
	var log bytes.Buffer
	h := newFakeHouse(fullRoom())
	h.resident("dan", "h6")
	s := newTestServer(t, h, func(o *Options) { o.Log = slog.New(slog.NewTextHandler(&log, nil)) })
	leave := post("/r/cellar/turns/6", "do", "leave").as("secret-of-dan", "")
	cases := []struct {
		err    error
		status int
		text   string
		logged bool
	}{
		{coordinator.Refuse(coordinator.Conflict, "x", "This turn is over."), 409, "This turn is over.", false},
		{fmt.Errorf("room cellar: %w", coordinator.Refuse(coordinator.NotAllowed, "x", "Not yours.")), 403, "Not yours.", false},
		{errors.New("disk full at /var/lib/secret"), 500, "Something went wrong", true},
		{context.DeadlineExceeded, 503, "busy or stopping", true},
	}
	for _, c := range cases {
		log.Reset()
		h.refuse = c.err
		w := leave.of(s)
		if w.Code != c.status || !strings.Contains(w.Body.String(), c.text) {
			t.Errorf("%v: %d %s", c.err, w.Code, said(w.Body.Bytes()))
		}
		if strings.Contains(w.Body.String(), "/var/lib") {
			t.Errorf("%v: shown to the visitor", c.err)
		}
		if n := strings.Count(log.String(), "level=ERROR"); (n == 1) != c.logged {
			t.Errorf("%v: logged %d times: %s", c.err, n, log.String())
		}
	}
}

func TestCodesAndTheirStatus(t *testing.T) {
	for code, want := range map[coordinator.Code]int{
		coordinator.Invalid: 422, coordinator.NotFound: 404, coordinator.NotAllowed: 403,
		coordinator.Conflict: 409, coordinator.OverLimit: 409, 0: 500, 99: 500,
	} {
		if got := statusOf(code); got != want {
			t.Errorf("%d: %d, want %d", code, got, want)
		}
	}
}

// panicHouse breaks in the middle of a page.
type panicHouse struct{ *fakeHouse }

func (panicHouse) People() *coordinator.People { panic("people are gone") }

func TestAPanicIsAnAnswer(t *testing.T) {
	var log bytes.Buffer
	h := panicHouse{newFakeHouse(fullRoom())}
	s := newTestServer(t, h, func(o *Options) { o.Log = slog.New(slog.NewTextHandler(&log, nil)) })
	w := get("/r/cellar/join.svg").of(s)
	if w.Code != http.StatusInternalServerError || strings.Contains(w.Body.String(), "people are gone") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	if !strings.Contains(log.String(), "people are gone") {
		t.Error("the panic is in no log")
	}
}

// TestSecretsStayOutOfTheLog runs what handles secrets with everything logged.
func TestSecretsStayOutOfTheLog(t *testing.T) {
	var log bytes.Buffer
	h := newFakeHouse(fullRoom())
	h.people.FirstToken = hashSecret("token-of-the-link")
	s := newTestServer(t, h, func(o *Options) {
		o.Log = slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	})
	post("/manager/first", "token", "token-of-the-link", "passphrase", "ember thistle kettle", "again", "ember thistle kettle").of(s)
	post("/manager/sign-in", "passphrase", "wrong horse entirely").of(s)
	post("/r/cellar/join", "code", "tidewater", "home", "12").of(s)
	h.refuse = errors.New("broken")
	post("/manager/sign-in", "passphrase", "ember thistle kettle").of(s)
	for _, secret := range []string{"token-of-the-link", "ember thistle", "wrong horse", "tidewater", "argon2id"} {
		if strings.Contains(log.String(), secret) {
			t.Errorf("the log holds %q:\n%s", secret, log.String())
		}
	}
	if !strings.Contains(log.String(), "wrong passphrase") {
		t.Error("a wrong passphrase leaves no trace")
	}
}

// TestCompressedOnce: whatever a browser unpacks once is what was meant.
func TestCompressedOnce(t *testing.T) {
	s := newTestServer(t, newFakeHouse(fullRoom(), smallRoom()), nil)
	for _, path := range []string{"/", "/r/cellar", "/sw.js", "/static/" + s.assets.sum + "/app.css", "/static/" + s.assets.sum + "/app.js"} {
		plain := get(path).of(s).Body.Bytes()
		a := get(path)
		a.header = http.Header{"Accept-Encoding": {"gzip, br"}}
		w := a.of(s)
		body := io.Reader(w.Body)
		if w.Header().Get("Content-Encoding") == "gzip" {
			var err error
			if body, err = gzip.NewReader(body); err != nil {
				t.Errorf("%s: %v", path, err)
				continue
			}
		}
		if got, err := io.ReadAll(body); err != nil || !bytes.Equal(got, plain) {
			t.Errorf("%s: unpacked once it is not the file: %v", path, err)
		}
	}
}
