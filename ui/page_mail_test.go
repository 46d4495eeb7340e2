package ui

import (
	"fmt"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// lettersBox keeps the letters that pages ask for.
type lettersBox struct {
	mu   sync.Mutex
	all  []string
	full bool
}

func (b *lettersBox) put(text string) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.all = append(b.all, text)
	return !b.full
}

func (b *lettersBox) Confirm(to, lang, link, code string, holds time.Duration) bool {
	return b.put(fmt.Sprintf("confirm %s %s %s %s %v", to, lang, link, code, holds))
}

func (b *lettersBox) Return(to, lang, home, link, code string, holds time.Duration) bool {
	return b.put(fmt.Sprintf("return %s %s %s %s %s %v", to, lang, home, link, code, holds))
}

func (b *lettersBox) list() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]string(nil), b.all...)
}

// wait waits for n letters: those for lost phones are written behind the answer.
func (b *lettersBox) wait(t *testing.T, n int) []string {
	t.Helper()
	for range 1000 {
		if len(b.list()) >= n {
			break
		}
		time.Sleep(time.Millisecond)
	}
	if len(b.list()) != n {
		t.Fatalf("%d letters: %q", len(b.list()), b.list())
	}
	return b.list()
}

// lettered is a server that sends letters, with dan of home h6.
func lettered(t *testing.T, change func(*Options)) (*Server, *fakeHouse, *lettersBox) {
	t.Helper()
	h := newFakeHouse(fullRoom())
	h.resident("dan", "h6")
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	box := &lettersBox{}
	return newTestServer(t, h, func(o *Options) {
		o.Letters = box
		if change != nil {
			change(o)
		}
	}), h, box
}

func (h *fakeHouse) mailOf(id coordinator.PersonID) coordinator.Mail {
	return h.People().Persons[id].Mail
}

// TestAskingForLetters: the language is the person's or the browser's, the link
// that of the public address, and no letter goes where there is none to send.
func TestAskingForLetters(t *testing.T) {
	s, h, box := lettered(t, func(o *Options) { o.PublicURL = "https://house.example/laundry" })
	a := post("/me/notices/mail", "address", " Dan@Weiher.org ").as("secret-of-dan", "")
	a.header = http.Header{"Accept-Language": {"fr-CH, de;q=0.5"}}
	if w := a.of(s); w.Code != http.StatusSeeOther {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	sent := strings.Fields(box.wait(t, 1)[0])
	if sent[1] != "Dan@weiher.org" || sent[2] != "fr" || sent[3] != "https://house.example/laundry/mail/confirm?code="+sent[4] || sent[5] != "1h0m0s" {
		t.Errorf("%q", sent)
	}
	if m := h.mailOf("dan"); m.Asked.Address != "Dan@weiher.org" || m.Asked.Hash != mailHash(strings.ToLower(sent[4])) || m.Address != "" {
		t.Errorf("%+v", m)
	}
	page := get("/me/notices").as("secret-of-dan", "").of(s).Body.String()
	if !strings.Contains(page, "on its way to <strong>Dan@weiher.org</strong>") || strings.Contains(page, sent[4]) {
		t.Error("the page does not say so, or shows the code")
	}
	for _, c := range []struct {
		ask
		status int
		says   string
	}{
		{post("/me/notices/mail", "address", "dan"), 422, "no e-mail address"},
		{post("/me/notices/mail", "address", "dan@weiher.org\r\nBcc: x@weiher.org"), 422, "no e-mail address"},
		{post("/me/notices/mail", "address", "dan@weiher.org", "also", "yes"), 422, "does not belong there"},
	} {
		if w := c.ask.as("secret-of-dan", "").of(s); w.Code != c.status || !strings.Contains(w.Body.String(), c.says) {
			t.Errorf("%s: %d", c.says, w.Code)
		}
	}
	if w := post("/me/notices/mail", "address", "x@weiher.org").of(s); w.Code != http.StatusForbidden {
		t.Errorf("a stranger: %d", w.Code)
	}
	box.wait(t, 1)
	silent := newTestServer(t, h, nil)
	if w := post("/me/notices/mail", "address", "dan@weiher.org").as("secret-of-dan", "").of(silent); w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "sends no e-mail") {
		t.Errorf("without a mail server: %d", w.Code)
	}
	if page := get("/code").of(silent).Body.String() + get("/me/notices").as("secret-of-boss", "").of(silent).Body.String(); strings.Contains(page, "e-mail") {
		t.Error("without a mail server the pages offer it")
	}
}

