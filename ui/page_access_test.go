package ui

import (
	"net/http"
	"regexp"
	"strings"
	"testing"

	"drumturn/coordinator"
)

// act presses a button of the page as Ada, signed in with a passphrase.
func (o *office) act(secret string, pairs ...string) int {
	o.Helper()
	return post("/manager/access", pairs...).as("", secret).of(o.Server).Code
}

func TestAccessIsForManagers(t *testing.T) {
	o := openOffice(t, nil)
	dan := o.resident("dan", "h6")
	for _, secret := range []string{"", dan, "planted"} {
		if w := get("/manager/access").as("", secret).of(o.Server); w.Code != 303 {
			t.Errorf("%q sees the page: %d", secret, w.Code)
		}
		if got := o.act(secret, "do", "invite", "name", "Eve"); got != 403 {
			t.Errorf("%q invites: %d", secret, got)
		}
	}
}

var inviteAddress = regexp.MustCompile(`http://localhost:8080/below(/manager/invited\?token=[\w-]+)`)

// TestAnotherManager: invited by a link that is shown once and works once, under a
// path prefix; then removed.
func TestAnotherManager(t *testing.T) {
	o := openOffice(t, func(opt *Options) { opt.PublicURL += "/below" })
	page := post("/manager/access", "do", "invite", "name", "Cleo").as("", "secret-of-ada").of(o.Server).Body.String()
	link := inviteAddress.FindStringSubmatch(page)
	if link == nil {
		t.Fatal("no link")
	}
	if again := get("/manager/access").as("", "secret-of-ada").of(o.Server).Body.String(); strings.Contains(again, "token=") || !strings.Contains(again, "Cleo") {
		t.Error("the link is shown twice, or not listed")
	}
	if w := get(link[1]).of(o.Server); w.Code != 200 || !strings.Contains(w.Body.String(), "Cleo, choose") {
		t.Fatalf("the link leads to %d", w.Code)
	}
	token := link[1][strings.Index(link[1], "=")+1:]
	take := func(token, phrase string) int {
		return post("/manager/invited", "token", token, "name", "ignored", "passphrase", phrase, "again", phrase).of(o.Server).Code
	}
	for _, c := range []struct {
		token, phrase string
		want          int
	}{{"guess", bensPhrase, 403}, {token, "short", 422}, {token, "copper lantern fish", 303}, {token, "copper lantern fish", 403}} {
		if got := take(c.token, c.phrase); got != c.want {
			t.Errorf("%+v: %d", c, got)
		}
	}
	if w := get(link[1]).of(o.Server); w.Code != 403 {
		t.Errorf("the used link leads to %d", w.Code)
	}
	w, cleo := o.enter(post("/manager/sign-in", "name", "cleo", "passphrase", "copper lantern fish"))
	if w.Code != 303 {
		t.Fatalf("Cleo signs in: %d", w.Code)
	}
	m, _ := o.People().ManagerNamed("Cleo")
	if got := o.act("secret-of-ada", "do", "remove", "id", string(m.ID)); got != 422 {
		t.Errorf("removed without being sure: %d", got)
	}
	if got := o.act("secret-of-ada", "do", "remove", "id", string(m.ID), "sure", "yes"); got != 303 || o.isIn(cleo[managerCookie]) {
		t.Errorf("removing: %d, in: %v", got, o.isIn(cleo[managerCookie]))
	}
}

// TestChangingThePassphrase: it is typed twice, and the other browsers are signed out;
// that a page which was left open is not enough is with the sensitive forms.
func TestChangingThePassphrase(t *testing.T) {
	o := openOffice(t, nil)
	_, first := o.enter(post("/manager/sign-in", "name", "Ada", "passphrase", adasPhrase))
	_, second := o.enter(post("/manager/sign-in", "name", "Ada", "passphrase", adasPhrase))
	const fresh = "copper lantern fish"
	for _, c := range []struct {
		new, again string
		want       int
	}{{fresh, "x", 422}, {"short", "short", 422}, {fresh, fresh, 303}} {
		if got := o.act(second[managerCookie], "do", "passphrase", "passphrase", c.new, "again", c.again); got != c.want {
			t.Errorf("%+v: %d", c, got)
		}
	}
	if o.isIn(first[managerCookie]) || !o.isIn(second[managerCookie]) {
		t.Error("the wrong browsers are signed out")
	}
	if got := o.act(second[managerCookie], "do", "no-passphrase"); got != 409 {
		t.Errorf("the last way in is removed: %d", got)
	}
}

