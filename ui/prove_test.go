package ui

import (
	"encoding/json"
	"io"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"drumturn/coordinator"
	"drumturn/ui/passkey/passkeytest"
)

// sensitive are the forms that could be turned against a manager whose page is found open.
var sensitive = map[string][]string{
	"invite a manager": {"/manager/access", "do", "invite", "name", `C"leo <b>`},
	"remove a manager": {"/manager/access", "do", "remove", "id", "ben", "sure", "yes"},
	"remove a passkey": {"/manager/access", "do", "drop-key", "id", "k1"},
	"make a token":     {programsPath, "name", "the lobby", "scope-status", "yes"},
	"add a webhook":    {"/manager/webhooks", "url", "https://hooks.example/x", "kind-" + string(coordinator.PublicKinds()[0]), "yes"},
}

// stale is an office where Ada signed in more than ten minutes ago, with a passkey besides.
func stale(t *testing.T, age time.Duration) *office {
	o := openOffice(t, func(opt *Options) { opt.CheckHook = func(string) error { return nil } })
	v := o.people.Sessions[hashSecret("secret-of-ada")]
	v.Made = noon.Add(-age)
	o.people.Sessions[v.Hash] = v
	way := o.people.WaysIn["ada"]
	way.Keys = []coordinator.Passkey{{ID: "k1", Name: "phone", Record: []byte("{}")}}
	o.people.WaysIn["ada"] = way
	return o
}

// carried reads the form that the page carries along.
func carried(t *testing.T, page string) (action string, pairs []string) {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	for n := range doc.Descendants() {
		if n.Data == "form" && attr(n, "id") == "go-on" {
			action = attr(n, "action")
			for in := range n.Descendants() {
				if in.Data == "input" && attr(in, "type") == "hidden" {
					pairs = append(pairs, attr(in, "name"), attr(in, "value"))
				}
			}
		}
	}
	return action, pairs
}

// TestSensitiveFormsAskAgain: ten minutes after signing in each is asked for on one
// page; the right passphrase does what was asked with what was typed, in a new session.
func TestSensitiveFormsAskAgain(t *testing.T) {
	for what, form := range sensitive {
		if w := post(form[0], form[1:]...).as("", "secret-of-ada").of(stale(t, 9*time.Minute).Server); strings.Contains(w.Body.String(), "Is it you?") {
			t.Errorf("%s, nine minutes after signing in: asked again", what)
		}
		o := stale(t, 10*time.Minute)
		w := post(form[0], form[1:]...).as("", "secret-of-ada").of(o.Server)
		action, kept := carried(t, w.Body.String())
		if w.Code != 403 || action != form[0] || o.stored() != 0 || w.Header().Get("Cache-Control") != "no-store" {
			t.Fatalf("%s: %d, form to %q, told %v", what, w.Code, action, o.peopleEv)
		}
		if w := post(action, append(kept, "proof", "guess guess guess")...).as("", "secret-of-ada").of(o.Server); w.Code != 403 || o.stored() != 0 || !strings.Contains(w.Body.String(), "not the passphrase") {
			t.Errorf("%s with a wrong passphrase: %d, told %v", what, w.Code, o.peopleEv)
		} else if _, again := carried(t, w.Body.String()); len(again) != len(kept) {
			t.Errorf("%s: a wrong passphrase loses what was typed: %q", what, again)
		}
		w, cookies := o.enter(post(action, append(kept, "proof", adasPhrase)...).as("", "secret-of-ada"))
		if w.Code >= 400 || len(o.peopleEv) != 2 {
			t.Fatalf("%s: %d, told %v", what, w.Code, o.peopleEv)
		}
		if secret := cookies[managerCookie]; o.isIn("secret-of-ada") || !o.isIn(secret) || secret == "secret-of-ada" {
			t.Errorf("%s: the session is not a new one", what)
		}
		if ev, ok := o.peopleEv[1].(coordinator.InviteManager); ok && ev.Name != `C"leo <b>` {
			t.Errorf("what was typed arrives as %q", ev.Name)
		}
	}
}

// TestOrdinaryFormsDoNotAsk: who names a passkey or signs a browser out is not held up.
func TestOrdinaryFormsDoNotAsk(t *testing.T) {
	for _, form := range [][]string{{"do", "rename", "name", "Adele"}, {"do", "name-key", "id", "k1", "name", "x"}, {"do", "others"}, {"do", "passphrase", "old", adasPhrase, "passphrase", bensPhrase, "again", bensPhrase}} {
		if got := stale(t, time.Hour).act("secret-of-ada", form...); got != 303 {
			t.Errorf("%v: %d", form, got)
		}
	}
}

// TestWithoutAPassphraseSettingOneAsks: there is no old one to type.
func TestWithoutAPassphraseSettingOneAsks(t *testing.T) {
	o := stale(t, time.Hour)
	way := o.people.WaysIn["ada"]
	way.Passphrase = ""
	o.people.WaysIn["ada"] = way
	w := post("/manager/access", "do", "passphrase", "passphrase", bensPhrase, "again", bensPhrase).as("", "secret-of-ada").of(o.Server)
	if page := w.Body.String(); w.Code != 403 || strings.Contains(page, `name="proof"`) || !strings.Contains(page, "data-passkey") {
		t.Errorf("%d %s", w.Code, said(w.Body.Bytes()))
	}
	if w := post("/manager/access", "do", "passphrase", "passphrase", bensPhrase, "again", bensPhrase, "proof", bensPhrase).as("", "secret-of-ada").of(o.Server); w.Code != 403 || o.stored() != 0 {
		t.Errorf("somebody else's passphrase: %d", w.Code)
	}
}

