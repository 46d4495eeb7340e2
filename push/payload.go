package push

import (
	"bytes"
	"encoding/json"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"drumturn/coordinator"
)

// Payload is what the service worker gets, as JSON of less than 1 KB.
type Payload struct {
	Title string `json:"title"`
	Body  string `json:"body,omitempty"`
	// Tag groups what replaces one another on the phone, see Tag.
	Tag string `json:"tag"`
	// URL is the path of the page to open.
	URL  string                 `json:"url"`
	Kind coordinator.NoticeKind `json:"kind"`
	// At is when the notice was made. A repeated send has the same Tag, Kind and At.
	At time.Time `json:"at"`
	// Post is the path that Buttons are posted to. Both are left out where they do not fit.
	Post    string   `json:"post,omitempty"`
	Buttons []Button `json:"buttons,omitempty"`
}

// longestPayload keeps clear of what the pickiest push services take.
const longestPayload = 1023

// Encode returns the payload as JSON of less than 1 KB, in which the body is cut,
// then the buttons are left out, then the title is cut, as far as needed. A url
// that alone would fill it becomes "/".
func (p Payload) Encode() []byte {
	p.Title, p.Body, p.At = tidy(p.Title), tidy(p.Body), p.At.UTC().Truncate(time.Millisecond)
	if len(p.URL) > 300 {
		p.URL = "/"
	}
	if data, fits := p.fitted(&p.Body); fits {
		return data
	}
	p.Post, p.Buttons = "", nil
	for _, field := range []*string{&p.Title, &p.Tag, &p.URL} {
		if data, fits := p.fitted(field); fits {
			return data
		}
	}
	return marshal(Payload{Kind: p.Kind[:min(len(p.Kind), 40)], At: p.At})
}

// fitted encodes the payload, and cuts a field of it until it fits.
func (p *Payload) fitted(field *string) ([]byte, bool) {
	for {
		data := marshal(*p)
		over := len(data) - longestPayload
		if over <= 0 || *field == "" {
			return data, over <= 0
		}
		*field = cut(*field, len(*field)-max(over/6, 1))
	}
}

// Short is the payload without what makes it long, for a service that finds it too large.
func (p Payload) Short() Payload {
	p.Body, p.Post, p.Buttons = "", "", nil
	p.Title = cut(p.Title, 60)
	return p
}

// marshal writes JSON without the escapes that only matter inside HTML.
func marshal(p Payload) []byte {
	var buf bytes.Buffer
	buf.Grow(longestPayload / 2)
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(p); err != nil {
		return []byte("{}") // a year beyond 9999 is all that could fail
	}
	return bytes.TrimRight(buf.Bytes(), "\n")
}

// tidy makes one line of valid text without control characters.
func tidy(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == utf8.RuneError {
			return ' '
		}
		return r
	}, s)
	return strings.Join(strings.Fields(s), " ")
}

// cut shortens s to at most size octets, at a character's border, and marks the cut.
func cut(s string, size int) string {
	const mark = "…"
	if len(s) <= size {
		return s
	}
	end := min(max(size-len(mark), 0), len(s))
	for end > 0 && !utf8.RuneStart(s[end]) {
		end--
	}
	if end == 0 {
		return ""
	}
	return s[:end] + mark
}
