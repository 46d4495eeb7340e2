package mail

import (
	"encoding/base64"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/push"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// deliver sends a letter over the wire and reads it as its addressee would.
func deliver(t *testing.T, o *office, s *Server, l Letter) *mail.Message {
	t.Helper()
	before := len(o.All())
	if r := s.Deliver(t.Context(), l); r.Class != push.Taken {
		t.Fatalf("%+v", r)
	}
	return o.All()[before].Read(t)
}

// plain is the text of a letter of one part.
func plain(t *testing.T, m *mail.Message) string {
	t.Helper()
	return decoded(t, m.Body, m.Header.Get("Content-Transfer-Encoding"))
}

func decoded(t *testing.T, r io.Reader, encoding string) string {
	t.Helper()
	switch encoding {
	case "quoted-printable":
		r = quotedprintable.NewReader(r)
	case "base64":
		r = base64.NewDecoder(base64.StdEncoding, r)
	}
	body, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	return strings.ReplaceAll(string(body), "\r\n", "\n")
}

func header(t *testing.T, m *mail.Message, name string) string {
	t.Helper()
	text, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get(name))
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// TestHeaders: RFC 5322 section 3.6 (Date, From, Message-ID once each), RFC 3834
// section 5 (Auto-Submitted), RFC 8058 section 3.1 and RFC 2369 section 3.2 (List-Unsubscribe).
func TestHeaders(t *testing.T) {
	o := openOffice(t, false, nil)
	s := o.server(Plain, func(s *Settings) { s.Now, s.Building = func() time.Time { return noon }, `Plöverhof "3", Süd` })
	l := plainLetter
	l.Subject, l.Off, l.Lang = "غسيلك جاهز", "https://laundry.example.org/mail/off?of=x", "ar"
	m := deliver(t, o, s, l)
	for name, want := range map[string]string{
		"From": `"Plöverhof \"3\", Süd" <laundry@example.org>`, "To": "<anna@example.org>", "Subject": l.Subject, "Auto-Submitted": "auto-generated",
		"List-Unsubscribe": "<https://laundry.example.org/mail/off?of=x>", "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",
		"Content-Language": "ar", "User-Agent": "", "X-Mailer": "", "Mime-Version": "1.0",
	} {
		if got := header(t, m, name); got != want && name != "From" || len(m.Header[name]) > 1 {
			t.Errorf("%s: %q", name, m.Header[name])
		}
	}
	from, err := m.Header.AddressList("From")
	if err != nil || len(from) != 1 || from[0].Name != "Plöverhof 3 , Süd" || from[0].Address != s.From {
		t.Errorf("from %v, %v", from, err)
	}
	if at, err := m.Header.Date(); err != nil || !at.Equal(noon) {
		t.Errorf("dated %v, %v", at, err)
	}
	if id := m.Header.Get("Message-Id"); !strings.HasPrefix(id, "<") || !strings.HasSuffix(id, "@example.org>") || len(id) != len("<@example.org>")+32 {
		t.Errorf("its id is %q", id)
	}
}

// TestSameLetterSameID: a repeated letter is known as the same; another key, or another address, is another.
func TestSameLetterSameID(t *testing.T) {
	o := openOffice(t, false, nil)
	s := o.server(Plain, nil)
	id := func(key, to string) string {
		return deliver(t, o, s, Letter{To: to, Subject: "s", Text: "t", Key: key}).Header.Get("Message-Id")
	}
	first := id("k", "anna@example.org")
	if id("k", "anna@example.org") != first || id("k2", "anna@example.org") == first || id("k", "ben@example.org") == first {
		t.Error("ids do not tell letters apart, or tell the same letter apart")
	}
}

// TestLinkWithoutHTTPS: one click is for https alone (RFC 8058 section 3.1).
func TestLinkWithoutHTTPS(t *testing.T) {
	o := openOffice(t, false, nil)
	l := plainLetter
	l.Off = "http://192.168.1.20:8080/mail/off?of=x"
	m := deliver(t, o, o.server(Plain, nil), l)
	if m.Header.Get("List-Unsubscribe") != "<"+l.Off+">" || m.Header.Get("List-Unsubscribe-Post") != "" {
		t.Errorf("%v", m.Header)
	}
	l.Off = ""
	if m := deliver(t, o, o.server(Plain, nil), l); m.Header.Get("List-Unsubscribe") != "" {
		t.Errorf("%v", m.Header)
	}
}

// TestNoHeaderIsForged: whatever names, subjects and languages say, a letter has
// the headers and the one addressee that we gave it.
func TestNoHeaderIsForged(t *testing.T) {
	known := map[string]bool{"From": true, "To": true, "Subject": true, "Date": true, "Message-Id": true, "Auto-Submitted": true, "X-Auto-Response-Suppress": true,
		"Content-Language": true, "Mime-Version": true, "Content-Type": true, "Content-Transfer-Encoding": true, "List-Unsubscribe": true, "List-Unsubscribe-Post": true}
	nasty := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{
		"x\r\nBcc: thief@example.org", "x\nBcc: thief@example.org\n\nbody", "x\rX-Evil: 1", "=?utf-8?q?x=0D=0ABcc:_thief@example.org?=",
		"x\u2028Bcc: thief@example.org", strings.Repeat("long ", 400), "\"\r\n", "<x>, thief@example.org", strings.Repeat("ä", 3000), "\xff\xfe", "",
	}))
	rapid.Check(t, func(rt *rapid.T) {
		s, err := New(Settings{Host: "localhost", Port: 25, Security: Plain, From: "laundry@example.org", Building: nasty.Draw(rt, "building")})
		if err != nil {
			rt.Fatal(err)
		}
		msg, err := s.message(Letter{To: "anna@example.org", Subject: nasty.Draw(rt, "subject"), Text: nasty.Draw(rt, "text"), Lang: nasty.Draw(rt, "lang"), Key: nasty.Draw(rt, "key"), Off: "https://x.example.org/mail/off?of=y"})
		if err != nil {
			rt.Fatal(err)
		}
		var b strings.Builder
		if _, err := msg.WriteTo(&b); err != nil {
			rt.Fatal(err)
		}
		m, err := mail.ReadMessage(strings.NewReader(b.String()))
		if err != nil {
			rt.Fatalf("%v\n%q", err, b.String())
		}
		for name, values := range m.Header {
			if !known[name] || len(values) != 1 {
				rt.Fatalf("forged %s: %q\n%s", name, values, b.String())
			}
		}
		to, err := m.Header.AddressList("To")
		if err != nil || len(to) != 1 || to[0].Address != "anna@example.org" {
			rt.Fatalf("to %v, %v", to, err)
		}
		from, err := m.Header.AddressList("From")
		if err != nil || len(from) != 1 || from[0].Address != "laundry@example.org" {
			rt.Fatalf("from %v, %v", from, err)
		}
		head, _, _ := strings.Cut(b.String(), "\r\n\r\n")
		for l := range strings.SplitSeq(head, "\r\n") {
			if len(l) > 998 || strings.ContainsAny(l, "\r\n\x00") || !utf8.ValidString(l) { // RFC 5322 section 2.1.1
				rt.Fatalf("line of %d octets: %q", len(l), l)
			}
		}
	})
}

