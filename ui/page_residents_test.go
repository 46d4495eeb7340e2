package ui

import (
	"net/http"
	"regexp"
	"strings"
	"testing"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// TestResidents: the old address leads to the page about homes and people, and
// residents get neither that nor a code.
func TestResidents(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.resident("dan", "h6")
	s := newTestServer(t, h, nil)
	for _, who := range []string{"", "secret-of-dan"} {
		if w := get("/manager/residents").as(who, who).of(s); w.Code != http.StatusForbidden || strings.Contains(w.Body.String(), "Secretname") {
			t.Errorf("%q: %d", who, w.Code)
		}
		if w := post("/manager/residents/code", "person", "dan").as(who, who).of(s); w.Code != http.StatusForbidden {
			t.Errorf("%q gets a code: %d", who, w.Code)
		}
	}
	if len(h.People().Passes) != 0 {
		t.Error("a code was made")
	}
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	if w := get("/manager/residents").as("", "secret-of-boss").of(s); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/manager/people" {
		t.Errorf("%d to %q", w.Code, w.Header().Get("Location"))
	}
}

// TestResidentName is the name that somebody gave, or since when they are known,
// as the language writes a date.
func TestResidentName(t *testing.T) {
	for lang, want := range map[string]string{"en": "joined 17 Mar 2026", "de": "dabei seit 17. März 2026"} {
		if got := residentName(words.Exactly(lang), &coordinator.Person{Joined: noon}); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if got := residentName(words.English(), &coordinator.Person{Name: "Evening", Joined: noon}); got != "Evening" {
		t.Errorf("%q", got)
	}
}

// TestTheManagersCode replaces a lost phone, once; it makes nobody a manager.
func TestTheManagersCode(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.resident("dan", "h6")
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, h, nil)
	w := post("/manager/residents/code", "person", "dan").as("", "secret-of-boss").of(s)
	code := regexp.MustCompile(`<strong class="code">([A-Z2-9-]{9})</strong>`).FindStringSubmatch(w.Body.String())
	if w.Code != http.StatusOK || code == nil || w.Header().Get("Cache-Control") != "no-store" || !strings.Contains(w.Body.String(), "Secretname of home 12") {
		t.Fatalf("%d: %s", w.Code, said(w.Body.Bytes()))
	}
	used := post("/code", "code", code[1]).of(s)
	if p, ok := h.People().SessionPerson(hashSecret(cookieOf(used.Header())), noon); !ok || p.ID != "dan" {
		t.Errorf("the new phone is %q's", p.ID)
	}
	if again := post("/code", "code", code[1]).of(s); again.Code != http.StatusForbidden {
		t.Errorf("it works twice: %d", again.Code)
	}
	for _, wrong := range []string{"boss", "nobody", ""} {
		w := post("/manager/residents/code", "person", wrong).as("", "secret-of-boss").of(s)
		if w.Code != http.StatusNotFound || strings.Contains(w.Body.String(), `class="pass-code"`) {
			t.Errorf("%q: %d", wrong, w.Code)
		}
	}
}

// TestWayBackFromErrors: a manager goes back to the day, everybody else to the rooms.
func TestWayBackFromErrors(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.resident("dan", "h6")
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, h, nil)
	const day, rooms = `class="button" href="/manager"`, `class="button" href="/"`
	for _, c := range []struct{ path, who, want string }{
		{"/manager/r/cellar/m/none", "secret-of-boss", day}, {"/nothing", "secret-of-boss", rooms}, {"/manager/r/cellar/m/none", "", rooms},
	} {
		w := get(c.path).as("", c.who).of(s)
		if w.Code < 400 || !strings.Contains(w.Body.String(), c.want) {
			t.Errorf("%s for %q: %d lacks %s", c.path, c.who, w.Code, c.want)
		}
	}
}
