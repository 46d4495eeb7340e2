package ui

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// languageCookie holds the choice of a browser; it is no secret.
const languageCookie = "drumturn-lang"

// lang is the language of whoever asks: what a signed-in person chose, what this
// browser chose, or what it asks for.
func (s *Server) lang(c echo.Context) *words.Language {
	if l, ok := c.Get("lang").(*words.Language); ok {
		return l
	}
	l := s.findLang(c)
	c.Set("lang", l)
	return l
}

func (s *Server) findLang(c echo.Context) *words.Language {
	if l := s.wallLang(c); l != nil {
		return l
	}
	if s.onManagerPage(c) {
		return s.langOf(c, s.manager(c))
	}
	return s.langOf(c, s.visitor(c))
}

// langOf is the language of somebody known: what they chose, what this browser
// chose, or what it asks for.
func (s *Server) langOf(c echo.Context, who *coordinator.Person) *words.Language {
	if who != nil && who.Lang != "" {
		return words.For(who.Lang)
	}
	if cookie := sentCookie(c, languageCookie); cookie != nil {
		if l := words.Exactly(cookie.Value); l != nil {
			return l
		}
	}
	return s.accepted.find(c.Request().Header.Get("Accept-Language"))
}

func (s *Server) onManagerPage(c echo.Context) bool { return strings.HasPrefix(c.Path(), "/manager") }

// wallLang is the language of the screen in the room, which nobody signs in to:
// the one its address names, or the building's first; nil on other pages.
func (s *Server) wallLang(c echo.Context) *words.Language {
	screen := strings.HasSuffix(c.Path(), "/wall") || strings.HasSuffix(c.Path(), "/touch")
	if !screen && (c.Request().URL.RawQuery == "" || c.QueryParam("as") != "wall") {
		return nil
	}
	if l := words.Exactly(c.QueryParam("lang")); l != nil {
		return l
	}
	if len(s.o.Languages) > 0 {
		return words.For(s.o.Languages[0])
	}
	return nil
}

// acceptedMost bounds how many different headers are remembered.
const acceptedMost = 1000

// acceptMemo remembers what Accept-Language headers come to: a whole building
// sends a handful, and reading one costs more than the rest of a request's head.
type acceptMemo struct {
	known sync.Map // header -> *words.Language
	count atomic.Int64
}

func (m *acceptMemo) find(header string) *words.Language {
	if l, ok := m.known.Load(header); ok {
		return l.(*words.Language)
	}
	l := words.Accepted(header)
	if m.count.Load() < acceptedMost && len(header) < 200 {
		m.known.Store(header, l)
		m.count.Add(1)
	}
	return l
}

// here is the page being looked at, to come back to after choosing a language;
// after a form it is the one that the form was on.
func here(c echo.Context) string {
	if r := c.Request(); r.Method == http.MethodGet {
		u := url.URL{Path: r.URL.Path, RawPath: r.URL.RawPath, RawQuery: kept(r.URL.Query())}
		return u.RequestURI()
	}
	if u, err := url.Parse(c.Request().Referer()); err == nil && u.Host == c.Request().Host {
		return u.RequestURI()
	}
	return "/"
}

// kept is what of an address's query the page needs to show the same again.
func kept(q url.Values) string {
	for name := range q {
		if !slices.Contains([]string{"code", "token", "key", "day", "lang", "paper"}, name) {
			q.Del(name)
		}
	}
	return q.Encode()
}

// chooseLanguage keeps the choice: in a cookie, and with the person, whose
// notices follow it.
func (s *Server) chooseLanguage(c echo.Context) error {
	f, err := parseForm(c.Request(), field{"lang", "field.lang", 20, false}, field{"back", "field.back", 2048, false})
	if err == nil && words.Exactly(f["lang"]) == nil {
		err = invalid("lang", "This language is not among those that the pages exist in.")
	}
	if err != nil {
		return err
	}
	for _, who := range []*coordinator.Person{s.visitor(c), s.manager(c)} {
		if who == nil {
			continue
		}
		if err := s.o.House.DoPeople(c.Request().Context(), coordinator.SetLanguage{Person: who.ID, Lang: f["lang"]}); err != nil {
			return err
		}
	}
	s.setCookie(c, languageCookie, f["lang"], residentDays)
	return s.redirect(c, s.below(f["back"]))
}

// below makes a path of one of our pages from what a form says; anything else
// leads to the first page.
func (s *Server) below(back string) string {
	u, err := url.Parse(back)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(u.Path, "/") || strings.HasPrefix(u.Path, "//") || strings.Contains(back, `\`) {
		return "/"
	}
	path := strings.TrimPrefix(u.RequestURI(), s.base)
	if !strings.HasPrefix(path, "/") || strings.HasPrefix(path, "//") {
		return "/"
	}
	return path
}
