package coordinator

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// Mail is a person's e-mail address, and one that waits to be confirmed.
type Mail struct {
	// Address is confirmed; empty: none is used.
	Address string `json:",omitempty"`
	// Since is when it was confirmed.
	Since time.Time `json:",omitzero"`
	// Also: told by e-mail besides the phones; otherwise only where no phone is reached.
	Also bool `json:",omitempty"`
	// Off is the secret in the links that end it. It opens nothing else.
	Off string `json:",omitempty"`
	// Asked is an address that is not used before its owner has confirmed it.
	Asked MailAsked `json:",omitzero"`
}

// MailAsked is an address to be confirmed by the code sent to it.
type MailAsked struct {
	Address string
	// Hash is the SHA-256, in hex, of the code.
	Hash    string
	Expires time.Time
}

// The events about e-mail addresses.
type (
	// AskMail notes an address that its owner is to confirm; one asked for earlier is forgotten.
	AskMail struct {
		Person        PersonID
		Address, Hash string
		Expires       time.Time
	}
	// ConfirmMail takes an address into use. Off is the secret for links that end it.
	ConfirmMail struct{ Hash, Off string }
	// SetMailUse says whether a person is told by e-mail besides the phones too.
	SetMailUse struct {
		Person PersonID
		Also   bool
	}
	// EndMail forgets a person's address: of Person, or of whom the secret Off belongs to.
	EndMail struct {
		Person PersonID
		Off    string
	}
)

func (AskMail) peopleEvent()     {}
func (ConfirmMail) peopleEvent() {}
func (SetMailUse) peopleEvent()  {}
func (EndMail) peopleEvent()     {}

// longestAddress is the most that fits a path in SMTP (RFC 5321 section 4.5.3.1.3, with the brackets).
const longestAddress = 254

// MailAddress reads a bare e-mail address: the part before the @ as it is, the
// domain in small letters. It takes what mail servers pass on without
// extensions: RFC 5321's dot-string at a domain of two names or more.
func MailAddress(text string) (string, error) {
	text = strings.TrimSpace(text)
	at := strings.LastIndexByte(text, '@')
	if at < 1 || len(text) > longestAddress || !dotString(text[:at]) || !mailDomain(text[at+1:]) {
		return "", Refuse(Invalid, "mail.address", "That is no e-mail address that letters can be sent to. Write it bare, such as someone@example.org.")
	}
	return text[:at+1] + strings.ToLower(text[at+1:]), nil
}

// dotString reports whether s is a Dot-string of RFC 5321 section 4.1.2, at most 64 octets.
func dotString(s string) bool {
	const special = "!#$%&'*+-/=?^_`{|}~"
	for atom := range strings.SplitSeq(s, ".") {
		if atom == "" || strings.ContainsFunc(atom, func(r rune) bool { return !plainLetter(r) && !strings.ContainsRune(special, r) }) {
			return false
		}
	}
	return len(s) <= 64
}

// mailDomain reports whether s is a name of two labels or more.
func mailDomain(s string) bool {
	labels := strings.Split(s, ".")
	for _, label := range labels {
		bad := strings.ContainsFunc(label, func(r rune) bool { return !plainLetter(r) && r != '-' })
		if bad || label == "" || len(label) > 63 || label[0] == '-' || label[len(label)-1] == '-' {
			return false
		}
	}
	return len(labels) >= 2 && strings.Trim(labels[len(labels)-1], "0123456789") != ""
}

func plainLetter(r rune) bool {
	return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9'
}

// ByMail lists whose confirmed address it is, by their ids. Capitals make no difference.
func (p *People) ByMail(address string) []Person {
	var out []Person
	for _, person := range p.Persons {
		if address != "" && strings.EqualFold(person.Mail.Address, address) {
			out = append(out, person)
		}
	}
	slices.SortFunc(out, func(a, b Person) int { return cmp.Compare(a.ID, b.ID) })
	return out
}

// MailAskedBy finds who waits to confirm an address by the code of that hash, at now.
func (p *People) MailAskedBy(hash string, now time.Time) (Person, bool) {
	for _, person := range p.Persons {
		if asked := person.Mail.Asked; hash != "" && asked.Hash == hash && now.Before(asked.Expires) {
			return person, true
		}
	}
	return Person{}, false
}

// MailOff finds whose address a link's secret ends.
func (p *People) MailOff(secret string) (Person, bool) {
	for _, person := range p.Persons {
		if secret != "" && person.Mail.Off == secret {
			return person, true
		}
	}
	return Person{}, false
}

func (s *peopleStep) askMail(e AskMail) error {
	person, err := s.person(e.Person)
	if err != nil {
		return err
	}
	address, err := MailAddress(e.Address)
	if err != nil {
		return err
	}
	if e.Hash == "" || !e.Expires.After(s.now) {
		return Refuse(Invalid, "mail.code", "An address needs a code to be confirmed by, and time for it.")
	}
	person.Mail.Asked = MailAsked{Address: address, Hash: e.Hash, Expires: e.Expires}
	s.putPerson(person)
	return nil
}

// confirmMail takes the address into use that the code was sent to; the one before ends.
func (s *peopleStep) confirmMail(e ConfirmMail) error {
	person, ok := s.next.MailAskedBy(e.Hash, s.now)
	if !ok {
		return Refuse(NotAllowed, "mail.unknown", "That code is not known here: it was used, has run out, or was mistyped. Ask for another letter.")
	}
	if e.Off == "" {
		return Refuse(Invalid, "mail.off", "An address needs a secret to be ended by.")
	}
	person.Mail = Mail{Address: person.Mail.Asked.Address, Since: s.now, Also: person.Mail.Also, Off: e.Off}
	s.putPerson(person)
	return nil
}

func (s *peopleStep) setMailUse(e SetMailUse) error {
	person, err := s.person(e.Person)
	if err != nil {
		return err
	}
	if person.Mail.Also == e.Also {
		return nil
	}
	person.Mail.Also = e.Also
	s.putPerson(person)
	return nil
}

// endMail forgets an address. A link that did it already does nothing.
func (s *peopleStep) endMail(e EndMail) error {
	person, ok := s.next.Persons[e.Person]
	if e.Person == "" {
		person, ok = s.next.MailOff(e.Off)
	}
	if !ok || person.Mail == (Mail{}) {
		return nil
	}
	person.Mail = Mail{}
	s.putPerson(person)
	return nil
}
