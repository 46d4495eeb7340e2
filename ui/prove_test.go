package ui

import (
	"encoding/json"
	"io"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"drumturn/coordinator"
	"drumturn/ui/passkey/passkeytest"
)

// sensitive are the forms that could be turned against a manager whose page is found open.
var sensitive = map[string][]string{
	"invite a manager":           {"/manager/access", "do", "invite", "name", `C"leo <b>`},
	"remove a manager":           {"/manager/access", "do", "remove", "id", "ben", "sure", "yes"},
	"remove a passkey":           {"/manager/access", "do", "drop-key", "id", "k1"},
	"change the passphrase":      {"/manager/access", "do", "passphrase", "passphrase", bensPhrase, "again", bensPhrase},
	"drop the passphrase":        {"/manager/access", "do", "no-passphrase"},
	"a resident's one-time code": {"/manager/residents/code", "person", "dan"},
	"a home's new code":          {"/manager/people", "do", "home-code", "id", string(coordinator.HomeIDFor("6"))},
	"make a token":               {programsPath, "name", "the lobby", "scope-status", "yes"},
	"add a webhook":              {"/manager/webhooks", "url", "https://hooks.example/x", "kind-" + string(coordinator.PublicKinds()[0]), "yes"},
}

// stale is an office where Ada signed in more than ten minutes ago, with a passkey besides.
func stale(t *testing.T, age time.Duration) *office {
	o := openOffice(t, func(opt *Options) { opt.CheckHook = func(string) error { return nil } })
	home := coordinator.HomeIDFor("6")
	o.resident("dan", home)
	o.people.Homes[home] = coordinator.Home{ID: home, Name: "6", Code: "CODE-6"}
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
	for _, form := range [][]string{{"do", "rename", "name", "Adele"}, {"do", "name-key", "id", "k1", "name", "x"}, {"do", "others"}} {
		if got := stale(t, time.Hour).act("secret-of-ada", form...); got != 303 {
			t.Errorf("%v: %d", form, got)
		}
	}
}

// TestWithoutAPassphraseSettingOneAsks: there is none to prove it with; a passkey
// does, and the passphrase is then set as it was typed.
func TestWithoutAPassphraseSettingOneAsks(t *testing.T) {
	o := openOffice(t, nil)
	adas := passkeytest.New("http://localhost:8080", "localhost")
	o.addKey("secret-of-ada", adas, 204)
	way := o.people.WaysIn["ada"]
	way.Passphrase = ""
	o.people.WaysIn["ada"] = way
	o.now = noon.Add(time.Hour)
	set := []string{"do", "passphrase", "passphrase", bensPhrase, "again", bensPhrase}
	w := post("/manager/access", set...).as("", "secret-of-ada").of(o.Server)
	page := w.Body.String()
	if w.Code != 403 || strings.Contains(page, `name="proof"`) || !strings.Contains(page, "data-passkey") {
		t.Errorf("%d %s", w.Code, said(w.Body.Bytes()))
	}
	stored := o.stored()
	if w := post("/manager/access", append(set, "proof", bensPhrase)...).as("", "secret-of-ada").of(o.Server); w.Code != 403 || o.stored() != stored {
		t.Errorf("somebody else's passphrase: %d", w.Code)
	}
	action, kept := carried(t, page)
	w = o.proveBy("secret-of-ada", adas)
	if w.Code != 204 {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	if w := post(action, kept...).as("", w.Result().Cookies()[0].Value).of(o.Server); w.Code != 303 {
		t.Fatalf("%d %s", w.Code, said(w.Body.Bytes()))
	}
	if w, _ := o.enter(post("/manager/sign-in", "name", "Ada", "passphrase", bensPhrase)); w.Code != 303 {
		t.Errorf("the new passphrase does not let in: %d", w.Code)
	}
}

// TestPagesWithCodesAskAgain: the sheet of the homes' codes is shown to who signed in
// lately only, else after the page that asks; the proof is in no address. The page
// about people hides them as long.
func TestPagesWithCodesAskAgain(t *testing.T) {
	const sheet, code = "/manager/people/codes", "CODE-6"
	shows := func(o *office, path, secret string) bool {
		return strings.Contains(get(path).as("", secret).of(o.Server).Body.String(), code)
	}
	if o := stale(t, 9*time.Minute); !shows(o, sheet, "secret-of-ada") || !shows(o, "/manager/people", "secret-of-ada") {
		t.Error("nine minutes after signing in the codes are hidden")
	}
	o := stale(t, 10*time.Minute)
	w := get(sheet).as("", "secret-of-ada").of(o.Server)
	action, kept := carried(t, w.Body.String())
	if w.Code != 403 || action != sheet || len(kept) != 0 || strings.Contains(w.Body.String(), code) || w.Header().Get("Cache-Control") != "no-store" {
		t.Fatalf("%d, form to %q with %q", w.Code, action, kept)
	}
	people := get("/manager/people").as("", "secret-of-ada").of(o.Server).Body.String()
	if strings.Contains(people, code) || !strings.Contains(people, "Code of the home: hidden") || !strings.Contains(people, `href="`+sheet+`"`) {
		t.Error("the page about people shows the codes, or does not say how to see them")
	}
	if w := post(sheet, "proof", "guess guess guess").as("", "secret-of-ada").of(o.Server); w.Code != 403 || !strings.Contains(w.Body.String(), "not the passphrase") || !strings.Contains(w.Body.String(), "This shows codes") {
		t.Errorf("a wrong passphrase: %d", w.Code)
	}
	if shows(o, sheet+"?proof="+url.QueryEscape(adasPhrase), "secret-of-ada") {
		t.Error("a proof in the address opens the page")
	}
	w, cookies := o.enter(post(sheet, "proof", adasPhrase).as("", "secret-of-ada"))
	if to := w.Header().Get("Location"); w.Code != 303 || to != sheet {
		t.Fatalf("%d to %q", w.Code, to)
	}
	if secret := cookies[managerCookie]; !shows(o, sheet, secret) || !shows(o, "/manager/people", secret) {
		t.Error("after the proof the codes are hidden")
	}
	if w := post(sheet).as("", "secret-of-dan").of(o.Server); w.Code != 403 {
		t.Errorf("a resident asks: %d", w.Code)
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
