package words

import (
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
	xmessage "golang.org/x/text/message"
	"golang.org/x/text/unicode/bidi"
)

// Language is one language of the catalogue. It is immutable.
type Language struct {
	tag      language.Tag
	code     string
	rtl      bool
	messages map[string]message
	numbers  *xmessage.Printer // safe for use by many: it keeps nothing between calls
}

// message is a key's text by plural form; one that does not count has Other only.
type message map[plural.Form]template

// Code is the BCP 47 tag, as the lang attribute and a person's choice hold it.
func (l *Language) Code() string { return l.code }

// Name is what the language calls itself.
func (l *Language) Name() string { return l.Say("language.name") }

// Dir is the direction of writing: "ltr" or "rtl".
func (l *Language) Dir() string {
	if l.rtl {
		return "rtl"
	}
	return "ltr"
}

// Say puts a message into words. args are pairs of a placeholder's name and its
// value; those that the message does not use are left out. A key that does not
// exist is answered with itself: a test sees to it that none is asked for.
func (l *Language) Say(key string, args ...any) string {
	return l.fill(key, plural.Other, values(args))
}

// SayBy is Say for values that are made only where the message uses them: value
// answers for a placeholder's name.
func (l *Language) SayBy(key string, value func(name string) string) string {
	return l.fill(key, plural.Other, value)
}

// Count is Say for a message that depends on how many: {n} is n.
func (l *Language) Count(key string, n int, args ...any) string {
	form := plural.Cardinal.MatchPlural(l.tag, n, 0, 0, 0, 0)
	return l.fill(key, form, values(append([]any{"n", n}, args...)))
}

// Nth is Say for a message that depends on a place in an order: {n} is n.
func (l *Language) Nth(key string, n int, args ...any) string {
	form := plural.Ordinal.MatchPlural(l.tag, n, 0, 0, 0, 0)
	return l.fill(key, form, values(append([]any{"n", n}, args...)))
}

func (l *Language) fill(key string, form plural.Form, value func(name string) string) string {
	m, ok := l.messages[key]
	if !ok {
		return key
	}
	t, ok := m[form]
	if !ok {
		t = m[plural.Other]
	}
	if len(t) == 1 && t[0].name == "" {
		return t[0].text
	}
	var b strings.Builder
	b.Grow(usualLength)
	for _, p := range t {
		if p.name == "" {
			b.WriteString(p.text)
			continue
		}
		b.WriteString(l.isolate(value(p.name)))
	}
	return b.String()
}

// usualLength is as long as most messages with values are at most, in octets.
const usualLength = 96

// values finds a placeholder's value among pairs; one that is missing shows as its name.
func values(args []any) func(name string) string {
	return func(name string) string {
		for i := 0; i+1 < len(args); i += 2 {
			if args[i] == name {
				return plain(args[i+1])
			}
		}
		return "{" + name + "}"
	}
}

// plain writes a value without the detours of fmt for what most of them are.
func plain(v any) string {
	switch v := v.(type) {
	case string:
		return v
	case int:
		return strconv.Itoa(v)
	}
	return fmt.Sprint(v)
}

// Isolates of the Unicode bidirectional algorithm (UAX 9, section 2.4).
const (
	firstStrongIsolate = "\u2068"
	popIsolate         = "\u2069"
)

// isolate keeps a name in Latin letters from tearing the order of a sentence
// that is written from right to left. Bare numbers need none.
func (l *Language) isolate(s string) string {
	if !l.rtl || !strings.ContainsFunc(s, latin) {
		return s
	}
	return firstStrongIsolate + s + popIsolate
}

func latin(r rune) bool {
	p, _ := bidi.LookupRune(r)
	return p.Class() == bidi.L
}
