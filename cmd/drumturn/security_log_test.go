package main

import (
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"drumturn/coordinator"
	"drumturn/push"
	"drumturn/push/mail/mailtest"
	"drumturn/push/pushtest"
	"drumturn/ui/api"
)

// unmasked is a log of everything, which masks nothing: what is no secret there needs
// no mask. newLog is the second net.
func unmasked(w io.Writer) *slog.Logger {
	return slog.New(slog.NewTextHandler(w, &slog.HandlerOptions{Level: slog.LevelDebug, AddSource: true}))
}

// secrets are what must be in no log, by what they are.
type secrets map[string]string

// add notes one. What is shorter than six characters could stand there by chance.
func (s secrets) add(what, secret string) {
	if len(secret) >= 6 {
		s[what+" "+secret] = secret
	}
}

// ofPeople notes those that the building knows.
func (s secrets) ofPeople(p *coordinator.People) {
	for _, v := range p.Invitations {
		s.add("code on the wall", v.Code)
	}
	for _, v := range p.MachineCodes {
		s.add("code on a machine", v.Code)
	}
	for _, v := range p.Homes {
		s.add("code of a home", v.Code)
	}
	for _, v := range p.Guests {
		s.add("code of a guest", v.Code)
	}
	for hash := range p.Sessions {
		s.add("hash of a session", hash)
	}
	for _, v := range p.WaysIn {
		s.add("hashed passphrase", v.Passphrase)
	}
	for _, v := range p.Persons {
		s.add("secret that ends letters", v.Mail.Off)
	}
	for _, v := range p.Subscriptions {
		u, err := url.Parse(v.Endpoint)
		if err == nil {
			s.add("path of an endpoint", strings.TrimPrefix(u.Path, "/push/"))
		}
		s.add("auth of a phone", v.Auth)
		s.add("p256dh of a phone", v.P256dh)
	}
	for _, v := range p.Webhooks {
		s.add("secret of a webhook", v.Secret)
	}
}

// ofFiles notes the keys in the data folder.
func (s secrets) ofFiles(t *testing.T, data string) {
	t.Helper()
	wall, err := os.ReadFile(filepath.Join(data, "wall-key"))
	if err != nil {
		t.Fatal(err)
	}
	s.add("key of the walls", strings.TrimSpace(string(wall)))
	file, err := os.ReadFile(filepath.Join(data, "push-keys.json"))
	if err != nil {
		t.Fatal(err)
	}
	var keys map[string]string
	if err := json.Unmarshal(file, &keys); err != nil {
		t.Fatal(err)
	}
	for name, value := range keys {
		if !strings.EqualFold(name, "public") {
			s.add("VAPID "+name, value)
		}
	}
}

// ofJar notes a browser's cookies.
func (s secrets) ofJar(jar http.CookieJar, address string) {
	u, err := url.Parse(address)
	if err != nil {
		panic(err)
	}
	for _, c := range jar.Cookies(u) {
		if len(c.Value) > 20 { // the language is none
			s.add("cookie", c.Value)
		}
	}
}

// found are those that a text has.
func (s secrets) found(text string) (found []string) {
	for what, secret := range s {
		if strings.Contains(text, secret) || strings.Contains(text, url.QueryEscape(secret)) {
			found = append(found, what)
		}
	}
	return found
}

// stayOut fails the test when a log has one.
func (s secrets) stayOut(t *testing.T, log string) {
	t.Helper()
	for _, what := range s.found(log) {
		t.Errorf("the log has a %s", what)
	}
	t.Logf("| secrets in the log | a whole story at debug level, unmasked: %d secrets | none in %d lines |", len(s), strings.Count(log, "\n"))
}

// secrets are those of the story.
func (s *story) secrets() secrets {
	s.Helper()
	all := secrets{}
	all.ofPeople(s.app.house.People())
	all.ofFiles(s.T, filepath.Join(s.dir, "data"))
	for _, b := range s.browsers {
		all.ofJar(b.client.Jar, "https://"+s.pages)
	}
	all.add("passphrase", "a horse that reads the meter")
	all.add("token of the first link", strings.TrimPrefix(s.firstLink, "/manager/first?token="))
	for _, password := range []string{"one-secret", "two-secret", "three-secret"} {
		all.add("password of a meter", password)
	}
	if len(all) < 40 {
		s.Errorf("only %d secrets are looked for", len(all))
	}
	return all
}

