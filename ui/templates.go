package ui

import (
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"path"
	"strings"
	"sync"

	"drumturn/push/words"
)

//go:embed templates/*.html templates/parts/*.html
var templateFiles embed.FS

// parsedViews are the templates in one language as they were parsed. They are never
// executed, only copied: what their functions say is a server's own.
type parsedViews struct {
	parts *template.Template
	pages map[string]*template.Template
}

// parsedTongues are the templates in every language, parsed once in the program.
var parsedTongues = sync.OnceValues(func() (map[*words.Language]*parsedViews, error) {
	all := map[*words.Language]*parsedViews{}
	for _, l := range words.All() {
		v, err := parseViews(l)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", l.Code(), err)
		}
		all[l] = v
	}
	return all, nil
})

// parseViews reads templates/NAME.html as page NAME and templates/parts as
// what pages share.
func parseViews(l *words.Language) (*parsedViews, error) {
	parts := template.New("parts").Funcs((&Server{}).funcs(l)) // the names of the functions are what counts here
	if err := parseInto(parts, l, "templates/parts/*.html"); err != nil {
		return nil, err
	}
	names, err := fs.Glob(templateFiles, "templates/*.html")
	if err != nil {
		return nil, err
	}
	v := &parsedViews{parts: parts, pages: map[string]*template.Template{}}
	for _, name := range names {
		page := template.Must(parts.Clone())
		if err := parseInto(page, l, name); err != nil {
			return nil, err
		}
		v.pages[strings.TrimSuffix(path.Base(name), ".html")] = page
	}
	return v, nil
}

// parseInto adds the files of a pattern to a set, with the words put in.
func parseInto(set *template.Template, l *words.Language, pattern string) error {
	names, err := fs.Glob(templateFiles, pattern)
	if err != nil {
		return err
	}
	for _, name := range names {
		text, err := templateFiles.ReadFile(name)
		if err != nil {
			return err
		}
		spoken, err := bindWords(l, string(text))
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		if _, err := set.New(path.Base(name)).Parse(spoken); err != nil {
			return err
		}
	}
	return nil
}
