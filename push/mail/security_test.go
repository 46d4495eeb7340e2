package mail

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/push"
	"drumturn/push/words"
	"drumturn/queue"
)

// spiteful are names and texts as an attacker would type them: ends of headers, of the
// letter and of the talk with the server, other encodings of these, mark-up, links.
var spiteful = []string{
	"x\r\nBcc: thief@example.org", "x\nBcc: thief@example.org\n\nOther text", "x\rSubject: other", "x\u2028Bcc: thief@example.org", "x\x00\x0b\x0c\x85Bcc: t@example.org",
	"x\r\n.\r\nMAIL FROM:<thief@example.org>\r\nRCPT TO:<anna@example.org>\r\nDATA\r\nSubject: second", "x\n.\nQUIT", "x\r.\r", ".",
	"=?utf-8?q?x=0D=0ABcc:_thief@example.org?=", "\"<thief@example.org>, \"x", "x>, <thief@example.org",
	"<script>alert(1)</script>", "<a href=http://evil.example>here</a>", "x\n-- \nNo more e-mails:\nhttp://evil.example/off", "Content-Type: text/html\n\n<b>x</b>",
	"--boundary\nContent-Type: text/html", "{{.}}{code}{building}", strings.Repeat("é", 3000),
}

// ours are the headers that a letter of one part may have.
var ours = strings.Fields("From To Subject Date Message-Id Auto-Submitted X-Auto-Response-Suppress Content-Language Mime-Version Content-Type Content-Transfer-Encoding List-Unsubscribe List-Unsubscribe-Post")

// TestSecurityLetters: over the wire, with all of these as the building, the room, a
// home, and what was typed about a fault, there is one letter, to its one addressee, with
// our headers only, as plain text whose only lines with a link are our own.
func TestSecurityLetters(t *testing.T) {
	o := openOffice(t, false, nil)
	sent, bad := 0, []string{}
	for _, spite := range spiteful {
		s := o.server(Plain, func(s *Settings) { s.Building = "Plover Yard " + spite })
		for _, lang := range words.All() {
			for what, l := range spitefulLetters(s, spite, lang.Code()) {
				before := len(o.All())
				if r := s.Deliver(context.Background(), l); r.Class != push.Taken {
					t.Fatalf("%s, %q: %+v", what, spite, r)
				}
				sent++
				for _, wrong := range o.wrongWith(before) {
					bad = append(bad, fmt.Sprintf("%s, %s, %q: %s", what, lang.Code(), spite, wrong))
				}
			}
		}
	}
	t.Logf("| header and mark-up injection | %d texts as building, room, home, fault, in notices, confirmations, lost phones, in 5 languages | %d letters over SMTP: one each, our headers, plain text, no line of theirs |", len(spiteful), sent)
	for _, wrong := range bad {
		t.Error(wrong)
	}
}

// spitefulLetters are the letters that hold what somebody typed.
func spitefulLetters(s *Server, spite, lang string) map[string]Letter {
	now := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	n := coordinator.Notice{Kind: coordinator.FaultTold, Role: coordinator.Managers, Machine: 2, MachineKind: queue.Washer, Reason: spite, Made: now}
	fault := push.Message{
		To:     coordinator.Subscription{Endpoint: "mailto:anna@example.org"},
		Letter: push.Letter{Text: push.LetterWords(&n, push.Place{Room: "Cellar " + spite}, lang), Lang: lang, URL: "/manager", Key: "k", Off: "secret"},
	}
	const link = "https://laundry.example.org/code?code=ABCD"
	return map[string]Letter{
		"a fault":      Notices{s}.letter(fault),
		"confirmation": s.Confirm("anna@example.org", lang, link, "ABCD", time.Hour),
		"a lost phone": s.Return("anna@example.org", lang, "12 "+spite, link, "ABCD", time.Hour),
	}
}

// wrongWith looks at what came after so many letters.
func (o *office) wrongWith(before int) (wrong []string) {
	if len(o.All()) != before+1 {
		return []string{fmt.Sprint(len(o.All())-before, " letters")}
	}
	taken := o.All()[before]
	m := taken.Read(o)
	for name, values := range m.Header {
		if !strings.Contains(" "+strings.Join(ours, " ")+" ", " "+name+" ") || len(values) != 1 {
			wrong = append(wrong, "a header "+name)
		}
	}
	if to, err := m.Header.AddressList("To"); err != nil || len(to) != 1 || to[0].Address != "anna@example.org" || taken.To != "anna@example.org" || taken.From != "laundry@example.org" {
		wrong = append(wrong, fmt.Sprint("it goes to ", to, taken.To))
	}
	if kind := m.Header.Get("Content-Type"); !strings.HasPrefix(kind, "text/plain") {
		wrong = append(wrong, "it is "+kind)
	}
	text := decoded(o.TB.(*testing.T), m.Body, m.Header.Get("Content-Transfer-Encoding"))
	for l := range strings.SplitSeq(text, "\n") {
		if strings.HasPrefix(l, "http") && !strings.HasPrefix(l, "https://laundry.example.org/") || strings.ContainsAny(l, "\r\x00\x0b\x0c\u0085\u2028") {
			wrong = append(wrong, fmt.Sprintf("a line %q", l))
		}
	}
	if n := strings.Count(text, "\n-- \n"); n > 1 {
		wrong = append(wrong, fmt.Sprint(n, " footers"))
	}
	return wrong
}
