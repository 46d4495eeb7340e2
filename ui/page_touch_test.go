package ui

import (
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// touchRoom is a room whose house has a screen to touch.
func touchRoom() *fakeHouse {
	room := fullRoom()
	room.Rules.WallTouch = true
	h := newFakeHouse(room, smallRoom())
	h.react = joinReacts
	return h
}

// wallCookie enters home 12 at the screen.
func wallCookie(t *testing.T, s *Server) *http.Cookie {
	t.Helper()
	w := post("/r/cellar/touch?key=wallkey", "do", "enter", "home", "12").of(s)
	if w.Code != http.StatusSeeOther || len(w.Result().Cookies()) != 1 {
		t.Fatalf("entering gives %d: %s", w.Code, said(w.Body.Bytes()))
	}
	return w.Result().Cookies()[0]
}

// with sends a cookie along.
func (a ask) with(c *http.Cookie) ask {
	a.header = http.Header{"Cookie": {c.Name + "=" + c.Value}}
	return a
}

// TestTheScreenIsForThoseWhoStandThere: only where the house has one to touch,
// and only by its own link.
func TestTheScreenIsForThoseWhoStandThere(t *testing.T) {
	s := newTestServer(t, touchRoom(), nil)
	for path, want := range map[string]int{
		"/r/cellar/touch?key=wallkey": 200, "/r/cellar/touch?key=other": 404, "/r/cellar/touch": 404,
		"/r/attic/touch?key=wallkey": 404, "/r/none/touch?key=wallkey": 404,
	} {
		if got := get(path).of(s).Code; got != want {
			t.Errorf("%s gives %d, want %d", path, got, want)
		}
		if got := post(path, "do", "enter", "home", "12").of(s).Code; (got == 303) != (want == 200) {
			t.Errorf("a form to %s gives %d", path, got)
		}
	}
	for path, want := range map[string]bool{"/r/cellar/wall?key=wallkey": true, "/r/cellar/wall": false, "/r/attic/wall?key=wallkey": false} {
		if got := strings.Contains(get(path).of(s).Body.String(), "No phone? Touch here"); got != want {
			t.Errorf("%s leads to the screen's page: %v", path, got)
		}
	}
}

// TestAtTheScreen joins, is told the word, claims, collects, leaves and ends.
func TestAtTheScreen(t *testing.T) {
	h := touchRoom()
	s := newTestServer(t, h, nil)
	c := wallCookie(t, s)
	if c.MaxAge != int(touchFor/time.Second) || !c.HttpOnly || !c.Secure {
		t.Errorf("the cookie is %v", c)
	}
	tap := func(pairs ...string) {
		t.Helper()
		if w := post("/r/cellar/touch?key=wallkey", pairs...).with(c).of(s); w.Code != 303 {
			t.Errorf("%v gives %d: %s", pairs, w.Code, said(w.Body.Bytes()))
		}
	}
	tap("do", "join", "need", "wash")
	page := get("/r/cellar/touch?key=wallkey").with(c).of(s).Body.String()
	for _, want := range []string{callWord(23), "3rd in the queue for a washer", "Leave the queue", "This is my load"} {
		if !strings.Contains(page, want) {
			t.Errorf("the screen does not say %q", want)
		}
	}
	tap("do", "claim", "machine", "d1")
	tap("do", "collected", "machine", "d1")
	tap("do", "leave", "turn", "23")
	person, home := coordinator.PersonID("wall-"+string(coordinator.HomeIDFor("12"))), coordinator.HomeIDFor("12")
	want := []coordinator.Event{
		coordinator.Join{Person: person, Home: home, Need: queue.Wash},
		coordinator.Claim{Machine: "d1", Person: person, Home: home},
		coordinator.Collect{Machine: "d1", Person: person, Home: home},
		coordinator.Leave{Turn: 23, Person: person, Home: home},
	}
	if got := h.events(); !slices.Equal(got, want) {
		t.Errorf("told %+v\nwant %+v", got, want)
	}
	tap("do", "done")
	if w := post("/r/cellar/touch?key=wallkey", "do", "leave", "turn", "23").with(c).of(s); w.Code != 403 {
		t.Errorf("after the end the cookie still opens: %d", w.Code)
	}
}

// TestTheScreenForgets whoever went away without a word.
func TestTheScreenForgets(t *testing.T) {
	h := touchRoom()
	s := newTestServer(t, h, nil)
	c := wallCookie(t, s)
	h.now = h.now.Add(touchFor)
	page := get("/r/cellar/touch?key=wallkey").with(c).of(s).Body.String()
	if !strings.Contains(page, "Without a phone") || strings.Contains(page, "Join the queue") {
		t.Errorf("after %v it still knows who was there", touchFor)
	}
	if get("/r/cellar").with(c).of(s); strings.Contains(get("/me").with(c).of(s).Body.String(), "Sign out") {
		t.Error("the screen's cookie makes the browser a resident's")
	}
}

// TestHomesAtTheScreen: one person for a home, whoever of it comes; a code where
// homes have one; what is missing or wrong is said.
func TestHomesAtTheScreen(t *testing.T) {
	h := touchRoom()
	s := newTestServer(t, h, nil)
	wallCookie(t, s)
	wallCookie(t, s)
	at := 0
	for id := range h.People().Persons {
		if strings.HasPrefix(string(id), "wall-") {
			at++
		}
	}
	if at != 1 {
		t.Errorf("home 12 is %d people at the screen", at)
	}
	if w := post("/r/cellar/touch?key=wallkey", "do", "enter", "home", "").of(s); w.Code != 422 || !strings.Contains(w.Body.String(), "which home") {
		t.Errorf("no home gives %d", w.Code)
	}
	people := &coordinator.People{Homes: map[coordinator.HomeID]coordinator.Home{"h7": {ID: "h7", Name: "Seven", Also: []string{"Old seven"}, Code: "ABCD-2345"}}}
	for _, c := range []struct {
		open  bool
		typed form
		want  coordinator.PersonID
	}{
		{true, form{"home": " seven "}, "wall-h7"},
		{true, form{"home": "old  Seven"}, "wall-h7"}, // its name before it was merged
		{true, form{"home": "eight"}, coordinator.PersonID("wall-" + string(coordinator.HomeIDFor("eight")))},
		{false, form{"home-code": "abcd 2345"}, "wall-h7"},
	} {
		if got := wallPerson(people, c.open, c.typed); got != c.want {
			t.Errorf("%v is %s, want %s", c.typed, got, c.want)
		}
	}
}

// TestAWordIsItsOwnersOnly: whoever comes later and says that they are of home 12
// neither reads the word of its turn nor ends it; who knows the word does. Where
// homes have codes, the home's code is enough.
func TestAWordIsItsOwnersOnly(t *testing.T) {
	for _, open := range []bool{true, false} {
		h := touchRoom()
		h.rooms["cellar"].Rules.OpenHomes = open
		h.people.Homes[coordinator.HomeIDFor("12")] = coordinator.Home{ID: coordinator.HomeIDFor("12"), Name: "12", Code: "H0M3"}
		s := newTestServer(t, h, nil)
		at := func() *http.Cookie {
			w := post("/r/cellar/touch?key=wallkey", "do", "enter", "home", "12", "home-code", "h0m3").of(s)
			if len(w.Result().Cookies()) != 1 {
				t.Fatalf("entering gives %d: %s", w.Code, said(w.Body.Bytes()))
			}
			return w.Result().Cookies()[0]
		}
		tap := func(c *http.Cookie, pairs ...string) int {
			return post("/r/cellar/touch?key=wallkey", pairs...).with(c).of(s).Code
		}
		first := at()
		tap(first, "do", "join", "need", "wash")
		if page := get("/r/cellar/touch?key=wallkey").with(first).of(s).Body.String(); !strings.Contains(page, callWord(23)) {
			t.Error("who joined is not told their word")
		}
		later := at()
		h.people.Sessions[hashSecret(later.Value)] = coordinator.Session{
			Hash: hashSecret(later.Value), Person: coordinator.PersonID("wall-" + string(coordinator.HomeIDFor("12"))), Made: noon.Add(time.Minute), Expires: noon.Add(time.Hour),
		}
		page := get("/r/cellar/touch?key=wallkey").with(later).of(s).Body.String()
		if got := strings.Contains(page, callWord(23)); got == open {
			t.Errorf("open homes: %v; a later visitor reads the word: %v", open, got)
		}
		for _, word := range []string{"", "wrong", callWord(22)} {
			want := http.StatusSeeOther
			if open {
				want = http.StatusForbidden
			}
			if got := tap(later, "do", "leave", "turn", "23", "word", word); got != want {
				t.Errorf("open homes: %v; leaving with the word %q gives %d, want %d", open, word, got, want)
			}
		}
		if got := tap(later, "do", "leave", "turn", "23", "word", " "+strings.ToUpper(callWord(23))); got != http.StatusSeeOther {
			t.Errorf("with the word: %d", got)
		}
	}
}

// TestShut: dark only where nobody may start and nothing goes on.
func TestShut(t *testing.T) {
	day := queue.Day{Opens: 7 * 60, LastStart: 21 * 60, EndedBy: queue.NoClock}
	var hours queue.Hours
	for i := range hours {
		hours[i] = day
	}
	at := func(hour int) time.Time { return time.Date(2026, 3, 17, hour, 30, 0, 0, zone) }
	quiet, busy := smallRoom(), fullRoom()
	quiet.Rules.Hours, busy.Rules.Hours = hours, hours
	quiet.Zone, busy.Zone = zone, zone
	for _, c := range []struct {
		snap *coordinator.Snapshot
		hour int
		want bool
	}{{quiet, 6, true}, {quiet, 7, false}, {quiet, 20, false}, {quiet, 21, true}, {busy, 6, false}, {busy, 22, false}, {smallRoom(), 3, false}} {
		if got := shut(c.snap, at(c.hour)); got != c.want {
			t.Errorf("%s at %d:30 is shut: %v", c.snap.Name, c.hour, got)
		}
	}
}