// TestSecuritySecretsAndTroubles: what fails is logged, without what it failed with: a
// push service that refuses or cannot be reached, a mail server that does not take the
// password, a webhook that nobody answers, wrong passphrases, codes and tokens.
func TestSecuritySecretsAndTroubles(t *testing.T) {
	const smtpPassword, passphrase, hookSecret, hookPath = "smtp-s3cret-9", "walnut gravel sail", "hook-shared-s3cret", "hook-path-s3cret"
	office := mailtest.Open(t, false, func(o *mailtest.Office) { o.User, o.Password = "house", "another one" }, "127.0.0.1")
	service := pushtest.NewService(t)
	building := strings.Replace(mailBuilding(office, ""), "s3cret", smtpPassword, 1)
	w := wiring(t, strings.Replace(building, "data =", "push_subject = \"caretaker@weiher.org\"\ndata =", 1), nil)
	log := &lockedBuffer{}
	s := w.setup()
	s.log, s.mailRoots = unmasked(log), office.Roots
	s.file.Server.PushHosts = []string{service.Host(), "127.0.0.1:1"}
	s.client = push.ClientOptions{AllowPrivate: true, RootCAs: service.Roots()}
	w.startAs(s)
	all := secrets{}
	all.add("SMTP password", smtpPassword)
	all.add("passphrase", passphrase)

	boss := w.visitor()
	token := strings.TrimPrefix(w.app.firstLink, "/manager/first?token=")
	all.add("token of the first link", token)
	boss.get(w.app.firstLink + "x")
	boss.post("/manager/first", "token", token, "passphrase", passphrase, "again", passphrase)
	boss.get("/manager")
	boss.post("/manager/sign-in", "passphrase", "wrong passphrase here")
	all.add("wrong passphrase", "wrong passphrase here")
	_, page := boss.post("/manager/access", "do", "invite", "name", "Cleo")
	all.pick(t, "token of an invitation", page, `token=([A-Za-z0-9_-]{20,})`)

	anna, ben := w.visitor(), w.visitor()
	anna.join("1", "anna")
	ben.join("2", "ben")
	for i, answer := range []pushtest.Answer{{Status: 403}, {Status: 500}, {Status: 410}, {Status: 201}} {
		phone := service.Phone("anna " + string(rune('a'+i)))
		phone.Always(answer)
		anna.device(t, phone)
	}
	lost := service.Phone("ben")
	lost.Endpoint = "https://127.0.0.1:1/push/endpoint-path-s3cret"
	ben.device(t, lost)
	_, page = ben.post("/me/code")
	all.pick(t, "one-time code", page, `([A-Z2-9]{4}-[A-Z2-9]{4})`)
	ben.post("/code", "code", "WRNG-C0DE-1234")
	ben.get("/code?code=WRNG-C0DE-1234")
	ben.get("/nothing/at/all?token=WRNG-C0DE-1234")
	all.add("wrong code", "WRNG-C0DE-1234")
	ben.post("/me/notices/mail", "address", "ben@weiher.org")

	const apiToken = api.TokenSecret + "s3cret-token-of-a-program"
	all.add("API token", "s3cret-token-of-a-program")
	all.add("path of a webhook", hookPath)
	for _, ev := range []coordinator.PeopleEvent{
		coordinator.MakeToken{Token: coordinator.Token{Name: "test", Hash: api.Hash(apiToken), Scopes: []coordinator.TokenScope{coordinator.ScopeStatus}}},
		coordinator.AddWebhook{Webhook: coordinator.Webhook{ID: "h1", URL: "https://127.0.0.1:1/" + hookPath + "?token=" + hookPath, Secret: hookSecret, Kinds: []coordinator.FactKind{coordinator.FactOut}}},
	} {
		if err := w.app.house.DoPeople(t.Context(), ev); err != nil {
			t.Fatal(err)
		}
	}
	w.asProgram("/api/v1/building", apiToken)
	w.asProgram("/api/v1/rooms/cellar", apiToken+"wrong")
	all.ofPeople(w.app.house.People()) // before phones that are gone are forgotten
	anna.post("/r/cellar/turns", "need", "wash")
	ben.post("/r/cellar/turns", "need", "dry")
	if _, err := w.app.house.Do(t.Context(), "cellar", coordinator.TakeOut{Machine: "2", Text: "typed"}); err != nil {
		t.Fatal(err)
	}
	ben.post("/me/notices/try")
	w.until("the trouble with phones, letters and the webhook", func() bool {
		text := log.String()
		return strings.Contains(text, "refuses our messages") && strings.Contains(text, "the mail server refuses the login") && w.hookTried("h1")
	})
	all.ofPeople(w.app.house.People())
	all.ofFiles(t, w.path("data"))
	for _, v := range []*visitor{boss, anna, ben} {
		all.ofJar(v.client.Jar, "http://"+w.app.address())
	}
	w.end()
	if len(all) < 35 {
		t.Errorf("only %d secrets are looked for", len(all))
	}
	all.stayOut(t, log.String())
}