// TestSessionsAreListed: with device, place and time; ended one by one, and all but one.
func TestSessionsAreListed(t *testing.T) {
	o := openOffice(t, nil)
	var secrets []string
	for _, agent := range []string{"Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0", "Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) Safari/604.1", "odd"} {
		a := post("/manager/sign-in", "name", "Ada", "passphrase", adasPhrase)
		a.header = http.Header{"User-Agent": {agent}}
		_, cookies := o.enter(a)
		secrets = append(secrets, cookies[managerCookie])
	}
	page := get("/manager/access").as("", secrets[0]).of(o.Server).Body.String()
	for _, want := range []string{"Firefox on Linux", "this browser", "Safari on iPhone", "A browser on another system", "192.0.2.1"} {
		if !strings.Contains(page, want) {
			t.Errorf("the list lacks %q", want)
		}
	}
	if strings.Contains(page, hashSecret(secrets[1])) {
		t.Error("the page holds the whole hash of a session")
	}
	if got := o.act("secret-of-ben", "do", "end", "id", sessionID(hashSecret(secrets[1]))); got != 404 || !o.isIn(secrets[1]) {
		t.Errorf("Ben signs Ada out: %d", got)
	}
	if got := o.act(secrets[0], "do", "end", "id", sessionID(hashSecret(secrets[1]))); got != 303 || o.isIn(secrets[1]) {
		t.Errorf("ending one: %d", got)
	}
	if got := o.act(secrets[0], "do", "others"); got != 303 || o.isIn(secrets[2]) || !o.isIn(secrets[0]) || !o.isIn("secret-of-ben") {
		t.Errorf("ending the others: %d", got)
	}
}

// TestASessionInUseLives, and one that lies idle does not; each use is not a write.
func TestASessionInUseLives(t *testing.T) {
	o := openOffice(t, nil)
	_, ada := o.enter(post("/manager/sign-in", "name", "Ada", "passphrase", adasPhrase))
	secret := ada[managerCookie]
	told := len(o.peopleEv)
	for range 5 {
		o.isIn(secret)
	}
	if len(o.peopleEv) != told {
		t.Errorf("each use is told: %v", o.peopleEv[told:])
	}
	for day := 10; day < managerDays; day += 10 {
		o.now = noon.AddDate(0, 0, day)
		if !o.isIn(secret) {
			t.Fatalf("in use, it ends on day %d", day)
		}
	}
	o.now = noon.AddDate(0, 0, managerDays)
	if o.isIn(secret) {
		t.Error("in use, it never ends")
	}
	o.now = noon
	_, ada = o.enter(post("/manager/sign-in", "name", "Ada", "passphrase", adasPhrase))
	o.now = noon.Add(managerIdle)
	if o.isIn(ada[managerCookie]) {
		t.Error("idle, it does not end")
	}
}

// TestSigningInAgainEndsTheOldSession of the same browser, and never takes over a
// cookie that was there.
func TestSigningInAgainEndsTheOldSession(t *testing.T) {
	o := openOffice(t, nil)
	_, first := o.enter(post("/manager/sign-in", "name", "Ada", "passphrase", adasPhrase))
	_, second := o.enter(post("/manager/sign-in", "name", "Ada", "passphrase", adasPhrase).as("", first[managerCookie]))
	if first[managerCookie] == second[managerCookie] || o.isIn(first[managerCookie]) || !o.isIn(second[managerCookie]) {
		t.Error("the browser has two sessions, or the old one")
	}
}

func TestRenames(t *testing.T) {
	o := openOffice(t, nil)
	if got := o.act("secret-of-ada", "do", "rename", "name", "Ben"); got != 409 {
		t.Errorf("two managers of a name: %d", got)
	}
	if got := o.act("secret-of-ada", "do", "rename", "name", "Adele"); got != 303 || o.People().Persons["ada"].Name != "Adele" {
		t.Errorf("%d %+v", got, o.People().Persons["ada"])
	}
	if got := o.act("secret-of-ada", "do", "dance"); got != 422 {
		t.Errorf("an unknown button: %d", got)
	}
	o.people.ManagerInvites = map[string]coordinator.ManagerInvite{"hash": {Hash: "hash", By: "ben", Name: "Cleo", Expires: noon.AddDate(0, 0, 1)}}
	if got := o.act("secret-of-ada", "do", "take-back", "id", "hash"); got != 303 || len(o.People().ManagerInvites) != 0 {
		t.Errorf("taking back: %d", got)
	}
}
