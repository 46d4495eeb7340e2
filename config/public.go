package config

import (
	"fmt"
	"net"
	"net/mail"
	"net/netip"
	"net/url"
	"strings"
	"unicode"
)

// publicURL reads where browsers reach the pages; it returns the host's name.
func (s *section) publicURL(v *Server) string {
	_, port, _ := net.SplitHostPort(v.Listen)
	v.PublicURL = "http://localhost:" + port
	if v.TLS.Mode != TLSOff {
		v.PublicURL = "https://localhost:" + port
	}
	if !s.has("public_url") && s.node != nil {
		s.warn("public_url", "it is not said how phones reach the pages, so links and printed codes lead nowhere", `add public_url = "https://laundry.example.org", with your own name`)
	}
	var text string
	if !s.text("public_url", &text) {
		return ""
	}
	u, err := url.Parse(text)
	right := `write the address as it is typed into a browser, such as "https://laundry.example.org"`
	switch {
	case err != nil || (u.Scheme != "http" && u.Scheme != "https") || u.Hostname() == "" || strings.ContainsAny(text, " \t"):
		s.wrong("public_url", "this is no web address", right)
	case u.User != nil || u.RawQuery != "" || u.Fragment != "" || strings.ContainsAny(text, "?#"):
		s.wrong("public_url", "the address has a user name, a ? or a # in it", right)
	case u.Scheme == "http" && v.TLS.Mode != TLSOff && v.TLS.Mode != tlsUnknown:
		s.wrong("public_url", fmt.Sprintf("the address begins with http://, but with tls = %q the pages are at https://", v.TLS.Mode), "write https:// here")
	default:
		v.PublicURL = strings.TrimRight(text, "/")
		s.publicAdvice(u, v)
		return u.Hostname()
	}
	return ""
}

// publicAdvice warns of addresses that work but do less than they could.
func (s *section) publicAdvice(u *url.URL, v *Server) {
	switch {
	case invented(u.Hostname()):
		s.warn("public_url", u.Hostname()+" is an invented name for examples", "write the name that your pages are reached by")
	case u.Scheme == "http" && !isLoopback(u.Hostname()):
		s.warn("public_url", "browsers allow push notices only on pages that begin with https://", "set tls to \"files\" or \"acme\", or put a reverse proxy with https in front")
	case u.Scheme == "https" && v.TLS.Mode == TLSOff && !s.has("trusted_proxies"):
		s.warn("trusted_proxies", "a reverse proxy must answer for https here, but none is named; all visitors would look like one", `add trusted_proxies = ["127.0.0.1"], with the proxy's address`)
	}
}

// pushSubject reads the contact for push services; the public address stands in for it.
func (s *section) pushSubject(v *Server, host string) {
	if !s.has("push_subject") {
		s.take("push_subject")
		if realDomain(host) && strings.HasPrefix(v.PublicURL, "https://") {
			v.PushSubject = v.PublicURL
		} else if s.node != nil {
			s.warn("push_subject", "without a contact for the push services no notice can be sent to phones", `add push_subject = "caretaker@example.org", with your own address`)
		}
		return
	}
	var text string
	if !s.text("push_subject", &text) {
		return
	}
	right := `write a bare e-mail address, such as "caretaker@example.org", or an address that begins with https://`
	domain, ok := subjectDomain(text)
	switch {
	case strings.HasPrefix(strings.ToLower(text), "mailto:"):
		s.wrong("push_subject", "the address must not begin with mailto: (it is added when sending)", right)
	case !ok:
		s.wrong("push_subject", "this is neither a bare e-mail address nor an https address", right)
	case !realDomain(domain):
		s.wrong("push_subject", fmt.Sprintf("%q is no domain of the open internet, and push services refuse it", domain), right)
	default:
		v.PushSubject = text
		if invented(domain) {
			s.warn("push_subject", domain+" is an invented name for examples", "write an address at which you can be reached")
		}
	}
}

// subjectDomain is the domain of an e-mail or https address.
func subjectDomain(text string) (string, bool) {
	if strings.HasPrefix(text, "https://") {
		u, err := url.Parse(text)
		if err != nil || u.User != nil || u.Hostname() == "" {
			return "", false
		}
		return u.Hostname(), true
	}
	a, err := mail.ParseAddress(text)
	if err != nil || a.Address != text || a.Name != "" {
		return "", false
	}
	return text[strings.LastIndexByte(text, '@')+1:], true
}

func realEmail(text string) bool {
	domain, ok := subjectDomain(text)
	return ok && !strings.HasPrefix(text, "https:") && realDomain(domain)
}

// nobodys are top-level names that never belong to anybody: RFC 2606 and 6761
// (special use), RFC 6762 (.local), RFC 8375 (home.arpa); .internal, .lan and
// .home are common practice, no source.
var nobodys = map[string]bool{
	"test": true, "example": true, "invalid": true, "localhost": true, "local": true, "arpa": true,
	"internal": true, "lan": true, "home": true, "onion": true, "alt": true,
}

// realDomain reports whether host could be somebody's domain.
func realDomain(host string) bool {
	labels := strings.Split(strings.ToLower(strings.TrimSuffix(host, ".")), ".")
	if _, err := netip.ParseAddr(host); err == nil || len(labels) < 2 || len(host) > 253 {
		return false
	}
	for _, label := range labels {
		if label == "" || len(label) > 63 || strings.ContainsFunc(label, notInName) {
			return false
		}
	}
	top := labels[len(labels)-1]
	return !nobodys[top] && strings.Trim(top, "0123456789") != ""
}

// notInName reports whether a rune cannot be part of a host's name.
func notInName(r rune) bool { return r != '-' && !unicode.IsLetter(r) && !unicode.IsDigit(r) }

// invented reports whether a name is one that RFC 2606 keeps for examples.
func invented(host string) bool {
	for _, name := range []string{"example.org", "example.com", "example.net", "example"} {
		if host == name || strings.HasSuffix(host, "."+name) {
			return true
		}
	}
	return false
}

func isLoopback(host string) bool {
	addr, err := netip.ParseAddr(host)
	return host == "localhost" || strings.HasSuffix(host, ".localhost") || err == nil && addr.IsLoopback()
}

// pushHosts reads the list of push services.
func (s *section) pushHosts(v *Server) {
	var hosts []string
	s.texts("push_hosts", &hosts)
	if s.has("push_hosts") && hosts != nil && len(hosts) == 0 {
		s.wrong("push_hosts", "an empty list would refuse every phone", "remove it for the push services of the browsers, or list those that may be used")
	}
	for _, host := range hosts {
		if !realDomain(strings.TrimPrefix(host, ".")) {
			s.wrong("push_hosts", fmt.Sprintf("%q is no name of a push service", host), `write bare names, such as "push.example.org", or ".example.org" for all names below it`)
			continue
		}
		v.PushHosts = append(v.PushHosts, strings.ToLower(host))
	}
}