// pick notes what a page shows once.
func (s secrets) pick(t *testing.T, what, page, pattern string) {
	t.Helper()
	m := regexp.MustCompile(pattern).FindStringSubmatch(page)
	if m == nil {
		t.Fatalf("no %s in\n%s", what, page)
	}
	s.add(what, m[1])
}

// hookTried reports whether an event was posted, in vain or not.
func (w *wired) hookTried(id string) bool {
	st := w.app.house.People().HookStates[id]
	return len(st.Calls) > 0 || w.app.house.People().Webhooks[id].ID == ""
}

// TestSecretsAreFound: what the tests above look for, they find, however it comes there.
func TestSecretsAreFound(t *testing.T) {
	s := secrets{}
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	at, _ := url.Parse("https://laundry.example/")
	jar.SetCookies(at, []*http.Cookie{{Name: "__Host-drumturn", Value: "cookie-value-of-a-session", Secure: true, Path: "/"}})
	s.ofJar(jar, "https://laundry.example")
	s.ofPeople(&coordinator.People{
		Invitations:   map[coordinator.RoomID]coordinator.Invitation{"a": {Code: "wall-code"}},
		MachineCodes:  map[coordinator.Place]coordinator.MachineCode{{}: {Code: "machine-code"}},
		Homes:         map[coordinator.HomeID]coordinator.Home{"h": {Code: "home-code"}},
		Guests:        map[string]coordinator.GuestInvitation{"g": {Code: "guest-code"}},
		Sessions:      map[string]coordinator.Session{"session-hash": {}},
		WaysIn:        map[coordinator.PersonID]coordinator.WayIn{"m": {Passphrase: "hashed-phrase"}},
		Persons:       map[coordinator.PersonID]coordinator.Person{"p": {Mail: coordinator.Mail{Off: "off-secret"}}},
		Subscriptions: map[string]coordinator.Subscription{"d": {Endpoint: "https://push.example/push/end-path", Auth: "auth-of", P256dh: "p256dh-of"}},
		Webhooks:      map[string]coordinator.Webhook{"w": {Secret: "hook + secret"}},
	})
	for _, secret := range []string{
		"cookie-value-of-a-session", "wall-code", "machine-code", "home-code", "guest-code", "session-hash", "hashed-phrase", "off-secret", "end-path", "auth-of", "p256dh-of", "hook + secret", "hook+%2B+secret",
	} {
		if found := s.found("level=INFO msg=\"x " + secret + " y\""); len(found) != 1 {
			t.Errorf("%s: found %v", secret, found)
		}
	}
	if found := s.found("level=INFO msg=nothing room=cellar"); len(found) != 0 {
		t.Errorf("found %v", found)
	}
}