// TestBadAddress: no letter is made for what is no address.
func TestBadAddress(t *testing.T) {
	o := openOffice(t, false, nil)
	l := plainLetter
	for _, l.To = range []string{"", "anna", "a@example.org\r\nRCPT TO:<b@example.org>", "a@example.org, b@example.org"} {
		if r := o.server(Plain, nil).Deliver(t.Context(), l); r.Class != push.Never || len(o.All()) != 0 {
			t.Errorf("%q: %+v", l.To, r)
		}
	}
}

// TestReport: a text, the same as HTML, a table as a file, to each address by itself.
func TestReport(t *testing.T) {
	o := openOffice(t, false, nil)
	csv := "machine,cycles\r\n1,12\r\nWäscher,7\r\n"
	report := Letter{
		Subject: "March", Text: "Twelve.\n", HTML: "<p>Twelve.</p>", Lang: "en", Key: "report/2026-03",
		Attached: []Attachment{{Name: "use\r\n2026-03.csv", Type: "text/csv", Data: []byte(csv)}},
	}
	if err := o.server(Plain, nil).SendAll(t.Context(), []string{"anna@example.org", "ben@example.org"}, report); err != nil {
		t.Fatal(err)
	}
	if len(o.All()) != 2 || o.All()[0].To == o.All()[1].To || strings.Contains(string(o.All()[0].Raw), "ben@") {
		t.Fatalf("%d letters", len(o.All()))
	}
	m := o.All()[0].Read(t)
	got := map[string]string{}
	collect(t, m.Header.Get("Content-Type"), m.Body, got)
	if got["text/plain"] != "Twelve.\n" || got["text/html"] != report.HTML || got["text/csv use 2026-03.csv"] != strings.ReplaceAll(csv, "\r\n", "\n") {
		t.Errorf("%q", got)
	}
}

