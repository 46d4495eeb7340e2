package coordinator

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestMailAddress: RFC 5321 section 4.1.2 (Mailbox, Dot-string), and what could
// tear a header or a command apart (section 4.5.3.1 for the lengths).
func TestMailAddress(t *testing.T) {
	for text, want := range map[string]string{
		"anna@example.org": "anna@example.org", " anna@Example.ORG ": "anna@example.org", "A.b+laundry@x-y.example.org": "A.b+laundry@x-y.example.org",
		"o'neill_1!#$%&*/=?^`{|}~-@example.org": "o'neill_1!#$%&*/=?^`{|}~-@example.org",
		"":                                      "", "anna": "", "@example.org": "", "anna@": "", "anna@localhost": "", "anna@127.0.0.1": "", "anna@[127.0.0.1]": "",
		"a@b@example.org": "", "an na@example.org": "", ".anna@example.org": "", "anna.@example.org": "", "an..na@example.org": "",
		"Anna <anna@example.org>": "", "anna@example.org,ben@example.org": "", "anna@example.org\r\nBcc: x@example.org": "",
		"anna\r\n@example.org": "", "änna@example.org": "", "anna@exämple.org": "", "anna@-x.example.org": "", "anna@x-.example.org": "",
		"anna@example..org": "", "\"anna\"@example.org": "", "anna@example.org>": "",
		strings.Repeat("a", 64) + "@example.org": strings.Repeat("a", 64) + "@example.org", strings.Repeat("a", 65) + "@example.org": "",
		"anna@" + strings.Repeat("a", 64) + ".org": "", "a@" + strings.Repeat("abcdefgh.", 30) + "org": "",
	} {
		got, err := MailAddress(text)
		if got != want || (err == nil) != (want != "") {
			t.Errorf("%q: %q, %v", text, got, err)
		}
	}
}

// TestMailAddressIsOneWord: whatever is taken has nothing in it that ends a
// line, an address or a list, and is taken again as it is.
func TestMailAddressIsOneWord(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		got, err := MailAddress(rapid.OneOf(rapid.String(), rapid.StringMatching(`[a-z.<>,;:" \r\n@-]{1,20}@[a-zA-Z.<>, \r\n-]{1,10}\.org`)).Draw(t, "text"))
		if err != nil {
			return
		}
		if strings.ContainsAny(got, " \t\r\n<>,;:\"()[]\\") || strings.Count(got, "@") != 1 {
			t.Fatalf("%q was taken", got)
		}
		if again, err := MailAddress(got); err != nil || again != got {
			t.Fatalf("%q becomes %q, %v", got, again, err)
		}
	})
}

// TestMail: an address is used only once its owner has confirmed it, until it is ended or the person is forgotten.
func TestMail(t *testing.T) {
	w := newTown(t)
	w.joinAs("anna", "12")
	ask := AskMail{Person: "anna", Address: "Anna@Example.org", Hash: "h1", Expires: w.now.Add(time.Hour)}
	w.refused(AskMail{Person: "nobody", Address: "a@example.org", Hash: "h", Expires: ask.Expires}, "person.unknown")
	w.refused(AskMail{Person: "anna", Address: "anna", Hash: "h", Expires: ask.Expires}, "mail.address")
	w.refused(AskMail{Person: "anna", Address: "a@example.org", Expires: ask.Expires}, "mail.code")
	w.refused(AskMail{Person: "anna", Address: "a@example.org", Hash: "h", Expires: w.now}, "mail.code")
	w.do(ask)
	if m := w.people.Persons["anna"].Mail; m.Address != "" || m.Asked.Address != "Anna@example.org" || len(w.people.ByMail("anna@example.org")) != 0 {
		t.Fatalf("before it is confirmed: %+v", m)
	}
	w.reload()
	w.refused(ConfirmMail{Hash: "h2", Off: "secret"}, "mail.unknown")
	w.refused(ConfirmMail{Hash: "", Off: "secret"}, "mail.unknown")
	w.refused(ConfirmMail{Hash: "h1"}, "mail.off")
	w.do(SetMailUse{Person: "anna", Also: true})
	w.do(ConfirmMail{Hash: "h1", Off: "secret"})
	if m := w.people.Persons["anna"].Mail; m != (Mail{Address: "Anna@example.org", Since: w.now, Also: true, Off: "secret"}) {
		t.Fatalf("confirmed: %+v", m)
	}
	w.refused(ConfirmMail{Hash: "h1", Off: "again"}, "mail.unknown")
	if got := w.people.ByMail("ANNA@EXAMPLE.ORG"); len(got) != 1 || got[0].ID != "anna" {
		t.Errorf("the address is of %v", got)
	}
	w.reload()
	w.do(EndMail{Off: "not it"})
	w.do(EndMail{})
	if w.people.Persons["anna"].Mail.Address == "" {
		t.Fatal("a wrong secret ended it")
	}
	w.do(EndMail{Off: "secret"})
	if m := w.people.Persons["anna"].Mail; m != (Mail{}) {
		t.Fatalf("ended: %+v", m)
	}
	w.reload()
}

