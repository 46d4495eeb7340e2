package ui

import (
	"io"
	"mime"
	"net/http"
	"net/url"
	"strings"
	"unicode"
	"unicode/utf8"

	"drumturn/coordinator"
)

// maxForm is the longest form taken, bytes; what a field may hold is far less.
const maxForm = 16 << 10

// field is one input that a form may have.
type field struct {
	name  string
	label string // how a refusal calls it
	max   int    // characters
	// raw keeps the spaces at the ends: a passphrase may have some.
	raw bool
}

// form is what was typed, by the names of the fields asked for.
type form map[string]string

// parseForm reads a posted form strictly: only the named fields, each at most
// once, no longer than allowed, in valid UTF-8 without control characters.
// Along with a refusal it returns what was typed as far as it could be read, so
// that the page can show it again.
func parseForm(r *http.Request, fields ...field) (form, error) {
	return parseLongForm(r, maxForm, fields...)
}

// parseLongForm is parseForm for a form of up to so many bytes.
func parseLongForm(r *http.Request, most int64, fields ...field) (form, error) {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || kind != "application/x-www-form-urlencoded" {
		return form{}, &statusError{http.StatusUnsupportedMediaType, "form-kind", "This address takes ordinary forms only.", nil}
	}
	body, err := io.ReadAll(io.LimitReader(r.Body, most+1))
	if err != nil {
		return form{}, err
	}
	if int64(len(body)) > most {
		return form{}, &statusError{http.StatusRequestEntityTooLarge, "form-too-long", "What was sent is too long. Nothing was done.", nil}
	}
	return readForm(string(body), fields)
}

// readForm is parseForm for a body already read.
func readForm(body string, fields []field) (form, error) {
	values, err := url.ParseQuery(body)
	if err != nil {
		return form{}, invalid("form-garbled", "The form arrived garbled. Please send it again.")
	}
	f := form{}
	var refused error
	for _, want := range fields {
		got := values[want.name]
		delete(values, want.name)
		value, err := want.clean(got)
		f[want.name] = value
		if refused == nil {
			refused = err
		}
	}
	for range values {
		return f, invalid("form-unknown", "The form has a field that does not belong there. Please load the page anew.")
	}
	return f, refused
}

// clean checks one field's values.
func (want field) clean(got []string) (string, error) {
	if len(got) == 0 {
		return "", nil
	}
	value := strings.ReplaceAll(got[0], "\r\n", "\n")
	if !want.raw {
		value = strings.TrimSpace(value)
	}
	if len(got) > 1 {
		return value, invalid("form-twice", "“{field}” was sent twice. Please load the page anew.", "field", want.called())
	}
	if !utf8.ValidString(value) || strings.ContainsFunc(value, forbidden) {
		return "", invalid("form-characters", "“{field}” holds characters that cannot be used. Please type it again.", "field", want.called())
	}
	if n := utf8.RuneCountInString(value); n > want.max {
		return value, invalid("form-long", "“{field}” may have {most} characters; this has {n}. Please shorten it.",
			"field", want.called(), "most", want.max, "n", n)
	}
	return value, nil
}

// called is how a refusal names the field, in any language.
func (want field) called() fieldName { return fieldName{want.name, want.label} }

// fieldName is a field's name in a form, with what it is called in English.
type fieldName struct{ name, label string }

func (n fieldName) String() string { return n.label }

// forbidden are control characters and those that turn the direction of text
// around, with which one name can be made to look like another.
func forbidden(r rune) bool {
	return (unicode.IsControl(r) && r != '\n') || unicode.Is(unicode.Bidi_Control, r)
}

func invalid(key, sentence string, args ...any) *coordinator.Error {
	return coordinator.Refuse(coordinator.Invalid, key, sentence, args...)
}
