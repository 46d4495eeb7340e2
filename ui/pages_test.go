package ui

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"reflect"
	"strings"
	"testing"

	"drumturn/coordinator"
	"drumturn/queue"
)

// ask sends a request as a browser of this site does.
type ask struct {
	method, path string
	resident     string // cookie values
	manager      string
	form         url.Values
	header       http.Header
}

func (a ask) request() *http.Request {
	var r *http.Request
	if a.method == http.MethodPost {
		r = httptest.NewRequest(a.method, a.path, strings.NewReader(a.form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Sec-Fetch-Site", "same-origin")
	} else {
		r = httptest.NewRequest(a.method, a.path, nil)
	}
	r.Host = "localhost:8080"
	if a.resident != "" {
		r.AddCookie(&http.Cookie{Name: "__Host-drumturn", Value: a.resident})
	}
	if a.manager != "" {
		r.AddCookie(&http.Cookie{Name: "__Host-drumturn-manager", Value: a.manager})
	}
	for k, v := range a.header {
		r.Header[k] = v
	}
	return r
}

func (a ask) of(s *Server) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, a.request())
	return w
}

func get(path string) ask { return ask{method: http.MethodGet, path: path} }
func post(path string, pairs ...string) ask {
	f := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		f.Add(pairs[i], pairs[i+1])
	}
	return ask{method: http.MethodPost, path: path, form: f}
}

func (a ask) as(resident, manager string) ask {
	a.resident, a.manager = resident, manager
	return a
}

