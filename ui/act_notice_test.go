package ui

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// pressed posts a notice's button as the service worker does.
func pressed(t *testing.T, s *Server, path, do string) (int, noticeAnswer) {
	t.Helper()
	a := post(path, "do", do).as("secret-of-dan", "")
	a.header = http.Header{"Accept": {"application/json"}}
	w := a.of(s)
	var said noticeAnswer
	if err := json.Unmarshal(w.Body.Bytes(), &said); err != nil || w.Header().Get("Cache-Control") != "no-store" {
		t.Fatalf("%s %s: %d %s, %v", path, do, w.Code, w.Body, err)
	}
	return w.Code, said
}

// offered is the buttons of an answer, in a line.
func offered(said noticeAnswer) string {
	var out []string
	for _, b := range said.Buttons {
		out = append(out, b.Do+" "+b.Title)
	}
	return strings.Join(out, ", ")
}

// TestButtonsOfNotices: each says its load or turn, its person and home, and is
// answered in the person's language.
func TestButtonsOfNotices(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.enrol(coordinator.Person{ID: "dan", Home: "h6", Lang: "de"})
	h.react = func(snap *coordinator.Snapshot, ev coordinator.Event) {
		if more, ok := ev.(coordinator.MoreTime); ok {
			for i := range snap.Machines {
				if l := snap.Machines[i].Load; l != nil && l.ID == more.Load {
					given := *l
					given.MoreUntil = noon.Add(10 * time.Minute)
					snap.Machines[i].Load = &given
				}
			}
		}
	}
	s := newTestServer(t, h, nil)
	until := words.For("de").Clock(noon.Add(10*time.Minute).In(h.rooms["cellar"].Zone), noon.In(h.rooms["cellar"].Zone))
	for _, c := range []struct {
		path, do, body string
		left           string // the button that is still of use
		want           coordinator.Event
	}{
		{"/r/cellar/loads/8", "collected", "Die Maschine ist leer. Danke.", "", coordinator.Collect{Load: 8, Person: "dan", Home: "h6"}},
		{"/r/cellar/loads/8", "more-time", "Sie haben bis " + until + " Zeit, Ihre Ladung abzuholen.", "collected Abgeholt", coordinator.MoreTime{Load: 8, Person: "dan", Home: "h6"}},
		{"/r/cellar/loads/8", "not-me", "Dieser Start war nicht Ihrer. Sie werden wieder aufgerufen.", "", coordinator.NotMe{Load: 8, Person: "dan", Home: "h6"}},
		{"/r/cellar/loads/8", "still-inside", "Ihre Ladung ist noch darin.", "", coordinator.StillInside{Load: 8, Person: "dan", Home: "h6"}},
		{"/r/cellar/turns/6", "on-my-way", "Die anderen sehen, dass jemand unterwegs ist.", "let-next " + words.For("de").Say("button.let-next"), coordinator.OnMyWay{Turn: 6, Person: "dan", Home: "h6"}},
		{"/r/cellar/turns/6", "let-next", "Die Nächsten sind zuerst dran. Ihr Platz dahinter bleibt Ihnen.", "", coordinator.LetNext{Turn: 6, Person: "dan", Home: "h6"}},
	} {
		status, said := pressed(t, s, c.path, c.do)
		if status != http.StatusOK || said.Title != "Notiert" || said.Body != c.body || offered(said) != c.left {
			t.Errorf("%s: %d %+v", c.do, status, said)
		}
		if told := h.events(); told[len(told)-1] != c.want {
			t.Errorf("%s: the room was told %+v", c.do, told[len(told)-1])
		}
	}
}

// TestRefusedButtons: the room's own sentence reaches the phone; what is nobody's
// business does not.
func TestRefusedButtons(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.resident("dan", "h6")
	s := newTestServer(t, h, nil)
	h.refuse = coordinator.Refuse(coordinator.Conflict, "load.gone", "That load is no longer in the machine.")
	for _, path := range []string{"/r/cellar/loads/8", "/r/cellar/turns/6"} {
		do := map[bool]string{true: "collected", false: "let-next"}[strings.Contains(path, "loads")]
		status, said := pressed(t, s, path, do)
		if status != http.StatusConflict || said.Title != "Nothing was changed" || said.Body != "That load is no longer in the machine." {
			t.Errorf("%s: %d %+v", path, status, said)
		}
	}
	for _, c := range []struct{ path, do, left string }{
		{"/r/cellar/loads/8", "more-time", "collected Collected"}, {"/r/cellar/loads/8", "collected", ""}, {"/r/cellar/loads/8", "not-me", ""},
		{"/r/cellar/turns/6", "on-my-way", "let-next Let the next go first"}, {"/r/cellar/turns/6", "let-next", "on-my-way I am on my way"},
	} {
		if _, said := pressed(t, s, c.path, c.do); offered(said) != c.left {
			t.Errorf("after %s was refused: %q, want %q", c.do, offered(said), c.left)
		}
	}
	// Who has chosen no language reads the refusal and its title in that of the browser.
	h.refuse = coordinator.Refuse(coordinator.Conflict, "load.gone", "That load is no longer in the machine.")
	foreign := post("/r/cellar/loads/8", "do", "collected").as("secret-of-dan", "")
	foreign.header = http.Header{"Accept": {"application/json"}, "Accept-Language": {"fr"}}
	fr := words.For("fr")
	if body := foreign.of(s).Body.String(); !strings.Contains(body, fr.Say("answer.refused")) || !strings.Contains(body, fr.Say("refusal.load.gone")) {
		t.Errorf("in French: %s", body)
	}
	h.refuse = http.ErrAbortHandler
	a := post("/r/cellar/loads/8", "do", "collected").as("secret-of-dan", "")
	if w := a.of(s); w.Code != http.StatusInternalServerError || strings.Contains(w.Body.String(), "abort") || strings.HasPrefix(w.Header().Get("Content-Type"), "application/json") {
		t.Errorf("a failure is shown as %d %s", w.Code, w.Body)
	}
}

// TestSignedOutButtons get a page, which the service worker opens, and a form of
// the room's page still gets a page too.
func TestSignedOutButtons(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.resident("dan", "h6")
	s := newTestServer(t, h, nil)
	for _, path := range []string{"/r/cellar/loads/8", "/r/cellar/turns/6"} {
		a := post(path, "do", "let-next")
		a.header = http.Header{"Accept": {"application/json"}}
		if w := a.of(s); w.Code != http.StatusForbidden || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") {
			t.Errorf("%s: %d %s", path, w.Code, w.Header().Get("Content-Type"))
		}
	}
	if len(h.events()) != 0 {
		t.Error("the room was told something")
	}
	if w := post("/r/cellar/turns/6", "do", "let-next").as("secret-of-dan", "").of(s); w.Code != http.StatusSeeOther {
		t.Errorf("a form of the page: %d", w.Code)
	}
}
