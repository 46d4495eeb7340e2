package ui

import (
	"bytes"
	"context"
	"encoding/json"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
	"drumturn/ui/passkey/passkeytest"
)

const (
	adasPhrase = "ember thistle kettle"
	bensPhrase = "walnut gravel sail"
)

// office is a building with the managers Ada and Ben.
type office struct {
	*testing.T
	*fakeHouse
	*Server
}

// phrases are hashed once for all tests: that is slow on purpose.
var phrases = map[string]string{}

func openOffice(t *testing.T, change func(*Options)) *office {
	h := newFakeHouse(fullRoom())
	o := &office{t, h, newTestServer(t, h, change)}
	for name, phrase := range map[string]string{"Ada": adasPhrase, "Ben": bensPhrase} {
		if phrases[name] == "" {
			phc, err := o.hashPassphrase(context.Background(), phrase)
			if err != nil {
				t.Fatal(err)
			}
			phrases[name] = phc
		}
		id := coordinator.PersonID(strings.ToLower(name))
		h.enrol(coordinator.Person{ID: id, Name: name, Manager: true, Joined: noon.Add(-time.Duration(len(h.people.Persons)) * time.Hour)})
		h.people.WaysIn[id] = coordinator.WayIn{Person: id, Passphrase: phrases[name]}
	}
	return o
}

// enter signs in and gives what the browser then holds.
func (o *office) enter(a ask) (w *httptest.ResponseRecorder, cookies map[string]string) {
	o.Helper()
	w = a.of(o.Server)
	cookies = map[string]string{}
	for _, c := range w.Result().Cookies() {
		cookies[c.Name] = c.Value
	}
	return w, cookies
}

func (o *office) isIn(secret string) bool {
	return strings.Contains(get("/manager").as("", secret).of(o.Server).Body.String(), "Needs a hand")
}

const managerCookie, knownCookie = "__Host-drumturn-manager", "__Host-drumturn-known"

func TestManagersSignInByName(t *testing.T) {
	o := openOffice(t, nil)
	if page := get("/manager").of(o.Server).Body.String(); !strings.Contains(page, `name="name"`) {
		t.Error("with several managers nobody is asked who they are")
	}
	for _, c := range []struct {
		name, phrase string
		want         int
	}{
		{"Ada", adasPhrase, 303}, {" ben ", bensPhrase, 303}, {"Ada", bensPhrase, 403}, {"", adasPhrase, 403}, {"Zoe", adasPhrase, 403},
	} {
		w, cookies := o.enter(post("/manager/sign-in", "name", c.name, "passphrase", c.phrase))
		if w.Code != c.want || (cookies[managerCookie] != "") != (c.want == 303) {
			t.Errorf("%+v: %d %v", c, w.Code, cookies)
		}
	}
	delete(o.people.WaysIn, "ben")
	if w, _ := o.enter(post("/manager/sign-in", "passphrase", adasPhrase)); w.Code != 303 {
		t.Errorf("the only manager has to say a name: %d", w.Code)
	}
}

// TestUnknownNamesCostAHash: an answer that came at once would tell which names there are.
func TestUnknownNamesCostAHash(t *testing.T) {
	if _, err := parsePHC(nobodysPHC); err != nil {
		t.Fatal(err)
	}
	o := openOffice(t, nil)
	for range hashesAtOnce {
		o.hashing <- struct{}{} // no place to hash is free
	}
	a := post("/manager/sign-in", "name", "Zoe", "passphrase", adasPhrase).request()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	w := httptest.NewRecorder()
	o.Handler().ServeHTTP(w, a.WithContext(ctx))
	if w.Code == http.StatusForbidden {
		t.Error("answered without a hash")
	}
}