// TestRoutesByRole asks every route as a visitor, a resident and the manager.
func TestRoutesByRole(t *testing.T) {
	type want struct{ visitor, resident, manager int }
	all := func(n int) want { return want{n, n, n} }
	cases := []struct {
		ask
		want
	}{
		{get("/"), all(200)},
		{get("/r/cellar"), all(200)},
		{get("/r/nowhere"), all(404)},
		{get("/r/cellar/join"), want{200, 303, 200}},
		{get("/r/nowhere/join"), all(404)},
		{get("/r/nowhere/events"), all(404)},
		{post("/r/cellar/join", "code", "wrong", "home", "12"), all(403)},
		{post("/r/cellar/turns", "need", "wash"), all(303)}, // a visitor is sent to the door
		{post("/r/cellar/turns", "need", "iron"), want{303, 422, 303}},
		{post("/r/cellar/turns/6", "do", "leave"), want{403, 303, 403}},
		{post("/r/cellar/turns/x", "do", "leave"), want{403, 404, 403}},
		{post("/r/cellar/turns/6", "do", "dance"), want{403, 422, 403}},
		{post("/r/cellar/loads/8", "do", "collected"), want{403, 200, 403}},
		{post("/r/cellar/loads/8", "do", "dance"), want{403, 422, 403}},
		{post("/r/cellar/loads/0", "do", "collected"), want{403, 404, 403}},
		{post("/r/vault/loads/8", "do", "collected"), want{404, 404, 404}},
		{get("/r/cellar/m/w1"), all(200)},
		{get("/r/cellar/m/w9"), all(404)},
		{post("/r/cellar/m/w4", "do", "empty"), want{403, 303, 303}},
		{post("/r/cellar/m/w4", "do", "on-table", "code", "PRINTED W4"), all(303)},
		{post("/r/cellar/m/w4", "do", "on-table", "code", "printed-w1"), want{403, 303, 303}},
		{post("/r/cellar/m/w4", "do", "fault", "text", "it leaks"), all(303)},
		{post("/r/cellar/m/w4", "do", "fault"), all(422)},
		{post("/r/cellar/m/w4", "do", "claim"), want{403, 303, 403}},
		{post("/r/cellar/m/w4", "do", "start"), want{403, 303, 303}},
		{post("/r/cellar/m/w4", "do", "still-inside"), want{403, 303, 403}},
		{get("/r/cellar/wall"), all(200)},
		{get("/r/cellar/join.svg"), want{404, 404, 200}},
		{get("/r/cellar/join.svg?key=wallkey"), all(200)},
		{get("/r/cellar/join.svg?key=guess"), want{404, 404, 200}},
		{get("/mail/confirm"), all(200)},
		{post("/mail/confirm", "code", "guess"), all(403)},
		{get("/mail/off"), all(200)},
		{post("/code/mail", "address", "a@weiher.org"), all(409)}, // no mail server
		{post("/me/notices/mail/end"), want{403, 303, 403}},
		{post("/manager/notices/mail/end"), want{403, 403, 303}},
		{get("/me"), all(200)},
		{post("/me/devices", "endpoint", "https://push.example/x", "p256dh", "a", "auth", "b"), want{403, 204, 403}},
		{post("/me/devices/off"), want{403, 303, 403}},
		{post("/language", "lang", "en"), all(303)},
		{post("/language", "lang", "xx"), all(422)},
		{post("/me/forget"), want{403, 422, 403}},
		{post("/me/sign-out"), all(303)},
		{get("/manager"), all(200)},
		{get("/manager/first?token=x"), all(200)},
		{post("/manager/devices", "endpoint", "https://push.example/x", "p256dh", "a", "auth", "b"), want{403, 403, 204}},
		{post("/manager/r/cellar/m/w1", "do", "take-out", "text", "broken"), want{403, 403, 303}},
		{post("/manager/r/cellar/m/w1", "do", "explode"), want{403, 403, 422}},
		{post("/r/cellar/share", "code", "ABCD"), want{403, 303, 403}},
		{post("/r/cellar/m/w4/share"), want{403, 200, 403}},
		{post("/r/cellar/table", "load", "3"), want{403, 303, 403}},
		{post("/manager/r/cellar/table", "do", "3"), want{403, 403, 303}},
		{get("/manager/r/cellar/log"), want{403, 403, 200}},
		{get("/manager/r/cellar/log?day=yesterday"), want{403, 403, 200}},
		{post("/manager/r/cellar/longer-hold", "do", "on", "home", "h1"), want{403, 403, 303}},
		{post("/manager/r/cellar/longer-hold", "do", "maybe", "home", "h1"), want{403, 403, 422}},
		{post("/manager/r/cellar/invitation"), want{403, 403, 303}},
		{post("/manager/sign-in", "passphrase", "some words of mine"), all(403)},
		{post("/manager/passkey", "ticket", "x", "answer", "{}"), all(409)},
		{get("/manager/access"), want{303, 303, 200}},
		{post("/manager/access", "do", "others"), want{403, 403, 303}},
		{get("/manager/log"), want{303, 303, 200}},
		{post("/manager/sign-out"), all(303)},
		{get("/healthz"), all(200)},
		{get("/manifest.webmanifest"), all(200)},
		{get("/sw.js"), all(200)},
		{get("/push-key"), all(200)},
		{get("/icons/icon-192.png"), all(200)},
		{get("/icons/none.png"), all(404)},
		{get("/nothing"), all(404)},
		{post("/r/cellar"), all(405)},
	}
	roles := []struct {
		name, resident, manager string
		want                    func(want) int
	}{
		{"visitor", "", "", func(w want) int { return w.visitor }},
		{"resident", "secret-of-dan", "", func(w want) int { return w.resident }},
		{"manager", "", "secret-of-boss", func(w want) int { return w.manager }},
	}
	for _, role := range roles {
		h := newFakeHouse(fullRoom(), smallRoom())
		s := newTestServer(t, h, nil)
		for _, c := range cases {
			h.resident("dan", "h6") // anew: a case before may have signed out
			h.enrol(coordinator.Person{ID: "boss", Manager: true})
			got := c.as(role.resident, role.manager).of(s)
			if want := role.want(c.want); got.Code != want {
				t.Errorf("%s %s %s %v: %d, want %d", role.name, c.method, c.path, c.form, got.Code, want)
			}
		}
	}
}

func TestOneRoomIsShownAtOnce(t *testing.T) {
	s := newTestServer(t, newFakeHouse(smallRoom()), nil)
	w := get("/").of(s)
	if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/r/attic" {
		t.Errorf("%d to %q", w.Code, w.Header().Get("Location"))
	}
}

