package ui

import (
	"net/http"
	"strings"
	"testing"

	"drumturn/coordinator"
	"drumturn/push/words"
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
	if w := post("/language", "lang", "ar").as("secret-of-dan", "").of(s); w.Code != http.StatusSeeOther || h.people.Persons["dan"].Lang != "ar" {
		t.Errorf("%d, %+v", w.Code, h.people.Persons["dan"])
	}
}

// TestTheBrowsersLanguage is that of the page, until another is chosen.
func TestTheBrowsersLanguage(t *testing.T) {
	s := newTestServer(t, newFakeHouse(fullRoom()), nil)
	for header, want := range map[string]string{
		"de-CH,de;q=0.9": `<html lang="de" dir="ltr">`, "ar": `<html lang="ar" dir="rtl">`, "": `<html lang="en" dir="ltr">`, "ja": `<html lang="en" dir="ltr">`,
	} {
		a := get("/r/cellar")
		a.header = http.Header{"Accept-Language": {header}}
		if w := a.of(s); !strings.Contains(w.Body.String(), want) {
			t.Errorf("%q: no %s", header, want)
		}
	}
	a := get("/r/cellar")
	a.header = http.Header{"Accept-Language": {"de"}, "Cookie": {languageCookie + "=fr"}}
	w := a.of(s)
	if text := said(w.Body.Bytes()); !strings.Contains(text, "Lave-linge 1") || !strings.Contains(text, "hors service") || w.Header().Get("Content-Language") != "fr" {
		t.Errorf("the cookie is not heard: %s", text)
	}
}

// TestChoosingALanguage sets the cookie and the person's, and leads back to the page.
func TestChoosingALanguage(t *testing.T) {
	h := newFakeHouse(smallRoom())
	h.resident("dan", "h6")
	s := newTestServer(t, h, func(o *Options) { o.PublicURL = "https://house.example/laundry" })
	for back, want := range map[string]string{
		"/laundry/r/attic": "/laundry/r/attic", "/r/attic?code=x": "/laundry/r/attic?code=x", "//evil.example/": "/laundry/", "https://evil.example/": "/laundry/",
		"": "/laundry/", `/\evil.example`: "/laundry/", "/laundry//evil.example": "/laundry/",
	} {
		w := post("/laundry/language", "lang", "es", "back", back).as("secret-of-dan", "").of(s)
		if got := w.Header().Get("Location"); got != want {
			t.Errorf("%q leads to %q, want %q", back, got, want)
		}
		if cookie := w.Header().Get("Set-Cookie"); !strings.Contains(cookie, languageCookie+"=es") {
			t.Errorf("cookie %q", cookie)
		}
	}
	if got := h.people.Persons["dan"].Lang; got != "es" {
		t.Errorf("notices in %q", got)
	}
}

// TestTheWallHasALanguageOfItsOwn, whatever the browser in the room asks for.
func TestTheWallHasALanguageOfItsOwn(t *testing.T) {
	s := newTestServer(t, newFakeHouse(fullRoom()), func(o *Options) { o.Languages = []string{"de", "ar"} })
	for path, want := range map[string]string{"/r/cellar/wall?key=wallkey": "Waschmaschine 3", "/r/cellar/wall?lang=fr": "Lave-linge 3", "/r/cellar": "Washer 3"} {
		if text := said(get(path).of(s).Body.Bytes()); !strings.Contains(text, want) {
			t.Errorf("%s: no %q", path, want)
		}
	}
}

// TestEveryPageInEveryLanguage: no page breaks, none shows a bare placeholder or key.
func TestEveryPageInEveryLanguage(t *testing.T) {
	h := crawlRooms()
	s := newTestServer(t, h, withPast)
	for _, l := range words.All() {
		for _, path := range crawlStart {
			a := get(path).as("secret-of-dan", "secret-of-boss")
			a.header = http.Header{"Accept-Language": {l.Code()}}
			w := a.of(s)
			if w.Code != http.StatusOK && w.Code != http.StatusSeeOther {
				t.Errorf("%s %s: %d", l.Code(), path, w.Code)
			}
			if text := said(w.Body.Bytes()); strings.ContainsAny(text, "{}") {
				t.Errorf("%s %s: something is left open in %s", l.Code(), path, text)
			}
		}
	}
}
