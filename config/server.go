package config

import (
	"crypto/tls"
	"fmt"
	"net"
	"net/netip"
	"strconv"
	"strings"
)

// Server is how the pages are served.
type Server struct {
	// Listen is host:port, the host empty for every address of the computer.
	Listen string
	TLS    TLS
	// PublicURL is where browsers reach the pages, without a slash at its end.
	PublicURL string
	// PushSubject is the contact that push services are told: a bare e-mail
	// address or an https address. Empty: no notices by push.
	PushSubject string
	// PushHosts are the push services that devices may use: names, ".name" for
	// all below it. Empty: those of the browsers.
	PushHosts []string
	// Data is the full path of the folder that the store is in.
	Data string
	// TrustedProxies may say for whom they ask.
	TrustedProxies []netip.Prefix
}

// TLS is where a server's certificate comes from.
type TLS struct {
	// Mode is TLSOff, TLSFiles or TLSACME.
	Mode string
	// CertFile and KeyFile are full paths (TLSFiles).
	CertFile, KeyFile string
	// Host is the name to get a certificate for, Email a contact for its issuer (TLSACME).
	Host, Email string
}

// The modes of TLS.
const (
	tlsUnknown = "" // a mode that was refused: what belongs to it is not judged

	TLSOff   = "off"
	TLSFiles = "files"
	TLSACME  = "acme" // RFC 8555: a certificate from an authority that issues them by itself
)

func (b *builder) server(s *section) {
	v := &b.file.Server
	*v = Server{Listen: ":8080", Data: s.in.resolve("data"), TLS: TLS{Mode: TLSOff}}
	if !s.word("tls", (*plainWord)(&v.TLS.Mode), TLSOff, TLSFiles, TLSACME) && s.has("tls") {
		v.TLS.Mode = tlsUnknown
	}
	if v.TLS.Mode != TLSOff {
		v.Listen = ":443"
	}
	s.address("listen", &v.Listen)
	s.path("data", &v.Data)
	host := s.publicURL(v)
	s.certificate(&v.TLS)
	s.acme(v, host)
	s.pushSubject(v, host)
	s.pushHosts(v)
	s.proxies(v)
	s.close()
}

// address reads host:port to listen at.
func (s *section) address(key string, into *string) {
	var text string
	if !s.text(key, &text) {
		return
	}
	host, port, err := net.SplitHostPort(text)
	n, bad := strconv.Atoi(port)
	right := `write a port after a colon, such as ":8080" for every address of this computer, or "127.0.0.1:8080" for programs on it only`
	switch {
	case err != nil:
		s.wrong(key, fmt.Sprintf("%q is no address with a port", text), right)
	case bad != nil || n < 0 || n > 65535:
		s.wrong(key, fmt.Sprintf("%q is no port", port), "use a number from 1 to 65535, such as 8080")
	case strings.ContainsAny(host, " /"):
		s.wrong(key, fmt.Sprintf("%q is no name of a computer", host), right)
	default:
		*into = text
	}
}

// certificate reads cert_file and key_file, which belong to TLSFiles alone.
func (s *section) certificate(t *TLS) {
	const limit = 1 << 20
	if t.Mode != TLSFiles {
		for _, key := range []string{"cert_file", "key_file"} {
			s.take(key)
			if s.has(key) && t.Mode != tlsUnknown {
				s.wrong(key, fmt.Sprintf("a certificate file is of no use with tls = %q", t.Mode), `write tls = "files", or remove this`)
			}
		}
		return
	}
	s.missing("cert_file", `add cert_file = "cert.pem", the file of the certificate with its chain`)
	s.missing("key_file", `add key_file = "key.pem", the file of the certificate's private key`)
	cert := s.content("cert_file", limit, &t.CertFile)
	key := s.content("key_file", limit, &t.KeyFile)
	if cert == nil || key == nil {
		return
	}
	if _, err := tls.X509KeyPair(cert, key); err != nil {
		s.wrong("cert_file", "the certificate and key cannot be used: "+plainTLS(err), "use the two PEM files that your certificate authority gave you together")
	}
}

// plainTLS shortens the message of crypto/tls, and keeps to what helps.
func plainTLS(err error) string {
	text := strings.TrimPrefix(err.Error(), "tls: ")
	if strings.Contains(text, "does not match") {
		return "they do not belong to each other"
	}
	return strings.ToValidUTF8(text, "?")
}

// acme reads acme_host and acme_email, which belong to TLSACME alone.
func (s *section) acme(v *Server, public string) {
	var host, email string
	for _, key := range []string{"acme_host", "acme_email"} {
		s.take(key)
		if s.has(key) && v.TLS.Mode != TLSACME && v.TLS.Mode != tlsUnknown {
			s.wrong(key, fmt.Sprintf("it is of no use with tls = %q", v.TLS.Mode), `write tls = "acme", or remove this`)
		}
	}
	if v.TLS.Mode != TLSACME {
		return
	}
	host = public
	s.text("acme_host", &host)
	s.text("acme_email", &email)
	switch {
	case !realDomain(host):
		s.wrong("acme_host", fmt.Sprintf("no certificate can be had for %q", host), "use a name that the whole internet can look up and reach at this computer's port 443")
	case public != "" && host != public:
		s.wrong("acme_host", fmt.Sprintf("the certificate would be for %s, but browsers go to %s (public_url)", host, public), "use the same name in both")
	}
	if email != "" && !realEmail(email) {
		s.wrong("acme_email", "this is no e-mail address", `write it bare, such as "caretaker@example.org"`)
	}
	v.TLS.Host, v.TLS.Email = host, email
}

// proxies reads the addresses of reverse proxies.
func (s *section) proxies(v *Server) {
	const right = `list the addresses of your own reverse proxies, such as ["127.0.0.1", "10.0.0.0/24"]`
	var texts []string
	s.texts("trusted_proxies", &texts)
	for _, text := range texts {
		p, err := netip.ParsePrefix(text)
		if addr, bare := netip.ParseAddr(text); bare == nil {
			p, err = netip.PrefixFrom(addr.WithZone(""), addr.BitLen()), nil
		}
		switch {
		case err != nil:
			s.wrong("trusted_proxies", fmt.Sprintf("%q is neither an address nor a range of addresses", text), right)
		case p.Bits() == 0:
			s.wrong("trusted_proxies", fmt.Sprintf("%q trusts everybody, so that anyone could pretend to be anyone", text), right)
		default:
			v.TrustedProxies = append(v.TrustedProxies, p.Masked())
		}
	}
}
