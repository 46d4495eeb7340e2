package push

import (
	"slices"
	"strings"
	"time"

	"drumturn/push/words"
)

// Level says how bad a finding is.
type Level string

// The levels. Push cannot work while there is a bad finding.
const (
	OK   Level = "ok"
	Warn Level = "warn"
	Bad  Level = "bad"
)

// Found says what was found. Up to its first hyphen it names the thing that was
// looked at; the catalogue has its sentence at setup.found.
type Found string

// What can be found.
const (
	AddressMissing Found = "address-missing"
	AddressInvalid Found = "address-invalid" // Value is no web address
	AddressHTTP    Found = "address-http"
	AddressNumber  Found = "address-number"
	AddressInside  Found = "address-inside" // Value is a name that exists only in the house
	AddressHere    Found = "address-here"   // it can be opened on this machine only
	AddressProxied Found = "address-proxied"
	AddressRight   Found = "address-right"

	NameUnknown  Found = "name-unknown" // Error says why
	NameEmpty    Found = "name-empty"   // it has no address
	NameLoopback Found = "name-loopback"
	NameInside   Found = "name-inside"
	NameRight    Found = "name-right"

	CertificateBad   Found = "certificate-bad" // Error says why
	CertificateEnds  Found = "certificate-ends"
	CertificateRight Found = "certificate-right"

	OutNone  Found = "out-none" // none of Unreached, which are all
	OutSome  Found = "out-some"
	OutRight Found = "out-right"

	SubjectMissing    Found = "subject-missing"
	SubjectMailto     Found = "subject-mailto"
	SubjectCharacters Found = "subject-characters"
	SubjectInvalid    Found = "subject-invalid"
	SubjectInside     Found = "subject-inside"
	SubjectRight      Found = "subject-right"

	// WithoutPush is the last finding: what does not depend on push.
	WithoutPush Found = "without-push"
)

// Founds are all that can be found.
func Founds() []Found {
	return []Found{
		AddressMissing, AddressInvalid, AddressHTTP, AddressNumber, AddressInside, AddressHere, AddressProxied, AddressRight,
		NameUnknown, NameEmpty, NameLoopback, NameInside, NameRight, CertificateBad, CertificateEnds, CertificateRight,
		OutNone, OutSome, OutRight, SubjectMissing, SubjectMailto, SubjectCharacters, SubjectInvalid, SubjectInside, SubjectRight, WithoutPush,
	}
}

// Remedy says what to do about a finding; the catalogue has it at setup.do.
type Remedy string

// The remedies.
const (
	NoRemedy         Remedy = ""
	GetHTTPS         Remedy = "get-https"
	AddName          Remedy = "add-name"
	PointHome        Remedy = "point-home"
	EnoughInside     Remedy = "enough-inside"
	CheckCertificate Remedy = "check-certificate" // and GetHTTPS
	RenewByItself    Remedy = "renew-by-itself"
	RenewAtProxy     Remedy = "renew-at-proxy"
	RenewFiles       Remedy = "renew-files"
	OpenOutwards     Remedy = "open-outwards"
	SetSubject       Remedy = "set-subject"
)

// Remedies are all of them but none.
func Remedies() []Remedy {
	return []Remedy{GetHTTPS, AddName, PointHome, EnoughInside, CheckCertificate, RenewByItself, RenewAtProxy, RenewFiles, OpenOutwards, SetSubject}
}

// Finding is one answer to "can push work here?".
type Finding struct {
	Level  Level
	Found  Found
	Remedy Remedy
	// Value is the address, name or subject that it is about.
	Value string
	// Error is why a trial failed, as the network's library says it, in English.
	Error string
	// Ends is the instant at which the certificate runs out.
	Ends time.Time
	// Unreached are the push services that could not be reached, by host.
	Unreached []Unreached
}

// Unreached is a push service that could not be reached, and why.
type Unreached struct{ Host, Error string }

// Works reports whether no finding stands in the way of push.
func Works(findings []Finding) bool {
	return !slices.ContainsFunc(findings, func(f Finding) bool { return f.Level == Bad })
}

// About is the thing that was looked at, in two or three words.
func (f *Finding) About(l *words.Language) string {
	thing, _, _ := strings.Cut(string(f.Found), "-")
	return l.Say("setup.about." + thing)
}

// Text says what was found.
func (f *Finding) Text(l *words.Language) string {
	var hosts []string
	for _, u := range f.Unreached {
		hosts = append(hosts, l.Say("setup.unreached", "host", u.Host, "error", u.Error))
	}
	return l.Say("setup.found."+string(f.Found), "value", f.Value, "error", f.Error,
		"date", l.Date(f.Ends.UTC()), "hosts", strings.Join(hosts, l.Say("list.comma")))
}

// Do says what to do about it; empty when all is well.
func (f *Finding) Do(l *words.Language) string {
	switch f.Remedy {
	case NoRemedy:
		return ""
	case CheckCertificate:
		return l.Say("setup.do."+string(CheckCertificate)) + " " + l.Say("setup.do."+string(GetHTTPS))
	}
	return l.Say("setup.do." + string(f.Remedy))
}