func TestFormsBecomeEvents(t *testing.T) {
	dan := struct {
		p coordinator.PersonID
		h coordinator.HomeID
	}{"dan", "h6"}
	cases := []struct {
		ask  ask
		want coordinator.Event
	}{
		{post("/r/cellar/turns", "need", "wash", "accessible", "yes", "lower", "yes", "min-kg", "7", "dry-after", "yes"),
			coordinator.Join{Person: dan.p, Home: dan.h, Need: queue.Wash, DryAfter: true,
				Wishes: queue.Wishes{Accessible: true, Lower: true, MinKg: 7}}},
		{post("/r/cellar/turns", "need", "dry", "dry-after", "yes"), coordinator.Join{Person: dan.p, Home: dan.h, Need: queue.Dry}},
		{post("/r/cellar/turns/6", "do", "leave"), coordinator.Leave{Turn: 6, Person: dan.p, Home: dan.h}},
		{post("/r/cellar/turns", "need", "wash", "leave-at-closing", "yes"), coordinator.Join{Person: dan.p, Home: dan.h, Need: queue.Wash, LeaveAtClosing: true}},
		{post("/r/cellar/turns/6", "do", "leave-at-closing"), coordinator.AtClosing{Turn: 6, Person: dan.p, Home: dan.h, Leave: true}},
		{post("/r/cellar/turns/6", "do", "stay-at-closing"), coordinator.AtClosing{Turn: 6, Person: dan.p, Home: dan.h}},
		{post("/r/cellar/turns/6", "do", "let-next"), coordinator.LetNext{Turn: 6, Person: dan.p, Home: dan.h}},
		{post("/r/cellar/turns/6", "do", "not-now", "minutes", "30"),
			coordinator.NotNow{Turn: 6, Person: dan.p, Home: dan.h, Until: in(30)}},
		{post("/r/cellar/m/w4", "do", "claim"), coordinator.Claim{Machine: "w4", Person: dan.p, Home: dan.h}},
		{post("/r/cellar/m/w4", "do", "collected"), coordinator.Collect{Machine: "w4", Person: dan.p, Home: dan.h}},
		{post("/r/cellar/m/w4", "do", "empty"), coordinator.Collect{Machine: "w4", Person: dan.p, Home: dan.h}},
		{post("/r/cellar/m/w4", "do", "on-table"), coordinator.Collect{Machine: "w4", Person: dan.p, Home: dan.h, OnTable: true}},
		{post("/r/cellar/m/w4", "do", "still-inside"), coordinator.StillInside{Machine: "w4", Person: dan.p, Home: dan.h}},
		{post("/r/cellar/turns/6", "do", "on-my-way"), coordinator.OnMyWay{Turn: 6, Person: dan.p, Home: dan.h}},
		{post("/r/cellar/share", "code", "ab-cd"), coordinator.ShareLoad{Hash: shareHash("ABCD"), Person: dan.p, Home: dan.h}},
		{post("/r/cellar/table", "load", "3"), coordinator.Fetched{Load: 3, Person: dan.p, Home: dan.h}},
		{post("/manager/r/cellar/table", "do", "3"), coordinator.Fetched{Load: 3, Person: "boss", Manager: true}},
		{post("/manager/r/cellar/table", "do", "forgotten"), coordinator.Fetched{Person: "boss", Manager: true, Forgotten: true}},
		{post("/r/cellar/m/w4", "do", "dry-after"), coordinator.DryAfter{Machine: "w4", Person: dan.p, Home: dan.h}},
		{post("/r/cellar/m/w4", "do", "not-me"), coordinator.NotMe{Machine: "w4", Person: dan.p, Home: dan.h}},
		{post("/r/cellar/m/w4", "do", "fault", "text", " it leaks "),
			coordinator.ReportFault{Machine: "w4", Person: dan.p, Home: dan.h, Text: "it leaks"}},
		{post("/r/cellar/m/w4", "do", "start"), coordinator.StartByHand{Machine: "w4", Person: dan.p, Home: dan.h}},
		{post("/r/cellar/m/w4", "do", "end"), coordinator.EndByHand{Machine: "w4", Person: dan.p, Home: dan.h}},
		{post("/manager/r/cellar/m/w4", "do", "take-out", "text", "belt"), coordinator.TakeOut{Machine: "w4", Person: "boss", Text: "belt"}},
		{post("/manager/r/cellar/longer-hold", "do", "on", "home", "h1"), coordinator.HoldLonger{Person: "boss", Home: "h1", On: true}},
		{post("/manager/r/cellar/longer-hold", "do", "off", "home", "h1"), coordinator.HoldLonger{Person: "boss", Home: "h1"}},
		{post("/manager/r/cellar/m/w4", "do", "looked-after"), coordinator.LookedAfter{Machine: "w4", Person: "boss"}},
		{post("/manager/r/cellar/m/w4", "do", "looked-after", "text", " vent cleaned "), coordinator.LookedAfter{Machine: "w4", Person: "boss", Text: "vent cleaned"}},
		{post("/manager/r/cellar/m/w4", "do", "put-back"), coordinator.PutBack{Machine: "w4", Person: "boss"}},
		{post("/manager/r/cellar/m/w4", "do", "by-hand-on"), coordinator.ByHand{Machine: "w4", Person: "boss", On: true}},
		{post("/manager/r/cellar/m/w4", "do", "by-hand-off"), coordinator.ByHand{Machine: "w4", Person: "boss"}},
		{post("/manager/r/cellar/m/w4", "do", "on-table"), coordinator.Collect{Machine: "w4", Person: "boss", OnTable: true}},
	}
	h := newFakeHouse(fullRoom())
	h.resident(dan.p, dan.h)
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, h, nil)
	for _, c := range cases {
		h.told = nil
		w := c.ask.as("secret-of-dan", "secret-of-boss").of(s)
		if w.Code != http.StatusSeeOther {
			t.Errorf("%v: %d %s", c.ask, w.Code, w.Body)
		}
		if got := h.events(); len(got) != 1 || !reflect.DeepEqual(got[0], c.want) {
			t.Errorf("%s %v: told %+v, want %+v", c.ask.path, c.ask.form, got, c.want)
		}
	}
}