// proveBy answers the page with a device.
func (o *office) proveBy(secret string, device *passkeytest.Authenticator) *httptest.ResponseRecorder {
	o.Helper()
	w := post("/manager/prove/begin").as("", secret).of(o.Server)
	var begun struct {
		Ticket  string
		Options json.RawMessage
	}
	if err := json.Unmarshal(w.Body.Bytes(), &begun); err != nil {
		o.Fatalf("%d %s", w.Code, w.Body)
	}
	return post("/manager/prove", "ticket", begun.Ticket, "answer", string(device.SignIn(begun.Options))).as("", secret).of(o.Server)
}

// TestProvingByPasskey: one of the manager's own; another manager's is none, and a
// challenge for the door is none for the page, nor that of another session.
func TestProvingByPasskey(t *testing.T) {
	o := openOffice(t, nil)
	adas, bens := passkeytest.New("http://localhost:8080", "localhost"), passkeytest.New("http://localhost:8080", "localhost")
	o.addKey("secret-of-ada", adas, 204)
	o.addKey("secret-of-ben", bens, 204)
	o.now = noon.Add(time.Hour)
	if w := post("/manager/access/passkeys/begin", "do", "new-key", "name", "tablet").as("", "secret-of-ada").of(o.Server); w.Code != 401 {
		t.Errorf("an hour later a passkey is added at once: %d", w.Code)
	}
	w := post("/manager/access", "do", "new-key", "name", "tablet & co").as("", "secret-of-ada").of(o.Server)
	action, kept := carried(t, w.Body.String())
	if w.Code != 403 || len(kept) != 4 {
		t.Fatalf("%d %q", w.Code, kept)
	}
	if w := o.proveBy("secret-of-ada", bens); w.Code != 403 || len(w.Result().Cookies()) != 0 {
		t.Errorf("Ben proves that he is Ada: %d", w.Code)
	}
	ticket, options := o.challenge()
	if w := post("/manager/prove", "ticket", ticket, "answer", string(adas.SignIn(options))).as("", "secret-of-ada").of(o.Server); w.Code != 409 {
		t.Errorf("the door's challenge on this page: %d", w.Code)
	}
	if w := post("/manager/prove/begin").of(o.Server); w.Code != 403 {
		t.Errorf("a stranger gets a challenge: %d", w.Code)
	}
	w = o.proveBy("secret-of-ada", adas)
	if w.Code != 204 || o.isIn("secret-of-ada") {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	fresh := w.Result().Cookies()[0].Value
	w = post(action, kept...).as("", fresh).of(o.Server)
	if to := w.Header().Get("Location"); w.Code != 303 || to != "/manager/access?key=tablet+%26+co#keys" {
		t.Fatalf("%d %s", w.Code, to)
	}
	if page := get("/manager/access?key=tablet+%26+co").as("", fresh).of(o.Server).Body.String(); !strings.Contains(page, `value="tablet &amp; co"`) {
		t.Error("the name that was typed is lost")
	}
	o.addKey(fresh, passkeytest.New("http://localhost:8080", "localhost"), 204)
}

// TestAskingAgainIsGuarded: guesses at the page are limited as at the door, but
// nobody else's guesses keep a signed-in manager out; another site's form is not
// carried along; what is no form is refused as ever.
func TestAskingAgainIsGuarded(t *testing.T) {
	o := stale(t, time.Hour)
	ask := func(secret, proof string) ask {
		return post(programsPath, "name", "x", "proof", proof).as("", secret)
	}
	last := 0
	for range 12 {
		last = ask("secret-of-ben", "guess guess guess").of(o.Server).Code
	}
	if last == 429 {
		t.Error("Ben, who signed in just now, is asked")
	}
	for range 60 {
		post("/manager/sign-in", "name", "Ada", "passphrase", "guess guess guess").of(o.Server)
	}
	if w := ask("secret-of-ada", adasPhrase).of(o.Server); w.Code == 429 || w.Code == 403 {
		t.Errorf("others' guesses keep Ada from going on: %d", w.Code)
	}
	o = stale(t, time.Hour)
	for range 12 {
		last = ask("secret-of-ada", "guess guess guess").of(o.Server).Code
	}
	if last != 429 || o.stored() != 0 {
		t.Errorf("the twelfth guess at the page: %d", last)
	}
	foreign := ask("secret-of-ada", adasPhrase)
	foreign.header = map[string][]string{"Sec-Fetch-Site": {"cross-site"}}
	if w := foreign.of(o.Server); w.Code != 403 || strings.Contains(w.Body.String(), "go-on") {
		t.Errorf("another site's form is carried along: %d", w.Code)
	}
	for kind, body := range map[string]string{"text/plain": "name=x", "application/x-www-form-urlencoded": "name=%zz", "application/x-www-form-urlencoded; x": "name=" + strings.Repeat("x", maxForm)} {
		r := ask("secret-of-ada", "").request()
		r.Header.Set("Content-Type", kind)
		r.Body = io.NopCloser(strings.NewReader(body))
		w := httptest.NewRecorder()
		if o.Handler().ServeHTTP(w, r); w.Code < 413 || w.Code >= 500 {
			t.Errorf("%s: %d", kind, w.Code)
		}
	}
}
