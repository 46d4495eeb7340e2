package main

import (
	"encoding/base64"
	"fmt"
	"io"
	"mime"
	"mime/quotedprintable"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"drumturn/coordinator"
	"drumturn/push/mail"
	"drumturn/push/mail/mailtest"
)

// mailBuilding is a building without push, with a mail server.
func mailBuilding(o *mailtest.Office, more string) string {
	return handBuilding + fmt.Sprintf("\n[mail]\nserver = \"127.0.0.1:%d\"\nsecurity = \"starttls\"\nfrom = \"laundry@weiher.org\"\nuser = \"house\"\npassword = \"s3cret\"\n%s", o.Addr.Port, more)
}

// mailed is a running building with a mail server that wants STARTTLS and a login.
func mailed(t *testing.T, more string) (*wired, *mailtest.Office) {
	t.Helper()
	o := mailtest.Open(t, false, func(o *mailtest.Office) { o.User, o.Password = "house", "s3cret" }, "127.0.0.1")
	w := wiring(t, mailBuilding(o, more), nil)
	s := w.setup()
	s.mailRoots = o.Roots
	return w.startAs(s), o
}

// letter waits for the nth letter (from 1) and reads it.
func (w *wired) letter(o *mailtest.Office, n int) (subject, text string, off string) {
	w.Helper()
	w.until(fmt.Sprintf("letter %d", n), func() bool { return len(o.All()) >= n })
	m := o.All()[n-1].Read(w)
	var body io.Reader = m.Body
	switch m.Header.Get("Content-Transfer-Encoding") {
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	}
	content, err := io.ReadAll(body)
	if err != nil {
		w.Fatal(err)
	}
	subject, err = new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	if err != nil {
		w.Fatal(err)
	}
	return subject, strings.ReplaceAll(string(content), "\r\n", "\n"), strings.Trim(m.Header.Get("List-Unsubscribe"), "<>")
}

var linkInLetter = regexp.MustCompile(`(?m)^http://localhost:1(/\S+)$`)