func TestAVisitorsReportsCarryNobody(t *testing.T) {
	h := newFakeHouse(fullRoom())
	s := newTestServer(t, h, nil)
	post("/r/cellar/m/w4", "do", "on-table", "code", "printed-w4").of(s)
	want := coordinator.Collect{Machine: "w4", OnTable: true}
	if got := h.events(); len(got) != 1 || got[0] != coordinator.Event(want) {
		t.Errorf("told %+v, want %+v", got, want)
	}
}

// TestARefusalStandsInThePage: the sentence is beside the form, nothing typed
// is lost, and nothing says that it was done.
func TestARefusalStandsInThePage(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.resident("dan", "h6")
	h.refuse = coordinator.Refuse(coordinator.OverLimit, "limit", "Your home already has 2 turns in this room.")
	s := newTestServer(t, h, nil)
	w := post("/r/cellar/turns", "need", "dry", "lower", "yes").as("secret-of-dan", "").of(s)
	page := w.Body.String()
	if w.Code != http.StatusConflict || !strings.Contains(page, "Your home already has 2 turns in this room.") {
		t.Fatalf("%d: the refusal is not in the page", w.Code)
	}
	if !strings.Contains(page, `name="lower" value="yes" checked`) || !strings.Contains(page, "<details open><summary>Wishes") {
		t.Error("what was chosen is lost")
	}
	w = post("/r/cellar/m/w4", "do", "fault", "text", strings.Repeat("x", 301)).as("secret-of-dan", "").of(s)
	if w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), strings.Repeat("x", 301)) {
		t.Errorf("%d: what was typed is lost", w.Code)
	}
}

func TestJoiningKeepsWhatWasTyped(t *testing.T) {
	h := newFakeHouse(fullRoom())
	s := newTestServer(t, h, nil)
	w := post("/r/cellar/join", "code", "wrong", "home", "4th left", "name", "Robin").of(s)
	page := w.Body.String()
	for _, want := range []string{`value="wrong"`, `value="4th left"`, `value="Robin"`, "That is not the code on the wall of this room."} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %s", want)
		}
	}
	if len(w.Result().Cookies()) != 0 {
		t.Error("a refused visitor got a cookie")
	}
}

