package ui

import (
	"fmt"
	"html/template"
	"regexp"
	"strings"

	"drumturn/push/words"
)

// speech are the functions by which templates say something in a language:
//
//	{{t "some.key" "name" .Value}}       a message with what its placeholders stand for
//	{{count "key" .N "name" .V}}    one that depends on how many
//	{{rich "key" "name" (strong .V)}}  one that marks up what is put in
//
// strong marks a value, link makes one a link to a page of ours.
func speech(l *words.Language) template.FuncMap {
	return template.FuncMap{
		"t":      l.Say,
		"count":  l.Count,
		"rich":   func(key string, args ...any) htmlText { return rich(l, key, args...) },
		"strong": func(v any) htmlText { return marked("strong", "", v) },
		"code":   func(v any) htmlText { return marked("strong", "code", v) },
		"span":   func(class string, v any) htmlText { return marked("span", class, v) },
		"number": func(v float64) string { return l.Number(v, 2) },
	}
}

// rich says a message as HTML: what is put in is escaped unless it is HTML made
// here, and messages themselves hold no markup.
func rich(l *words.Language, key string, args ...any) htmlText {
	safe := make([]any, len(args))
	for i, a := range args {
		switch a := a.(type) {
		case htmlText:
			safe[i] = string(a)
		case string:
			safe[i] = template.HTMLEscapeString(a)
		default:
			safe[i] = a
		}
	}
	return htmlText(l.Say(key, safe...))
}

// marked wraps a value in an element.
func marked(element, class string, v any) htmlText {
	text, safe := v.(htmlText)
	if !safe {
		text = htmlText(template.HTMLEscapeString(fmt.Sprint(v)))
	}
	if class != "" {
		class = ` class="` + template.HTMLEscapeString(class) + `"`
	}
	return htmlText("<"+element+class+">") + text + htmlText("</"+element+">")
}

// linkTo makes text a link.
func linkTo(address, text string) htmlText {
	return htmlText(`<a href="` + template.HTMLEscapeString(address) + `">` + template.HTMLEscapeString(text) + `</a>`)
}

// constant finds what needs nothing but the language.
var constant = regexp.MustCompile(`\{\{(?:t "([^"]+)"|(lang)|(dir)|(languages))\}\}`)

// bindWords puts a language's constant texts into a template before it is
// parsed: a page that is shown then looks nothing up.
func bindWords(l *words.Language, text string) (string, error) {
	var missing []string
	text = constant.ReplaceAllStringFunc(text, func(found string) string {
		part := constant.FindStringSubmatch(found)
		switch {
		case part[2] != "":
			return l.Code()
		case part[3] != "":
			return l.Dir()
		case part[4] != "":
			return languageButtons(l)
		case !l.Has(part[1]):
			missing = append(missing, part[1])
		}
		return template.HTMLEscapeString(l.Say(part[1]))
	})
	if len(missing) > 0 {
		return "", fmt.Errorf("no words for %s", strings.Join(missing, ", "))
	}
	return text, nil
}

// languageButtons are the buttons that choose a language, each under its own
// name; the page's own is marked.
func languageButtons(own *words.Language) string {
	var b strings.Builder
	for _, l := range words.All() {
		current := ""
		if l == own {
			current = ` aria-current="true"`
		}
		fmt.Fprintf(&b, `<button name="lang" value="%s" lang="%s" dir="%s"%s>%s</button>`, l.Code(), l.Code(), l.Dir(), current, template.HTMLEscapeString(l.Name()))
	}
	return b.String()
}
