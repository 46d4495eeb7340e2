package ui

import (
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// TestResidents: the manager sees everybody by home, and nobody else does.
func TestResidents(t *testing.T) {
	people := &coordinator.People{
		Persons: map[coordinator.PersonID]coordinator.Person{
			"a": {ID: "a", Home: "h12", Name: "Evening", Joined: in(-60)}, "b": {ID: "b", Home: "h12", Joined: noon},
			"c": {ID: "c", Home: "h3", Name: "Three"}, "boss": {ID: "boss", Manager: true},
		},
		Homes: map[coordinator.HomeID]coordinator.Home{"h12": {ID: "h12", Name: "12"}, "h3": {ID: "h3", Name: "3"}, "h9": {ID: "h9", Name: "9"}},
	}
	var got []string
	for _, h := range viewResidents(words.English(), people) {
		got = append(got, "home "+h.Name)
		for _, r := range h.Residents {
			got = append(got, r.Name)
		}
	}
	if want := []string{"home 3", "Three", "home 12", "joined 2026-03-17", "Evening"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
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
