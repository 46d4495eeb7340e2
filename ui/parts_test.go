package ui

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// TestToday lists what needs a hand, each with its button.
func TestToday(t *testing.T) {
	room := fullRoom()
	room.Machines[0].MayHoldLoad = true
	room.Machines[1].Stalled = true
	room.Machines[2].Faults = []coordinator.Fault{{At: in(-3), Home: "h6", Text: "door sticks"}}
	room.Machines[4].Load.Reason = coordinator.EndStopped
	h := newFakeHouse(room)
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	h.resident("dan", "h6")
	s := newTestServer(t, h, nil)
	page := get("/manager").as("", "secret-of-boss").of(s).Body.String()
	text := said([]byte(page))
	for _, want := range []string{
		"A fault was reported at 13:44: “door sticks”", "A cycle stopped early at 13:39", "A load has waited 42 min, since 13:05.",
		"The meter is silent since 13:32.", "A load may still lie inside", "Out of service since Mon 11:47. “drum belt is worn”",
		"Running since 13:10, far longer than usual.", "1 of the latest notices did not reach anybody.", "no device takes notices",
		"called to Washer 2", "Phones take notices over https only.", "13:44: “door sticks” (home 12)",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("today does not say %q", want)
		}
	}
	for _, button := range []string{`value="take-out"`, `value="put-back"`, `value="by-hand-on"`, `value="on-table"`, `value="empty"`} {
		if !strings.Contains(page, button) {
			t.Errorf("no button %s", button)
		}
	}
}

func TestNothingNeedsAHand(t *testing.T) {
	h := newFakeHouse(smallRoom())
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, h, func(o *Options) { o.Deliveries, o.Advice = nil, nil })
	text := said(get("/manager").as("", "secret-of-boss").of(s).Body.Bytes())
	if !strings.Contains(text, "Nothing. Every machine is heard") {
		t.Error(text)
	}
}

// TestPlainHTTPIsSaid on the manager's page, where cookies cross the network bare.
func TestPlainHTTPIsSaid(t *testing.T) {
	for url, want := range map[string]bool{"http://laundry.lan": true, "https://laundry.example": false, "http://localhost": false} {
		h := newFakeHouse(smallRoom())
		h.enrol(coordinator.Person{ID: "boss", Manager: true})
		s := newTestServer(t, h, func(o *Options) { o.PublicURL = url })
		a := get("/manager")
		name := s.cookies.manager
		a.header = http.Header{"Cookie": {name + "=secret-of-boss"}}
		if got := strings.Contains(a.of(s).Body.String(), "reached over plain http.</strong>"); got != want {
			t.Errorf("%s: %v", url, got)
		}
	}
}

func TestRotatingTheInvitation(t *testing.T) {
	h := newFakeHouse(smallRoom())
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, h, nil)
	before := get("/r/attic/join.svg?key=wallkey").of(s).Body.String()
	post("/manager/r/attic/invitation").as("", "secret-of-boss").of(s)
	code := h.people.Invitations["attic"].Code
	if code == "tidewater" || len(code) != invitationLetters+1 {
		t.Errorf("the new code is %q", code)
	}
	if w := post("/r/attic/join", "code", "tidewater", "home", "12").of(s); w.Code != 403 {
		t.Errorf("the old code still holds: %d", w.Code)
	}
	if get("/r/attic/join.svg?key=wallkey").of(s).Body.String() == before {
		t.Error("the picture shows the old code")
	}
}

// TestTheWallShowsTheCodeOnlyToItsScreen.
func TestTheWallShowsTheCodeOnlyToItsScreen(t *testing.T) {
	h := newFakeHouse(smallRoom())
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, h, nil)
	none := newTestServer(t, h, func(o *Options) { o.WallKey = "" })
	cases := []struct {
		s    *Server
		ask  ask
		want bool
	}{
		{s, get("/r/attic/wall"), false}, {s, get("/r/attic/wall?key=wrong"), false}, {s, get("/r/attic/wall?key=wallkey"), true},
		{s, get("/r/attic/wall").as("", "secret-of-boss"), true}, {none, get("/r/attic/wall?key="), false}, {none, get("/r/attic/wall"), false},
	}
	for _, c := range cases {
		if got := strings.Contains(c.ask.of(c.s).Body.String(), "tidewater"); got != c.want {
			t.Errorf("%s: %v", c.ask.path, got)
		}
	}
}

