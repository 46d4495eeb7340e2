package ui

import (
	"encoding/json"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/ui/passkey/passkeytest"
)

// invite puts a one-time link for somebody into the house.
func (h *fakeHouse) invite(token, name string, holds time.Duration) {
	hash := hashSecret(token)
	h.people.ManagerInvites = map[string]coordinator.ManagerInvite{hash: {Hash: hash, By: "ada", Name: name, Expires: h.now.Add(holds)}}
}

// startByKey goes through the ceremony behind a one-time link.
func startByKey(t *testing.T, s *Server, path, token, name string, device *passkeytest.Authenticator) *httptest.ResponseRecorder {
	t.Helper()
	w := post(path+"/passkey/begin", "token", token, "name", name).of(s)
	var begun struct {
		Ticket  string
		Options json.RawMessage
	}
	if w.Code != 200 {
		return w
	}
	if err := json.Unmarshal(w.Body.Bytes(), &begun); err != nil {
		t.Fatal(err)
	}
	a := post(path+"/passkey", "token", token, "name", name, "ticket", begun.Ticket, "answer", string(device.Register(begun.Options)))
	return a.of(s)
}

// TestStartsWithAPasskeyAlone: the first manager and one who is invited, without a
// passphrase; the page then tells them what happens when the passkey is lost.
func TestStartsWithAPasskeyAlone(t *testing.T) {
	for path, want := range map[string]string{"/manager/first": "Nora", "/manager/invited": "Cleo"} {
		h := newFakeHouse(fullRoom())
		if path == "/manager/first" {
			h.people.FirstToken = hashSecret("token")
		} else {
			h.enrol(coordinator.Person{ID: "ada", Name: "Ada", Manager: true})
			h.invite("token", "Cleo", time.Hour)
		}
		o := &office{t, h, newTestServer(t, h, nil)}
		device := passkeytest.New("http://localhost:8080", "localhost")
		if w := startByKey(t, o.Server, path, "guess", "Nora", device); w.Code != 403 || o.stored() != 0 {
			t.Errorf("%s: a guessed link begins a ceremony: %d", path, w.Code)
		}
		w := startByKey(t, o.Server, path, "token", "Nora", device)
		cookies := map[string]string{}
		for _, c := range w.Result().Cookies() {
			cookies[c.Name] = c.Value
		}
		if w.Code != 204 || !o.isIn(cookies[managerCookie]) {
			t.Fatalf("%s: %d %s", path, w.Code, w.Body)
		}
		m, ok := o.People().ManagerNamed(want)
		way := o.People().WaysIn[m.ID]
		if !ok || way.OnlyKeys() != 1 || !way.Knows(hashSecret(cookies[knownCookie])) || way.Keys[0].Name == "" {
			t.Fatalf("%s: kept %+v", path, way)
		}
		if w := startByKey(t, o.Server, path, "token", "Nora", passkeytest.New("http://localhost:8080", "localhost")); w.Code != 403 {
			t.Errorf("%s: the link works twice: %d", path, w.Code)
		}
		if w := o.byKey(device); w.Code != 204 {
			t.Errorf("%s: the passkey does not sign in: %d %s", path, w.Code, w.Body)
		}
		page := get("/manager/access").as("", cookies[managerCookie]).of(o.Server).Body.String()
		if !strings.Contains(page, "Your one passkey is the only way in") || !strings.Contains(page, "drumturn link") {
			t.Errorf("%s: nobody says what happens when the passkey is lost", path)
		}
		if got := o.act(cookies[managerCookie], "do", "drop-key", "id", way.Keys[0].ID); got != 409 {
			t.Errorf("%s: the only way in is taken away: %d", path, got)
		}
	}
}

// TestALinksCeremonyIsItsOwn: a challenge of one link does not answer for another,
// nor twice, nor after the link was taken back; and where there can be no passkeys
// the page says why and asks for a passphrase.
func TestALinksCeremonyIsItsOwn(t *testing.T) {
	o := openOffice(t, nil)
	o.invite("cleos", "Cleo", time.Hour)
	o.people.ManagerInvites[hashSecret("doras")] = coordinator.ManagerInvite{Hash: hashSecret("doras"), By: "ada", Name: "Dora", Expires: noon.Add(time.Hour)}
	device := passkeytest.New("http://localhost:8080", "localhost")
	var begun struct {
		Ticket  string
		Options json.RawMessage
	}
	w := post("/manager/invited/passkey/begin", "token", "cleos").of(o.Server)
	if err := json.Unmarshal(w.Body.Bytes(), &begun); err != nil || !strings.Contains(w.Body.String(), `"Cleo"`) {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	answer := string(device.Register(begun.Options))
	finish := func(token string) int {
		return post("/manager/invited/passkey", "token", token, "ticket", begun.Ticket, "answer", answer).of(o.Server).Code
	}
	if got := finish("doras"); got != 409 {
		t.Errorf("Cleo's challenge makes Dora a manager: %d", got)
	}
	delete(o.people.ManagerInvites, hashSecret("cleos"))
	if got := finish("cleos"); got != 403 || len(o.People().Managers()) != 2 {
		t.Errorf("after the link was taken back: %d, %d managers", got, len(o.People().Managers()))
	}
	for address, why := range map[string]string{"http://laundry.example": "over plain http", "https://192.0.2.9": "full name", "https://laundry.example": ""} {
		plain := openOffice(t, func(opt *Options) { opt.PublicURL = address })
		plain.invite("token", "Cleo", time.Hour)
		page := get("/manager/invited?token=token").of(plain.Server).Body.String()
		offered := strings.Contains(page, "data-passkey")
		if offered != (why == "") || !strings.Contains(page, why) || !strings.Contains(page, `name="passphrase"`) {
			t.Errorf("%s: offered %v, want %q", address, offered, why)
		}
		if got := post("/manager/invited/passkey/begin", "token", "token").of(plain.Server).Code; (got == 200) != offered {
			t.Errorf("%s: a challenge gives %d", address, got)
		}
	}
}

// TestStartingByPassphraseMarksTheBrowser, so that nobody's guesses keep it out
// when the first session has ended.
func TestStartingByPassphraseMarksTheBrowser(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.people.FirstToken = hashSecret("token")
	o := &office{t, h, newTestServer(t, h, nil)}
	_, nora := o.enter(post("/manager/first", "token", "token", "name", "Nora", "passphrase", adasPhrase, "again", adasPhrase))
	m, _ := o.People().ManagerNamed("Nora")
	way := o.People().WaysIn[m.ID]
	if nora[knownCookie] == "" || !way.Knows(hashSecret(nora[knownCookie])) {
		t.Errorf("cookies %v, kept %+v", nora, way.Known)
	}
}