// collect takes a letter of several parts apart.
func collect(t *testing.T, kind string, body io.Reader, into map[string]string) {
	t.Helper()
	media, params, err := mime.ParseMediaType(kind)
	if err != nil {
		t.Fatal(err)
	}
	for parts := multipart.NewReader(body, params["boundary"]); ; {
		p, err := parts.NextRawPart()
		if err == io.EOF {
			return
		}
		if err != nil {
			t.Fatalf("%s: %v", media, err)
		}
		inner, _, _ := mime.ParseMediaType(p.Header.Get("Content-Type"))
		if strings.HasPrefix(inner, "multipart/") {
			collect(t, p.Header.Get("Content-Type"), p, into)
			continue
		}
		if p.FileName() != "" {
			inner += " " + p.FileName()
		}
		into[inner] = decoded(t, p, p.Header.Get("Content-Transfer-Encoding"))
	}
}

// TestReportToSome: one address that fails does not keep it from the others.
func TestReportToSome(t *testing.T) {
	o := openOffice(t, false, nil)
	err := o.server(Plain, nil).SendAll(t.Context(), []string{"nonsense", "anna@example.org"}, plainLetter)
	if err == nil || !strings.HasPrefix(err.Error(), "1 of 2 letters: ") || o.Only().To != "anna@example.org" {
		t.Errorf("%v", err)
	}
}

// TestNotice: what is told, the page, why it came, and how to end it; in the person's language.
func TestNotice(t *testing.T) {
	o := openOffice(t, false, nil)
	n := Notices{o.server(Plain, func(s *Settings) { s.PublicURL = "https://laundry.example.org/wash/" })}
	m := push.Message{
		To:     coordinator.Subscription{Endpoint: "mailto:anna@example.org"},
		Letter: push.Letter{Text: push.Text{Title: "Ihr Platz\r\nBcc: x@example.org", Body: "Waschmaschine 2"}, Lang: "de-AT", URL: "/r/cellar", Key: "k", Off: "se cret"},
	}
	if r := n.Send(t.Context(), m); r.Class != push.Taken {
		t.Fatalf("%+v", r)
	}
	l := o.Only().Read(t)
	text := plain(t, l)
	for _, want := range []string{"Waschmaschine 2\n\nSeite öffnen:\nhttps://laundry.example.org/wash/r/cellar\n", "\n-- \n", "Plover Yard 3", "Keine E-Mails mehr:\nhttps://laundry.example.org/wash/mail/off?of=se+cret\n"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in\n%s", want, text)
		}
	}
	if got := header(t, l, "Subject"); got != "Ihr Platz Bcc: x@example.org" || l.Header.Get("Content-Language") != "de" || l.Header.Get("Bcc") != "" {
		t.Errorf("%q, %v", got, l.Header)
	}
	m.Off, m.Lang, m.Key = "", "", "k2"
	if r := n.Send(t.Context(), m); r.Class != push.Taken {
		t.Fatalf("%+v", r)
	}
	l = o.All()[1].Read(t)
	if text := plain(t, l); !strings.Contains(text, "looks after Plover Yard 3") || strings.Contains(text, "/mail/off") || l.Header.Get("List-Unsubscribe") != "" {
		t.Errorf("%s", text)
	}
}

func TestRouter(t *testing.T) {
	phone, letter := push.Message{To: coordinator.Subscription{Endpoint: "https://push.example/1"}}, push.Message{To: coordinator.Subscription{Endpoint: "mailto:a@example.org"}}
	a, b := fixed{push.Result{Status: 201}}, fixed{push.Result{Class: push.Taken}}
	for _, c := range []struct {
		r    Router
		m    push.Message
		want push.Result
	}{
		{Router{a, b}, phone, a.Result}, {Router{a, b}, letter, b.Result},
		{Router{Mail: b}, phone, push.Result{Err: push.ErrUnsendable}}, {Router{Phones: a}, letter, push.Result{Err: push.ErrUnsendable}},
	} {
		if got := c.r.Send(t.Context(), c.m); got != c.want {
			t.Errorf("%+v", got)
		}
	}
}