func TestDevices(t *testing.T) {
	h := newFakeHouse(smallRoom())
	h.resident("dan", "h6")
	s := newTestServer(t, h, func(o *Options) {
		o.ValidateSubscription = func(s *coordinator.Subscription) error {
			if strings.Contains(s.Endpoint, "evil") {
				return errors.New("its address is not a push service's")
			}
			s.ID = "id-of-" + string(s.Person)
			return nil
		}
	})
	add := func(endpoint string) int {
		return post("/me/devices", "endpoint", endpoint, "p256dh", "key", "auth", "secret").as("secret-of-dan", "").of(s).Code
	}
	if got := add("https://evil.example/x"); got != http.StatusUnprocessableEntity {
		t.Errorf("a bad endpoint: %d", got)
	}
	if got := add("https://push.example/x"); got != http.StatusNoContent {
		t.Errorf("a good one: %d", got)
	}
	sub, ok := h.people.Subscriptions["id-of-dan"]
	if !ok || sub.Person != "dan" || sub.P256dh != "key" || sub.Auth != "secret" || !sub.Made.Equal(noon) {
		t.Errorf("stored %+v", h.people.Subscriptions)
	}
	post("/me/devices/off").as("secret-of-dan", "").of(s)
	if len(h.people.Subscriptions) != 0 {
		t.Error("the device is still told")
	}
}

// TestForgetMe: the resident says whether the history forgets them too, and the
// rooms and the history are to be told so, by every id that they had.
func TestForgetMe(t *testing.T) {
	for _, c := range []struct {
		fields []string
		erase  []coordinator.PersonID
	}{
		{[]string{"sure", "yes"}, nil},
		{[]string{"sure", "yes", "past", "no"}, nil},
		{[]string{"sure", "yes", "past", "yes"}, []coordinator.PersonID{"dan", "dan-before"}},
	} {
		h := newFakeHouse(fullRoom(), smallRoom())
		h.enrol(coordinator.Person{ID: "dan", Home: "h6", Former: []coordinator.PersonID{"dan-before"}})
		s := newTestServer(t, h, nil)
		w := post("/me/forget", c.fields...).as("secret-of-dan", "").of(s)
		if _, ok := h.people.Persons["dan"]; ok || w.Code != http.StatusSeeOther {
			t.Errorf("%v: %d; dan is still known: %v", c.fields, w.Code, ok)
		}
		if len(h.people.Departures) != 1 {
			t.Fatalf("%v: the rooms are to be told %v", c.fields, h.people.Departures)
		}
		for _, d := range h.people.Departures {
			if d.Person != "dan" || !slices.Equal(d.Erase, c.erase) {
				t.Errorf("%v: the history is to forget %v of %s, want %v", c.fields, d.Erase, d.Person, c.erase)
			}
		}
	}
}

// TestForgetMeSaysWhatStays: for how long, by the room that keeps it longest; and
// without the first tick nothing is done, whatever the second says.
func TestForgetMeSaysWhatStays(t *testing.T) {
	one, two := fullRoom(), smallRoom()
	one.Rules.KeepDays, two.Rules.KeepDays = 30, 45
	h := newFakeHouse(one, two)
	h.resident("dan", "h6")
	s := newTestServer(t, h, nil)
	if page := get("/me").as("secret-of-dan", "").of(s).Body.String(); !strings.Contains(page, "for 45 days more") {
		t.Error("the page does not say how long history is kept")
	}
	w := post("/me/forget", "past", "yes").as("secret-of-dan", "").of(s)
	if _, ok := h.people.Persons["dan"]; !ok || w.Code != http.StatusUnprocessableEntity || len(h.people.Departures) != 0 {
		t.Errorf("%d: forgotten without the tick", w.Code)
	}
}

func TestManifestAndKey(t *testing.T) {
	s := newTestServer(t, newFakeHouse(smallRoom()), func(o *Options) { o.PublicURL = "https://house.example/laundry" })
	w := get("/laundry/manifest.webmanifest").of(s)
	var m struct {
		StartURL string `json:"start_url"`
		Icons    []struct{ Src string }
	}
	if err := json.Unmarshal(w.Body.Bytes(), &m); err != nil || w.Header().Get("Content-Type") != "application/manifest+json" {
		t.Fatalf("%v %v", err, w.Header())
	}
	if m.StartURL != "/laundry/" || len(m.Icons) != 3 {
		t.Errorf("%+v", m)
	}
	for _, icon := range m.Icons {
		if got := get(icon.Src).of(s); got.Code != 200 || got.Header().Get("Content-Type") != "image/png" {
			t.Errorf("%s: %d", icon.Src, got.Code)
		}
	}
	none := newTestServer(t, newFakeHouse(smallRoom()), func(o *Options) { o.ValidateSubscription = nil })
	if got := get("/push-key").of(none).Code; got != http.StatusNotFound {
		t.Errorf("a key although nothing can be sent: %d", got)
	}
}

func TestMounts(t *testing.T) {
	meter := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { w.Write([]byte("meter " + r.URL.Path)) })
	s := newTestServer(t, newFakeHouse(smallRoom()), func(o *Options) { o.Mounts = map[string]http.Handler{"/meter/": meter} })
	a := post("/meter/w1")
	a.header = http.Header{"Sec-Fetch-Site": {}, "Content-Type": {"application/json"}}
	if w := a.of(s); w.Body.String() != "meter /meter/w1" {
		t.Errorf("%d %q", w.Code, w.Body)
	}
}

