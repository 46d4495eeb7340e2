package mail

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/mail"
	"strings"
	"unicode"
	"unicode/utf8"

	library "github.com/wneessen/go-mail"

	"drumturn/coordinator"
)

// Letter is an e-mail to one address.
type Letter struct {
	To string
	// Subject and Text are in the language Lang, a BCP 47 tag.
	Subject, Text, Lang string
	// HTML is the same as Text for programs that show it; may be empty.
	HTML string
	// Key names the letter for ever: a repeated one has the same Message-ID.
	Key string
	// Off is the address of the page that ends letters; empty: there is none.
	Off      string
	Attached []Attachment
}

// Attachment is a file that goes with a letter.
type Attachment struct {
	Name, Type string // Type is a media type, such as text/csv
	Data       []byte
}

// longestSubject keeps what is shown of a letter in a list to a line, in octets.
const longestSubject = 200

// message puts a letter into the form of RFC 5322.
func (s *Server) message(l Letter) (*library.Msg, error) {
	to, err := coordinator.MailAddress(l.To)
	if err != nil {
		return nil, err
	}
	m := library.NewMsg(library.WithNoDefaultUserAgent())
	m.FromMailAddress(&mail.Address{Name: displayed(s.Building), Address: s.From})
	m.ToMailAddress(&mail.Address{Address: to})
	m.Subject(shortened(line(l.Subject)))
	m.SetDateWithValue(s.Now())
	m.SetMessageIDWithValue(s.messageID(l.Key, to))
	m.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834 section 5
	m.SetGenHeader("X-Auto-Response-Suppress", "All")  // some servers know only this; common practice, no source
	if l.Lang != "" {
		m.SetGenHeader(library.HeaderContentLang, line(l.Lang))
	}
	if l.Off != "" {
		// One click asks for https (RFC 8058 section 3.1); a link without it is RFC 2369's.
		if m.SetListUnsubscribeOneClick(l.Off) != nil {
			m.SetListUnsubscribe(l.Off)
		}
	}
	m.SetBodyString(library.TypeTextPlain, l.Text)
	if l.HTML != "" {
		m.AddAlternativeString(library.TypeTextHTML, l.HTML)
	}
	for _, a := range l.Attached {
		if err := m.AttachReader(line(a.Name), bytes.NewReader(a.Data), library.WithFileContentType(library.ContentType(line(a.Type)))); err != nil {
			return nil, fmt.Errorf("attach %s: %w", a.Name, err)
		}
	}
	return m, nil
}

// messageID is the letter's name among all letters: a hash, so that it tells nothing.
func (s *Server) messageID(key, to string) string {
	sum := sha256.Sum256([]byte(key + "\n" + to))
	return hex.EncodeToString(sum[:16]) + s.From[strings.LastIndexByte(s.From, '@'):]
}

// line makes one line of text without control characters, so that no name can
// end a header and begin another.
func line(text string) string {
	text = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == utf8.RuneError || r == '\u2028' || r == '\u2029' {
			return ' '
		}
		return r
	}, text)
	return strings.Join(strings.Fields(text), " ")
}

// displayed is a name as it stands beside an address. The signs that quote there
// are left out: the library stumbles over them beside letters that are not ASCII.
func displayed(name string) string {
	return shortened(line(strings.NewReplacer(`\`, " ", `"`, " ", "<", " ", ">", " ").Replace(name)))
}

// shortened cuts a subject at a character's border.
func shortened(text string) string {
	if len(text) <= longestSubject {
		return text
	}
	end := longestSubject
	for !utf8.RuneStart(text[end]) {
		end--
	}
	return text[:end] + "…"
}