// TestAManagerIsNotLockedOut: whatever somebody guesses, from the same address and
// from others, a known browser and a passkey are let in.
func TestAManagerIsNotLockedOut(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := openOffice(t, nil)
		device := passkeytest.New("http://localhost:8080", "localhost")
		_, ada := o.enter(post("/manager/sign-in", "name", "Ada", "passphrase", adasPhrase))
		o.addKey(ada[managerCookie], device, 204)
		guess := func(from string) int {
			r := post("/manager/sign-in", "name", "Ada", "passphrase", "guess guess guess").request()
			r.RemoteAddr = from + ":4000"
			w := httptest.NewRecorder()
			o.Handler().ServeHTTP(w, r)
			return w.Code
		}
		refused := 0
		for i := range 60 {
			if guess(map[bool]string{true: "192.0.2.1", false: "203.0.113." + string(rune('1'+i%9))}[i%2 == 0]) == 429 {
				refused++
			}
		}
		if refused < 50 {
			t.Errorf("only %d of 60 guesses were refused unread", refused)
		}
		right := post("/manager/sign-in", "name", "Ada", "passphrase", adasPhrase)
		elsewhere := right.request()
		elsewhere.RemoteAddr = "198.51.100.9:4000"
		w := httptest.NewRecorder()
		if o.Handler().ServeHTTP(w, elsewhere); w.Code != 429 || w.Header().Get("Retry-After") == "" || !strings.Contains(w.Body.String(), "A passkey") {
			t.Errorf("a browser that nobody knows, amid the guesses: %d %v", w.Code, w.Header())
		}
		known := right
		known.header = http.Header{"Cookie": {knownCookie + "=" + ada[knownCookie]}}
		if w := known.of(o.Server); w.Code != 303 {
			t.Errorf("the known browser is kept out: %d", w.Code)
		}
		bens := known
		bens.form = url.Values{"name": {"Ben"}, "passphrase": {bensPhrase}}
		if w := bens.of(o.Server); w.Code != 429 {
			t.Errorf("a browser known to Ada passes Ben's limits: %d", w.Code)
		}
		if w := o.byKey(device); w.Code != 204 {
			t.Errorf("the passkey is kept out: %d %s", w.Code, w.Body)
		}
		time.Sleep(longestWait)
		if w := right.of(o.Server); w.Code != 303 {
			t.Errorf("after the wait: %d", w.Code)
		}
		if w := right.of(o.Server); w.Code != 303 {
			t.Errorf("the right one did not clear the wrong ones: %d", w.Code)
		}
	})
}

// TestKnownBrowsersGuessLittle: the cookie of one is worth ten guesses at a time.
func TestKnownBrowsersGuessLittle(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := openOffice(t, nil)
		_, ada := o.enter(post("/manager/sign-in", "name", "Ada", "passphrase", adasPhrase))
		last := 0
		for range 12 {
			a := post("/manager/sign-in", "name", "Ada", "passphrase", "guess guess guess")
			a.header = http.Header{"Cookie": {knownCookie + "=" + ada[knownCookie]}}
			last = a.of(o.Server).Code
		}
		if last != 429 {
			t.Errorf("the twelfth guess of a stolen cookie: %d", last)
		}
	})
}

// TestFewHashAtOnce: who would wait for long is sent away before memory is spent.
func TestFewHashAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := openOffice(t, nil)
		for range hashesAtOnce {
			o.hashing <- struct{}{}
		}
		ctx, cancel := context.WithCancel(t.Context())
		answers := make(chan error, 100)
		for range 100 {
			go func() { answers <- o.takeHashing(ctx) }()
		}
		synctest.Wait()
		if n := len(answers); n != 100-hashesQueued-hashesAtOnce {
			t.Errorf("%d of 100 were sent away", n)
		}
		if err := <-answers; err != error(busy) {
			t.Errorf("sent away with %v", err)
		}
		cancel()
		synctest.Wait()
		if n := o.queued.Load(); n != 0 {
			t.Errorf("%d are counted as waiting for ever", n)
		}
	})
}

// addKey registers a passkey in a session.
func (o *office) addKey(secret string, device *passkeytest.Authenticator, want int) {
	o.Helper()
	w := post("/manager/access/passkeys/begin").as("", secret).of(o.Server)
	var begun struct {
		Ticket  string
		Options json.RawMessage
	}
	if err := json.Unmarshal(w.Body.Bytes(), &begun); err != nil {
		o.Fatalf("%d %s", w.Code, w.Body)
	}
	w = post("/manager/access/passkeys", "ticket", begun.Ticket, "answer", string(device.Register(begun.Options)), "name", "phone").as("", secret).of(o.Server)
	if w.Code != want {
		o.Fatalf("registering: %d %s", w.Code, w.Body)
	}
}

// challenge begins a sign-in.
func (o *office) challenge() (ticket string, options []byte) {
	o.Helper()
	w := post("/manager/passkey/begin").of(o.Server)
	var begun struct {
		Ticket  string
		Options json.RawMessage
	}
	if err := json.Unmarshal(w.Body.Bytes(), &begun); err != nil || w.Header().Get("Cache-Control") != "no-store" {
		o.Fatalf("%d %s %v", w.Code, w.Body, w.Header())
	}
	return begun.Ticket, begun.Options
}