// TestLettersAreRationed: nobody's letterbox is filled through us.
func TestLettersAreRationed(t *testing.T) {
	s, h, box := lettered(t, nil)
	for i := range 4 {
		h.resident(coordinator.PersonID(fmt.Sprintf("p%d", i)), "h6")
	}
	asks := func(who, address string) int {
		return post("/me/notices/mail", "address", address).as("secret-of-"+who, "").of(s).Code
	}
	for i := range 3 {
		if code := asks(fmt.Sprintf("p%d", i), "victim@weiher.org"); code != http.StatusSeeOther {
			t.Fatalf("letter %d: %d", i, code)
		}
	}
	if code := asks("p3", "VICTIM@weiher.org"); code != http.StatusUnprocessableEntity {
		t.Errorf("a fourth letter to one address: %d", code)
	}
	for i := range 4 {
		asks("dan", fmt.Sprintf("a%d@weiher.org", i))
	}
	if code := asks("dan", "a9@weiher.org"); code != http.StatusUnprocessableEntity {
		t.Errorf("a fifth address of one person: %d", code)
	}
	box.wait(t, 7)
	box.mu.Lock()
	box.full = true
	box.mu.Unlock()
	if w := post("/me/notices/mail", "address", "late@weiher.org").as("secret-of-p3", "").of(s); w.Code != http.StatusUnprocessableEntity || !strings.Contains(w.Body.String(), "too often") {
		t.Errorf("while the post is full: %d", w.Code)
	}
}

// TestConfirming: only a button does it; a wrong code says so and tells no address.
func TestConfirming(t *testing.T) {
	s, h, box := lettered(t, nil)
	post("/manager/notices/mail", "address", "boss@weiher.org").as("", "secret-of-boss").of(s)
	code := strings.Fields(box.wait(t, 1)[0])[4]
	for _, wrong := range []string{"", "ABCD-EFGH", strings.Repeat("A", 100)} {
		if w := post("/mail/confirm", "code", wrong).of(s); w.Code < 400 || strings.Contains(w.Body.String(), "boss@") {
			t.Errorf("%q: %d", wrong, w.Code)
		}
	}
	if w := get("/mail/confirm?code=" + code).of(s); !strings.Contains(w.Body.String(), "boss@weiher.org") || w.Header().Get("Cache-Control") != "no-store" || h.mailOf("boss").Address != "" {
		t.Errorf("%d %v", w.Code, w.Header())
	}
	if w := post("/mail/confirm", "code", code).of(s); w.Code != 200 || h.mailOf("boss").Address != "boss@weiher.org" || len(h.mailOf("boss").Off) < 32 {
		t.Errorf("%d: %+v", w.Code, h.mailOf("boss"))
	}
	if w := post("/mail/confirm", "code", code).of(s); w.Code != http.StatusForbidden {
		t.Errorf("twice: %d", w.Code)
	}
	use := func(also string) bool {
		post("/manager/notices/mail/use", "also", also).as("", "secret-of-boss").of(s)
		return h.mailOf("boss").Also
	}
	if !use("yes") || use("") {
		t.Error("the choice was not kept")
	}
	if w := post("/mail/off?of=guess").of(s); w.Code != 200 || h.mailOf("boss").Address == "" {
		t.Errorf("a guess: %d, %+v", w.Code, h.mailOf("boss"))
	}
	if w := post("/manager/notices/mail/end").as("", "secret-of-boss").of(s); w.Code != http.StatusSeeOther || h.mailOf("boss") != (coordinator.Mail{}) {
		t.Errorf("%d", w.Code)
	}
}