// TestTheCodeInTheAddress: the code on the wall fills its field.
func TestTheCodeInTheAddress(t *testing.T) {
	s := newTestServer(t, newFakeHouse(fullRoom()), nil)
	for path, want := range map[string]bool{"/r/cellar?code=tidewater": true, "/r/cellar/join?code=tidewater": true, "/r/cellar": false} {
		page := get(path).of(s).Body.String()
		if got := strings.Contains(page, `name="code" value="tidewater"`); got != want {
			t.Errorf("%s: the code is in the form: %v", path, got)
		}
	}
	h := newFakeHouse(fullRoom())
	h.resident("dan", "h6")
	if page := get("/r/cellar?code=tidewater").as("secret-of-dan", "").of(newTestServer(t, h, nil)).Body.String(); strings.Contains(page, `value="tidewater"`) {
		t.Error("a resident is asked to join again")
	}
}

func TestJoinWithHomeCodes(t *testing.T) {
	room := fullRoom()
	room.Rules.OpenHomes = false
	h := newFakeHouse(room)
	h.people.Homes["h12"] = coordinator.Home{ID: "h12", Name: "12", Code: "H0M3"}
	s := newTestServer(t, h, nil)
	if w := post("/r/cellar/join", "code", "tidewater", "home", "12").of(s); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("without the home's code: %d", w.Code)
	}
	h.people.Homes["h12"] = coordinator.Home{ID: "h12", Name: "12", Code: "H0M3"}
	w := post("/r/cellar/join", "code", "tidewater", "home-code", "h0m3").of(s)
	if w.Code != http.StatusSeeOther {
		t.Fatalf("%d: %s", w.Code, w.Body)
	}
	ev := h.peopleEv[len(h.peopleEv)-1].(coordinator.JoinBuilding)
	if ev.Open || ev.HomeCode != "h0m3" || ev.NewID == "" || ev.NewHomeCode == "" {
		t.Errorf("told %+v", ev)
	}
}

// TestUnderAPrefix: every address that the pages name lies below the public URL.
func TestUnderAPrefix(t *testing.T) {
	h := newFakeHouse(fullRoom(), smallRoom())
	h.resident("fay", "h8")
	s := newTestServer(t, h, func(o *Options) { o.PublicURL = "https://house.example/laundry" })
	for _, path := range []string{"/laundry/", "/laundry/r/cellar", "/laundry/r/cellar/m/w4", "/laundry/me", "/r/cellar/wall"} {
		w := get(path).as("secret-of-fay", "").of(s)
		if w.Code != http.StatusOK {
			t.Errorf("%s: %d", path, w.Code)
		}
		for _, attr := range []string{`href="/`, `src="/`, `action="/`, `data-events="/`, `data-push="/`} {
			for _, rest := range strings.Split(w.Body.String(), attr)[1:] {
				if !strings.HasPrefix(rest, "laundry/") {
					t.Errorf("%s: %s%.30s leaves the prefix", path, attr, rest)
				}
			}
		}
	}
	w := post("/laundry/r/cellar/turns", "need", "wash").as("secret-of-fay", "").of(s)
	if got := w.Header().Get("Location"); got != "/laundry/r/cellar" {
		t.Errorf("sent to %q", got)
	}
}

// TestOddRoomNames: ids are taken from the address as they were before escaping.
func TestOddRoomNames(t *testing.T) {
	room := smallRoom()
	room.Room, room.Machines[0].ID = "größe & co", "w 1"
	s := newTestServer(t, newFakeHouse(room), nil)
	to := get("/").of(s).Header().Get("Location")
	if w := get(to).of(s); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "/m/w%201") {
		t.Errorf("%s: %d", to, w.Code)
	}
	if w := get(to + "/m/w%201").of(s); w.Code != http.StatusOK {
		t.Errorf("machine: %d", w.Code)
	}
}
