package ui

import (
	"net/http"
	"strings"
	"testing"

	"drumturn/coordinator"
)

// TestWhoJoinsKeepsTheBrowsersLanguage: notices have no browser to ask later.
func TestWhoJoinsKeepsTheBrowsersLanguage(t *testing.T) {
	for header, want := range map[string]string{"de-CH,de;q=0.9": "de", "ar": "ar", "": "en", "ja": "en"} {
		h := newFakeHouse(smallRoom())
		s := newTestServer(t, h, nil)
		a := post("/r/attic/join", "code", "tidewater", "home", "12")
		a.header = http.Header{"Accept-Language": {header}}
		if w := a.of(s); w.Code != http.StatusSeeOther {
			t.Fatalf("%q: %d", header, w.Code)
		}
		for _, p := range h.people.Persons {
			if p.Lang != want {
				t.Errorf("%q: notices in %q, want %q", header, p.Lang, want)
			}
		}
	}
}

// TestEveryLanguageCanBeChosen under its own name, and the chosen one shows.
func TestEveryLanguageCanBeChosen(t *testing.T) {
	h := newFakeHouse(smallRoom())
	h.enrol(coordinator.Person{ID: "dan", Home: "h6", Lang: "de-AT"})
	s := newTestServer(t, h, nil)
	page := get("/me").as("secret-of-dan", "").of(s).Body.String()
	for _, want := range []string{`value="de" lang="de" dir="ltr" selected>Deutsch<`, `value="ar" lang="ar" dir="rtl">العربية<`, `value="en" lang="en" dir="ltr">English<`} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not offer %s", want)
		}
	}
	if w := post("/me/language", "lang", "ar").as("secret-of-dan", "").of(s); w.Code != http.StatusSeeOther || h.people.Persons["dan"].Lang != "ar" {
		t.Errorf("%d, %+v", w.Code, h.people.Persons["dan"])
	}
}
