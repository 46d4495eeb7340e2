// Package mail sends letters through the house's own mail server (RFC 5321,
// 6409). It is the one package that imports go-mail.
package mail

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"strings"
	"time"

	library "github.com/wneessen/go-mail"
)

// Security is how the connection to the server is kept from being read.
type Security string

// The kinds. There is none that falls back to an open connection by itself.
const (
	StartTLS Security = "starttls" // begins in the open, then RFC 3207; usual at port 587
	TLS      Security = "tls"      // from the first octet, RFC 8314; usual at port 465
	Plain    Security = "plain"    // in the open: to a server on this very computer only
)

// Settings are what a Server is made of.
type Settings struct {
	Host     string
	Port     int
	Security Security
	// User logs in with Password; empty: without a login. Password is a function so
	// that printing the settings shows nothing.
	User     string
	Password func() string
	// From is the bare address that letters come from, Building the name beside it.
	From, Building string
	// PublicURL is where the pages are; links in letters begin with it.
	PublicURL string
	// RootCAs are the authorities to trust; nil means those of the system.
	RootCAs *x509.CertPool
	// Timeout bounds each step with the server (20 s).
	Timeout time.Duration
	// Now is what letters are dated by; nil means time.Now.
	Now func() time.Time
}

// Server sends letters. It is safe for concurrent use; every letter has a
// connection of its own.
type Server struct{ Settings }

// New checks the settings. It connects to nothing.
func New(s Settings) (*Server, error) {
	switch {
	case s.Host == "" || s.Port <= 0 || s.From == "":
		return nil, errors.New("mail: a server, a port and an address to send from are needed")
	case s.Security != StartTLS && s.Security != TLS && s.Security != Plain:
		return nil, fmt.Errorf("mail: %q is no kind of security: use %s, %s or %s", s.Security, StartTLS, TLS, Plain)
	case s.Security == Plain && !loopback(s.Host):
		return nil, fmt.Errorf("mail: letters and passwords would cross the network to %s in the open: use %s or %s", s.Host, StartTLS, TLS)
	case s.User != "" && s.Password == nil:
		return nil, errors.New("mail: a user without a password")
	}
	if s.Timeout <= 0 {
		s.Timeout = 20 * time.Second
	}
	if s.Now == nil {
		s.Now = time.Now
	}
	s.PublicURL = strings.TrimRight(s.PublicURL, "/")
	return &Server{s}, nil
}

// loopback reports whether a host is this very computer.
func loopback(host string) bool {
	a, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && a.IsLoopback()
}

// Link makes the address of a page from its path.
func (s *Server) Link(path string) string { return s.PublicURL + path }

// tlsConfig is how the server's certificate is checked.
func (s *Server) tlsConfig() *tls.Config {
	return &tls.Config{MinVersion: tls.VersionTLS12, ServerName: s.Host, RootCAs: s.RootCAs}
}

// logins are the ways to log in, the best first. In the open only those count
// that are marked so; New sees to it that this is on one computer.
var logins = []library.SMTPAuthType{
	library.SMTPAuthSCRAMSHA256, library.SMTPAuthPlain, library.SMTPAuthLogin, library.SMTPAuthCramMD5,
}

var loginsInTheOpen = []library.SMTPAuthType{
	library.SMTPAuthSCRAMSHA256, library.SMTPAuthCramMD5, library.SMTPAuthPlainNoEnc, library.SMTPAuthLoginNoEnc,
}

// client makes the library's client. dial makes its one connection.
func (s *Server) client(dial library.DialContextFunc) (*library.Client, error) {
	options := []library.Option{
		library.WithPort(s.Port), library.WithTimeout(s.Timeout), library.WithTLSConfig(s.tlsConfig()),
		library.WithDialContextFunc(dial), library.WithoutNoop(), library.WithoutSMTPUTF8(),
	}
	ways := logins
	switch s.Security {
	case StartTLS:
		options = append(options, library.WithTLSPolicy(library.TLSMandatory))
	case TLS:
		options = append(options, library.WithSSL())
	case Plain:
		options, ways = append(options, library.WithTLSPolicy(library.NoTLS)), loginsInTheOpen
	}
	if s.User != "" {
		options = append(options, library.WithUsername(s.User), library.WithPassword(s.Password()), library.WithOpportunisticSMTPAuth(ways...))
	}
	if name := s.ownName(); name != "" {
		options = append(options, library.WithHELO(name))
	}
	return library.NewClient(s.Host, options...)
}

// ownName is what this computer calls itself to the server: the name that
// browsers know it by, where that is a full one (RFC 5321 section 4.1.4).
func (s *Server) ownName() string {
	u, err := url.Parse(s.PublicURL)
	if err != nil || net.ParseIP(u.Hostname()) != nil || !strings.Contains(u.Hostname(), ".") {
		return ""
	}
	return u.Hostname()
}
