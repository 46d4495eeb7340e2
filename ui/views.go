package ui

import (
	"bytes"
	"fmt"
	"html/template"
	"net/url"
	"strings"
	"sync"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// htmlText is text that our own templates have already made safe.
type htmlText = template.HTML

// views are all templates in one language: a set for each page, which has the frame
// and the shared parts in it.
type views struct {
	lang  *words.Language
	parts *template.Template
	// pages are copied when each is first asked for: nobody looks at all of them in
	// all languages.
	pages map[string]func() *template.Template
}

// tongues are the views of every language.
type tongues map[*words.Language]*views

// newTongues gives the server views of its own in every language.
func (s *Server) newTongues() (tongues, error) {
	parsed, err := parsedTongues()
	if err != nil {
		return nil, err
	}
	all := tongues{}
	for l, p := range parsed {
		funcs := s.funcs(l)
		own := func(set *template.Template) *template.Template { return template.Must(set.Clone()).Funcs(funcs) }
		v := &views{lang: l, parts: own(p.parts), pages: map[string]func() *template.Template{}}
		for name, set := range p.pages {
			v.pages[name] = sync.OnceValue(func() *template.Template { return own(set) })
		}
		all[l] = v
	}
	return all, nil
}

// funcs are the functions of templates. Templates address pages by {{base}} and
// files by {{file}}.
func (s *Server) funcs(l *words.Language) template.FuncMap {
	funcs := template.FuncMap{
		"base":     func() string { return s.base },
		"file":     func(name string) string { return s.base + "/static/" + s.assets.sum + "/" + name },
		"sum":      func() string { return s.assets.sum },
		"building": func() string { return s.o.Building },
		"escape":   pathEscape,
		"link":     func(path, text string) htmlText { return linkTo(s.base+path, text) },
	}
	for name, f := range speech(l) {
		funcs[name] = f
	}
	return funcs
}

// fragment renders a shared part. It panics on an error, which only a mistake
// in a template can cause.
func (v *views) fragment(name string, data any) []byte {
	var b bytes.Buffer
	if err := v.parts.ExecuteTemplate(&b, name, data); err != nil {
		panic(fmt.Sprintf("ui: template %s: %v", name, err))
	}
	return b.Bytes()
}

// pageView is what every page's template gets.
type pageView struct {
	// Data is the page's own view.
	Data any
	// Who is the resident whose browser it is; nil without an account.
	Who *coordinator.Person
	// Manager is set on a signed-in manager's pages.
	Manager *coordinator.Person
	Page    string
	// Here is where a change of the language leads back to.
	Here string
}

// render writes a page in the language of whoever asks. Pages differ from
// visitor to visitor, so nothing between here and the browser may keep them.
func (s *Server) render(c echo.Context, status int, name string, data any) error {
	html, err := s.page(c, name, data)
	if err != nil {
		return err
	}
	s.pageHeaders(c)
	return c.HTMLBlob(status, html)
}

// pageHeaders say what may be kept of a page.
func (s *Server) pageHeaders(c echo.Context) {
	c.Response().Header().Set("Cache-Control", "private, no-cache")
	c.Response().Header().Set("Content-Language", s.lang(c).Code())
	if strings.HasPrefix(c.Path(), "/manager") {
		c.Response().Header().Set("Cache-Control", "no-store")
	}
}

// page is a page as whoever asks is to see it.
func (s *Server) page(c echo.Context, name string, data any) ([]byte, error) {
	page, ok := s.tongues[s.lang(c)].pages[name]
	if !ok {
		return nil, fmt.Errorf("no page %q", name)
	}
	view := pageView{Data: data, Page: name, Who: s.visitor(c), Manager: s.manager(c), Here: here(c)}
	var b bytes.Buffer
	if err := page().ExecuteTemplate(&b, "page", view); err != nil {
		return nil, fmt.Errorf("page %s: %w", name, err)
	}
	return b.Bytes(), nil
}

// problem is a refusal shown next to the form that it is about, and Typed what
// to put back into that form.
type problem struct {
	Form  string
	Text  string
	About string // a machine's name, on pages with forms for several
	Typed form
}

// pathEscape makes one part of an address.
func pathEscape(s string) string { return url.PathEscape(s) }

// param is a part of the request's address, as it was before escaping.
func param(c echo.Context, name string) string {
	value := c.Param(name)
	if c.Request().URL.RawPath == "" {
		return value
	}
	if plain, err := url.PathUnescape(value); err == nil {
		return plain
	}
	return value
}
