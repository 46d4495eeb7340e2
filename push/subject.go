package push

import (
	"fmt"
	"net/mail"
	"net/netip"
	"net/url"
	"strings"
)

// ValidateSubject checks the contact that push services are told (RFC 8292
// section 2.1): a bare e-mail address, or an https address, at a domain that
// exists outside the house. Some services refuse every message otherwise.
func ValidateSubject(subject string) error {
	const right = "give a bare e-mail address such as laundry@example.org, or an address that begins with https://"
	switch {
	case subject == "":
		return fmt.Errorf("the push subject is missing: %s", right)
	case strings.HasPrefix(strings.ToLower(subject), "mailto:"):
		return fmt.Errorf("the push subject %q must not begin with mailto: (it is added when sending): %s", subject, right)
	case strings.ContainsAny(subject, " \t\r\n<>\""):
		return fmt.Errorf("the push subject %q has spaces, quotes or brackets in it: %s", subject, right)
	}
	host, err := subjectHost(subject)
	if err != nil {
		return fmt.Errorf("the push subject %q is neither an e-mail address nor a web address: %s", subject, right)
	}
	if !realDomain(host) {
		return fmt.Errorf("the push subject %q is at %q, which is no domain of the open internet: %s", subject, host, right)
	}
	return nil
}

func subjectHost(subject string) (string, error) {
	if strings.HasPrefix(subject, "https:") {
		u, err := url.Parse(subject)
		if err != nil || u.Hostname() == "" || u.User != nil {
			return "", fmt.Errorf("no host")
		}
		return u.Hostname(), nil
	}
	a, err := mail.ParseAddress(subject)
	if err != nil || a.Address != subject || a.Name != "" {
		return "", fmt.Errorf("no address")
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
