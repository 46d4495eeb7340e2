package push

import (
	"errors"
	"net/mail"
	"net/netip"
	"net/url"
	"strings"

	"drumturn/push/words"
)

// ValidateSubject checks the contact that push services are told (RFC 8292
// section 2.1): a bare e-mail address, or an https address, at a domain that
// exists outside the house. Some services refuse every message otherwise.
func ValidateSubject(subject string) error {
	wrong := subjectTrouble(subject)
	if wrong == "" {
		return nil
	}
	f := Finding{Found: wrong, Remedy: SetSubject, Value: subject}
	return errors.New(f.Text(words.English()) + " " + f.Do(words.English()))
}

// subjectTrouble is what is wrong with a subject; empty when it is right.
func subjectTrouble(subject string) Found {
	switch {
	case subject == "":
		return SubjectMissing
	case strings.HasPrefix(strings.ToLower(subject), "mailto:"):
		return SubjectMailto
	case strings.ContainsAny(subject, " \t\r\n<>\""):
		return SubjectCharacters
	}
	host, err := subjectHost(subject)
	switch {
	case err != nil:
		return SubjectInvalid
	case !realDomain(host):
		return SubjectInside
	}
	return ""
}

func subjectHost(subject string) (string, error) {
	if strings.HasPrefix(subject, "https:") {
		u, err := url.Parse(subject)
		if err != nil || u.Hostname() == "" || u.User != nil {
			return "", errors.New("no host")
		}
		return u.Hostname(), nil
	}
	a, err := mail.ParseAddress(subject)
	if err != nil || a.Address != subject || a.Name != "" {
		return "", errors.New("no address")
	}
	return subject[strings.LastIndexByte(subject, '@')+1:], nil
}

// unreal are the top-level names that never belong to anybody: RFC 2606 and
// 6761 (special use), 6762 (.local), 8375 (home.arpa), and .internal, .lan and
// .home by common practice, no source.
var unreal = map[string]bool{
	"test": true, "example": true, "invalid": true, "localhost": true, "local": true,
	"arpa": true, "internal": true, "lan": true, "home": true, "onion": true, "alt": true,
}

// realDomain reports whether host could be somebody's domain.
func realDomain(host string) bool {
	host = strings.ToLower(strings.TrimSuffix(host, "."))
	if _, err := netip.ParseAddr(host); err == nil || len(host) > 253 || !plainLabels(host) {
		return false
	}
	top := host[strings.LastIndexByte(host, '.')+1:]
	return top != host && !unreal[top] && strings.Trim(top, "0123456789") != ""
}