func TestOptionsThatCannotWork(t *testing.T) {
	good := testOptions(newFakeHouse(smallRoom()))
	for name, change := range map[string]func(*Options){
		"no house":  func(o *Options) { o.House = nil },
		"no url":    func(o *Options) { o.PublicURL = "" },
		"bare host": func(o *Options) { o.PublicURL = "laundry.example" },
		"ftp":       func(o *Options) { o.PublicURL = "ftp://laundry.example" },
		"mount":     func(o *Options) { o.Mounts = map[string]http.Handler{"meter": nil} },
		"all":       func(o *Options) { o.Mounts = map[string]http.Handler{"/": nil} },
	} {
		o := good
		change(&o)
		if _, err := New(o); err == nil || !strings.Contains(err.Error(), "ui: ") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestHealth(t *testing.T) {
	var sick error
	s := newTestServer(t, newFakeHouse(smallRoom()), func(o *Options) {
		o.Healthy = func(context.Context) error { return sick }
	})
	if w := get("/healthz").of(s); w.Code != 200 {
		t.Errorf("well: %d", w.Code)
	}
	sick = errors.New("the disk is full")
	if w := get("/healthz").of(s); w.Code != 503 || strings.Contains(w.Body.String(), "disk") {
		t.Errorf("sick: %d %s", w.Code, w.Body)
	}
}

func TestLimiter(t *testing.T) {
	l := newLimiter(time.Second, 3)
	l.max = 4
	at := noon
	for i, want := range []bool{true, true, true, false} {
		if got := l.allow("a", at); got != want {
			t.Errorf("act %d: %v", i, got)
		}
	}
	if !l.allow("a", at.Add(time.Second)) || l.allow("a", at.Add(time.Second)) {
		t.Error("a second gives one act back, no more")
	}
	for _, key := range []string{"b", "c", "d", "e", "f", "g"} {
		l.allow(key, at.Add(time.Second))
		if len(l.seen) > l.max {
			t.Fatalf("%d keys are remembered", len(l.seen))
		}
	}
	l.allow("late", at.Add(time.Hour))
	if len(l.seen) != 1 {
		t.Errorf("%d keys are remembered after an hour", len(l.seen))
	}
}

func TestLimitKey(t *testing.T) {
	same := [][2]string{{"2001:db8:1:2::1", "2001:db8:1:2:ffff::9"}, {"::ffff:192.0.2.7", "192.0.2.7"}, {"fe80::1%eth0", "fe80::2"}}
	for _, p := range same {
		if limitKey(p[0]) != limitKey(p[1]) {
			t.Errorf("%s and %s count apart", p[0], p[1])
		}
	}
	if limitKey("192.0.2.7") == limitKey("192.0.2.8") || limitKey("2001:db8:1:2::1") == limitKey("2001:db8:1:3::1") {
		t.Error("neighbours count together")
	}
	if limitKey("not an address") != "?" {
		t.Error("a garbled address has a key")
	}
}

func TestNoticeWords(t *testing.T) {
	for _, kind := range append(coordinator.ResidentKinds(), coordinator.ManagerKinds()...) {
		n := coordinator.Notice{Kind: kind, Machine: 2, MachineKind: 1}
		if got := noticeText(words.English(), &n); strings.Contains(got, "{") || got == string(kind) {
			t.Errorf("%s: %q", kind, got)
		}
	}
	if got := noticeText(words.English(), &coordinator.Notice{Kind: "new-kind"}); got != "new-kind" {
		t.Errorf("%q", got)
	}
}

func TestDeliveryOutcomes(t *testing.T) {
	cases := []struct {
		d      coordinator.Delivery
		word   string
		failed bool
	}{
		{coordinator.Delivery{State: coordinator.Pending}, "waiting", false},
		{coordinator.Delivery{State: coordinator.Pending, Tries: 2}, "trying again", true},
		{coordinator.Delivery{State: coordinator.Done}, "sent", false},
		{coordinator.Delivery{State: coordinator.Dropped}, "not sent", true},
		{coordinator.Delivery{State: coordinator.Withdrawn}, "no longer needed", false},
	}
	for _, c := range cases {
		if stateWord(words.English(), &c.d) != c.word || deliveryFailed(&c.d) != c.failed {
			t.Errorf("%+v: %q %v", c.d, stateWord(words.English(), &c.d), deliveryFailed(&c.d))
		}
	}
}

// TestEveryThanksIsSaid: each button that redirects has its sentence.
func TestEveryThanksIsSaid(t *testing.T) {
	s := newTestServer(t, newFakeHouse(fullRoom()), nil)
	for _, key := range words.English().Keys() {
		key, of := strings.CutPrefix(key, "thanks.")
		if !of {
			continue
		}
		sentence := words.English().Say("thanks." + key)
		for _, path := range []string{"/r/cellar", "/r/cellar/m/w1"} {
			if !bytes.Contains(get(path+"?done="+key).of(s).Body.Bytes(), []byte(sentence)) {
				t.Errorf("%s?done=%s says nothing", path, key)
			}
		}
	}
	if bytes.Contains(get("/r/cellar?done=%3Cb%3Ehello").of(s).Body.Bytes(), []byte("hello")) {
		t.Error("anybody can put words into the page")
	}
}