// TestCodesByLetter: to each of those who share an address, never for a manager.
func TestCodesByLetter(t *testing.T) {
	s, h, box := lettered(t, nil)
	for i, id := range []coordinator.PersonID{"dan", "eve", "boss"} {
		h.mu.Lock()
		p := h.people.Persons[id]
		p.ID, p.Mail = id, coordinator.Mail{Address: "shared@weiher.org", Off: fmt.Sprint(i)}
		h.people.Persons[id] = p
		h.mu.Unlock()
	}
	for _, address := range []string{"shared@weiher.org", "nobody@weiher.org"} {
		w := post("/code/mail", "address", address).of(s)
		if w.Code != 200 || !strings.Contains(w.Body.String(), "If <strong>"+address+"</strong> is an address that somebody has confirmed") {
			t.Errorf("%d", w.Code)
		}
	}
	for _, letter := range box.wait(t, 2) {
		if !strings.HasPrefix(letter, "return shared@weiher.org ") || !strings.HasSuffix(letter, "30m0s") {
			t.Error(letter)
		}
	}
	if n := len(h.People().Passes); n != 2 {
		t.Errorf("%d codes", n)
	}
	if w := post("/code/mail", "address", "nonsense").of(s); w.Code != 422 || !strings.Contains(w.Body.String(), "no e-mail address") {
		t.Errorf("%d", w.Code)
	}
}

// TestWhyByLetter: what became of letters, in words.
func TestWhyByLetter(t *testing.T) {
	one := time.Date(2026, 3, 17, 13, 0, 0, 0, time.UTC)
	tell := teller{now: one, zone: time.UTC, lang: words.English()}
	for _, c := range []struct {
		devices []coordinator.DeviceResult
		mail    coordinator.MailReason
		want    string
		told    bool
	}{
		{[]coordinator.DeviceResult{{Device: "mail:a", Person: "a", Sent: true}}, coordinator.MailOnly, "An e-mail was sent at 13:00: no phone of yours takes notices.", true},
		{[]coordinator.DeviceResult{{Device: "d", Person: "a"}, {Device: "mail:a", Person: "a", Sent: true}}, coordinator.MailInstead, "An e-mail was sent at 13:00: no phone of yours could be reached.", true},
		{[]coordinator.DeviceResult{{Device: "d", Person: "a", Sent: true}, {Device: "mail:a", Person: "a", Sent: true}}, coordinator.MailAlso, "Sent to one device of yours at 13:00. An e-mail was sent at 13:00, as you asked for both.", true},
		{[]coordinator.DeviceResult{{Device: "d", Person: "a", Sent: true}}, coordinator.MailSpare, "Sent to one device of yours at 13:00.", true},
		{[]coordinator.DeviceResult{{Device: "mail:a", Person: "a", Status: 550}}, coordinator.MailOnly, "Not sent: the mail server did not take the e-mail.", false},
		{[]coordinator.DeviceResult{{Device: "mail:b", Person: "b", Sent: true}}, "", "It is being sent.", false},
	} {
		d := &coordinator.Delivery{State: coordinator.Done, Devices: c.devices, Told: []coordinator.Told{{Person: "a", Reason: coordinator.ReasonNow, Mail: c.mail}}}
		for i := range d.Devices {
			d.Devices[i].At = one
		}
		if got, told := tell.whatBecame(d, &coordinator.Person{ID: "a"}); strings.ReplaceAll(got, "1 device", "one device") != c.want || told != c.told {
			t.Errorf("%q, want %q (%v)", got, c.want, told)
		}
	}
}