// TestMailChanges: a new address takes the place of the one before when it is
// confirmed, not when it is typed; a code runs out; the newest code counts.
func TestMailChanges(t *testing.T) {
	w := newTown(t)
	w.joinAs("anna", "12")
	w.joinAs("ben", "13")
	ask := func(p PersonID, address, hash string) {
		t.Helper()
		w.do(AskMail{Person: p, Address: address, Hash: hash, Expires: w.now.Add(time.Hour)})
	}
	ask("anna", "old@example.org", "h1")
	w.do(ConfirmMail{Hash: "h1", Off: "off1"})
	ask("anna", "typo@example.org", "h2")
	ask("anna", "new@example.org", "h3")
	ask("ben", "old@example.org", "h4")
	w.refused(ConfirmMail{Hash: "h2", Off: "x"}, "mail.unknown")
	if m := w.people.Persons["anna"].Mail; m.Address != "old@example.org" {
		t.Errorf("in use is %q", m.Address)
	}
	w.do(ConfirmMail{Hash: "h3", Off: "off2"})
	w.do(EndMail{Off: "off1"}) // a link in an old letter ends nothing new
	if m := w.people.Persons["anna"].Mail; m.Address != "new@example.org" || m.Off != "off2" {
		t.Errorf("in use is %+v", m)
	}
	w.now = w.now.Add(time.Hour)
	w.refused(ConfirmMail{Hash: "h4", Off: "x"}, "mail.unknown")
	w.do(SetMailUse{Person: "ben", Also: true})
	w.refused(SetMailUse{Person: "nobody"}, "person.unknown")
	seq := w.people.Seq
	w.do(SetMailUse{Person: "ben", Also: true})
	if w.people.Seq != seq {
		t.Error("the same choice once more was stored")
	}
	w.do(EndMail{Person: "anna"})
	ask("ben", "ben@example.org", "h5")
	w.do(ConfirmMail{Hash: "h5", Off: "off5"})
	w.do(Forget{Person: "ben"})
	if len(w.people.ByMail("new@example.org"))+len(w.people.ByMail("ben@example.org")) != 0 {
		t.Error("an address outlived its end, or its person")
	}
	if _, ok := w.people.MailOff("off5"); ok {
		t.Error("a forgotten person is found by the secret")
	}
	w.reload()
}

func TestMailDevice(t *testing.T) {
	d := DeviceResult{Device: MailDevice("anna")}
	if !d.ByMail() || (&DeviceResult{Device: "abc"}).ByMail() {
		t.Error("an e-mail is not told from a device")
	}
	for endpoint, want := range map[string]string{"mailto:anna@example.org": MailHost, "https://push.example/1": "push.example", "%": ""} {
		if got := (Subscription{Endpoint: endpoint}).Host(); got != want {
			t.Errorf("%s: %q", endpoint, got)
		}
	}
	for reason, want := range map[MailReason]bool{"": false, MailSpare: false, MailAlso: true, MailOnly: true, MailInstead: true} {
		if reason.ByMail() != want {
			t.Errorf("%q", reason)
		}
	}
}