func (o *office) byKey(device *passkeytest.Authenticator) *httptest.ResponseRecorder {
	o.Helper()
	ticket, options := o.challenge()
	return post("/manager/passkey", "ticket", ticket, "answer", string(device.SignIn(options))).of(o.Server)
}

// TestPasskeys: added in a session, opens a new one, is refused once removed, and
// when it may have been copied.
func TestPasskeys(t *testing.T) {
	var log bytes.Buffer
	o := openOffice(t, func(opt *Options) { opt.Log = slog.New(slog.NewTextHandler(&log, nil)) })
	device := passkeytest.New("http://localhost:8080", "localhost")
	device.Count = 7
	if w := post("/manager/access/passkeys/begin").of(o.Server); w.Code != 403 {
		t.Errorf("a stranger may add a passkey: %d", w.Code)
	}
	o.addKey("secret-of-ada", device, 204)
	copied := *device
	w := o.byKey(device)
	cookies := w.Result().Cookies()
	if w.Code != 204 || len(cookies) != 2 || !o.isIn(cookies[0].Value) {
		t.Fatalf("signing in: %d %s %v", w.Code, w.Body, cookies)
	}
	way := o.People().WaysIn["ada"]
	if len(way.Keys) != 1 || way.Keys[0].Name != "phone" || !way.Keys[0].Used.Equal(noon) || way.Handle == "" {
		t.Fatalf("kept: %+v", way)
	}
	ticket, options := o.challenge()
	answer := string(device.SignIn(options))
	for i, want := range []int{204, 409} {
		if got := post("/manager/passkey", "ticket", ticket, "answer", answer).of(o.Server).Code; got != want {
			t.Errorf("the same answer, sent %d times: %d, want %d", i+1, got, want)
		}
	}
	if w := o.byKey(&copied); w.Code != 403 || !strings.Contains(w.Body.String(), "copied") || len(w.Result().Cookies()) != 0 {
		t.Errorf("the copy: %d %s", w.Code, w.Body)
	}
	if w := o.byKey(device); w.Code != 403 {
		t.Errorf("the original once there is a copy: %d", w.Code)
	}
	if !strings.Contains(log.String(), "may have been copied") {
		t.Errorf("not in the log: %s", log.String())
	}
	page := get("/manager/access").as("", "secret-of-ada").of(o.Server).Body.String()
	if !strings.Contains(page, "It may have been copied") {
		t.Error("the page does not warn of the copy")
	}
	id := way.Keys[0].ID
	if w := post("/manager/access", "do", "drop-key", "id", id).as("", "secret-of-ada").of(o.Server); w.Code != 303 {
		t.Errorf("removing: %d", w.Code)
	}
	other := passkeytest.New("http://localhost:8080", "localhost")
	o.addKey("secret-of-ada", other, 204)
	if got := o.People().WaysIn["ada"].Handle; got != way.Handle {
		t.Error("a second passkey is of another user handle")
	}
	if w := o.byKey(device); w.Code != 403 {
		t.Errorf("the removed one: %d", w.Code)
	}
	if w := o.byKey(other); w.Code != 204 {
		t.Errorf("the other: %d %s", w.Code, w.Body)
	}
}

// TestNoPasskeysOverPlainHTTP: the page says why, and nothing is offered.
func TestNoPasskeysOverPlainHTTP(t *testing.T) {
	for address, why := range map[string]string{
		"http://laundry.example": "over plain http", "https://192.0.2.9": "full name", "https://laundry.example": "", "http://localhost:8080": "",
	} {
		o := openOffice(t, func(opt *Options) { opt.PublicURL = address })
		page := get("/manager").of(o.Server).Body.String()
		if (why != "") != strings.Contains(page, "Passkeys are not offered here") || !strings.Contains(page, why) {
			t.Errorf("%s does not say %q", address, why)
		}
		if (why == "") != strings.Contains(page, "data-passkey") {
			t.Errorf("%s: offered or not", address)
		}
		if got := post("/manager/passkey/begin").of(o.Server).Code; (got == 200) != (why == "") {
			t.Errorf("%s: a challenge gives %d", address, got)
		}
	}
}