// pathIn is the path of the first link in a letter.
func pathIn(t *testing.T, text string) *url.URL {
	t.Helper()
	m := linkInLetter.FindStringSubmatch(text)
	if m == nil {
		t.Fatalf("no link in\n%s", text)
	}
	u, err := url.Parse(m[1])
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// confirmed is a resident who has confirmed an address; one letter was sent for it.
func (w *wired) confirmed(o *mailtest.Office, name, home, address string) *visitor {
	w.Helper()
	v := w.visitor()
	v.join(home, name)
	before := len(o.All())
	if status, text := v.post("/me/notices/mail", "address", address); status != http.StatusOK || !strings.Contains(text, "An e-mail is on its way to") {
		w.Fatalf("%d %s", status, text)
	}
	subject, text, _ := w.letter(o, before+1)
	link := pathIn(w.T, text)
	if subject != "Is this address yours?" || link.Path != "/mail/confirm" || o.All()[before].To != address {
		w.Fatalf("%q to %s\n%s", subject, o.All()[before].To, text)
	}
	v.sees(link.String(), address, "Yes, send them here")
	if w.person(name).Mail.Address != "" {
		w.Fatal("a mere look at the page confirmed it")
	}
	// The link may be opened by a browser that belongs to nobody.
	if status, text := w.visitor().post("/mail/confirm", "code", link.Query().Get("code")); status != http.StatusOK || !strings.Contains(text, "From now on") {
		w.Fatalf("%d %s", status, text)
	}
	return v
}

// TestByLetter: an address is confirmed, told of a call, shown why, and ended by one click.
func TestByLetter(t *testing.T) {
	w, o := mailed(t, "")
	anna := w.confirmed(o, "anna", "1", "anna@weiher.org")
	anna.sees("/me/notices", "E-mails go to <strong>anna@weiher.org</strong>")
	anna.sees("/me/data.json", `"address": "anna@weiher.org"`)
	anna.post("/r/cellar/turns", "need", "wash")
	subject, text, off := w.letter(o, 2)
	if subject != "It's your turn" || !strings.Contains(text, "http://localhost:1/r/cellar\n") || o.All()[1].Login != "house" || !o.All()[1].Safe {
		t.Errorf("%q\n%s", subject, text)
	}
	w.until("the record", func() bool {
		rows, err := w.app.store.DeliveriesTo(t.Context(), w.person("anna").ID, 9)
		return err == nil && len(rows) == 1 && rows[0].State == coordinator.Done && rows[0].Why == coordinator.WhySent && rows[0].Devices[0].ByMail() && rows[0].Told[0].Mail == coordinator.MailOnly
	})
	anna.sees("/me/notices", "An e-mail was sent at", "no phone of yours takes notices")
	if status, text := anna.post("/me/notices/try"); status != http.StatusOK || !strings.Contains(text, "mail server has taken an e-mail") {
		t.Errorf("%d %s", status, text)
	}

	// RFC 8058 section 3.2: a POST of that body, without cookies or any other context.
	path := strings.TrimPrefix(off, "http://localhost:1")
	if !strings.HasSuffix(text, "No more e-mails:\n"+off+"\n") || !strings.HasPrefix(path, "/mail/off?of=") {
		t.Fatalf("%q is not at the end of\n%s", off, text)
	}
	w.visitor().sees(path, "anna@weiher.org", "Send no more")
	if w.person("anna").Mail.Address == "" {
		t.Fatal("a mere look at the page ended it")
	}
	resp, err := http.Post("http://"+w.app.address()+path, "application/x-www-form-urlencoded", strings.NewReader("List-Unsubscribe=One-Click"))
	if err != nil || resp.StatusCode != http.StatusOK {
		t.Fatalf("%v %v", resp, err)
	}
	resp.Body.Close()
	if m := w.person("anna").Mail; m != (coordinator.Mail{}) {
		t.Errorf("after it: %+v", m)
	}
	w.visitor().sees(path, "No more e-mails are sent")
	if n := len(o.All()); n != 3 {
		t.Errorf("%d letters", n)
	}
	if strings.Contains(w.log.String(), "s3cret") || strings.Contains(w.log.String(), "anna@") {
		t.Errorf("the log says too much:\n%s", w.log.String())
	}
}

// TestLostPhoneByLetter: a code comes to the confirmed address; whether an
// address is known shows in nothing.
func TestLostPhoneByLetter(t *testing.T) {
	w, o := mailed(t, "")
	w.confirmed(o, "anna", "1", "anna@weiher.org").post("/r/cellar/turns", "need", "dry")
	w.letter(o, 2)
	thief := w.visitor()
	_, unknown := thief.post("/code/mail", "address", "zoe@weiher.org")
	status, known := thief.post("/code/mail", "address", "ANNA@weiher.org")
	if status != http.StatusOK || strings.ReplaceAll(known, "ANNA@weiher.org", "x") != strings.ReplaceAll(unknown, "zoe@weiher.org", "x") {
		t.Errorf("%d: the answers differ:\n%s\n%s", status, unknown, known)
	}
	subject, text, _ := w.letter(o, 3)
	link := pathIn(t, text)
	if subject != "Your one-time code" || link.Path != "/code" || o.All()[2].To != "anna@weiher.org" || !strings.Contains(text, "(home 1)") {
		t.Errorf("%q\n%s", subject, text)
	}
	phone := w.visitor()
	phone.sees(link.String(), link.Query().Get("code"))
	if status, text := phone.post("/code", "code", link.Query().Get("code")); status != http.StatusOK || !strings.Contains(text, "Home 1") {
		t.Errorf("%d %s", status, text)
	}
	if status, _ := w.visitor().post("/code", "code", link.Query().Get("code")); status == http.StatusOK {
		t.Error("the code holds twice")
	}
	if n := len(o.All()); n != 3 {
		t.Errorf("%d letters", n)
	}
	for range 5 {
		status, text = thief.post("/code/mail", "address", "anna@weiher.org")
	}
	if status != http.StatusTooManyRequests || !strings.Contains(text, "too often") {
		t.Errorf("%d", status)
	}
}

// TestManagerByLetter: the file's address is told of a fault, in its language;
// when letters fail, the wall and the manager's page say so until they work again.
func TestManagerByLetter(t *testing.T) {
	w, o := mailed(t, "managers = [\"care@weiher.org\"]\nlanguage = \"de\"\n")
	boss := w.visitor()
	token := strings.TrimPrefix(w.app.firstLink, "/manager/first?token=")
	boss.post("/manager/first", "token", token, "passphrase", "plover under the gutter", "again", "plover under the gutter")
	if everybody, _ := w.app.noWayToManager("en"); everybody != "" {
		t.Fatalf("with an address the wall says: %s", everybody)
	}
	fault := func(text string) {
		t.Helper()
		if status, page := w.visitor().post("/r/cellar/m/1", "do", "fault", "text", text); status != http.StatusOK {
			t.Fatalf("%d %s", status, page)
		}
	}
	fault("it leaks\u00a0from the door")
	subject, text, off := w.letter(o, 1)
	if subject != "Eine Störung wurde gemeldet" || !strings.Contains(text, "it leaks") || off != "" || o.All()[0].To != "care@weiher.org" {
		t.Errorf("%q, %q\n%s", subject, off, text)
	}
	o.Change(func(o *mailtest.Orders) { o.Password = "another" })
	report := func(lang string) (mail.Letter, error) {
		return mail.Letter{Subject: "Report", Text: "t in " + lang, HTML: "<p>t</p>", Key: "k"}, nil
	}
	if some, err := w.app.mailManagers(t.Context(), "report", "2026-11", report); err == nil || !some || !strings.Contains(err.Error(), "refuses the login") {
		t.Errorf("%v", err)
	}
	fault("it smokes")
	w.until("the wall says so", func() bool { everybody, _ := w.app.noWayToManager("en"); return everybody != "" })
	boss.sees("/r/cellar/wall", "The building manager cannot be told of anything")
	boss.sees("/manager", "Nobody is told.", "All ways to the managers fail just now (e-mail)", "No e-mail can be sent: the mail server refuses the login as house")
	o.Change(func(o *mailtest.Orders) { o.Password = "s3cret" })
	for range 2 { // once is remembered
		if some, err := w.app.mailManagers(t.Context(), "report", "2026-11", report); err != nil || !some {
			t.Error(some, err)
		}
	}
	if subject, text, _ := w.letter(o, 2); subject != "Report" || !strings.Contains(text, "t in de") || len(o.All()) != 2 {
		t.Errorf("%q %q, %d letters", subject, text, len(o.All()))
	}
}

// TestManagerOwnAddress: a manager confirms an address on their page, and is told there.
func TestManagerOwnAddress(t *testing.T) {
	w, o := mailed(t, "")
	boss := w.visitor()
	token := strings.TrimPrefix(w.app.firstLink, "/manager/first?token=")
	boss.post("/manager/first", "token", token, "passphrase", "plover under the gutter", "again", "plover under the gutter")
	boss.sees("/manager", "Nobody is told.", "Or give an e-mail address")
	if some, err := w.app.mailManagers(t.Context(), "report", "2026-11", nil); err != nil || some {
		t.Errorf("a report to nobody was sent: %v", err)
	}
	boss.post("/manager/notices/mail", "address", "boss@weiher.org")
	_, text, _ := w.letter(o, 1)
	boss.post("/mail/confirm", "code", pathIn(t, text).Query().Get("code"))
	if everybody, manager := w.app.noWayToManager("en"); everybody != "" {
		t.Error(manager)
	}
	w.visitor().post("/r/cellar/m/1", "do", "fault", "text", "it leaks")
	if subject, text, off := w.letter(o, 2); subject != "A fault was reported" || off == "" {
		t.Errorf("%q %q\n%s", subject, off, text)
	}
	// A manager's way in is the passphrase: no code is sent for it.
	boss.post("/code/mail", "address", "boss@weiher.org")
	boss.post("/manager/notices/mail/end")
	if people := w.app.house.People(); len(people.ByMail("boss@weiher.org")) != 0 || len(people.Passes) != 0 {
		t.Errorf("%+v", people.Passes)
	}
}

// TestCheckTriesTheMailServer: it says whether letters are taken; offline it does not try.
func TestCheckTriesTheMailServer(t *testing.T) {
	o := mailtest.Open(t, false, func(o *mailtest.Office) { o.User, o.Password = "house", "s3cret" })
	section := strings.Replace(mailBuilding(o, ""), "starttls", "plain", 1)
	for _, c := range []struct {
		name, text string
		args       []string
		want       string
	}{
		{"good", section, nil, "can be reached. It takes the login as house."},
		{"nobody to tell", section, nil, "warn managers: none is named"},
		{"wrong password", strings.Replace(section, "s3cret", "guess", 1), nil, "bad  mail server: 127.0.0.1"},
		{"no STARTTLS", mailBuilding(o, ""), nil, "offers no STARTTLS"},
		{"offline", strings.Replace(section, "s3cret", "guess", 1), []string{"--offline"}, "it was not tried"},
		{"none", handBuilding, []string{"--offline"}, "none is set"},
	} {
		w := wiring(t, c.text, nil)
		out, errOut, code := command(t, append([]string{"check", w.path("building.toml")}, c.args...)...)
		if code != 0 || !strings.Contains(out, c.want) || strings.Contains(out+errOut, "s3cret") || strings.Contains(out+errOut, "guess") {
			t.Errorf("%s (%d): %q is not in\n%s%s", c.name, code, c.want, out, errOut)
		}
	}
	if len(o.All()) != 0 {
		t.Error("check sent a letter")
	}
}
