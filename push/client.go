package push

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"syscall"
	"time"

	"drumturn/coordinator"
)

// sendTimeout is how long one exchange with a push service may take.
const sendTimeout = 10 * time.Second

// mailTimeout is how long the mail server may take: it may look for harm in a
// letter before it takes it.
const mailTimeout = time.Minute

func timeoutFor(device coordinator.Subscription) time.Duration {
	if byMail(device) {
		return mailTimeout
	}
	return sendTimeout
}

// ErrAddress is wrapped by the error of a connection that was refused because
// the service's name leads to an address that is not public.
var ErrAddress = errors.New("the service's address is not a public one")

// ClientOptions change NewClient for tests and for houses with a push service of their own.
type ClientOptions struct {
	// AllowPrivate lets it connect to private and loopback addresses too.
	AllowPrivate bool
	// RootCAs are the authorities to trust; nil means those of the system.
	RootCAs *x509.CertPool
	// Resolver looks names up; nil means that of the system.
	Resolver *net.Resolver
}

// NewClient makes the HTTP client for push services. Endpoints come from
// users, so it refuses every address that is not public, whatever a name
// resolves to at the instant of connecting; it follows no redirect, uses no
// proxy, and gives up after 10 seconds.
func NewClient(o ClientOptions) *http.Client { return newClient(o, IsPublic) }

// newClient is NewClient with another notion of which addresses are public.
func newClient(o ClientOptions, public func(netip.Addr) bool) *http.Client {
	dialer := &net.Dialer{Timeout: sendTimeout / 2, KeepAlive: 30 * time.Second, Resolver: o.Resolver}
	if !o.AllowPrivate {
		dialer.ControlContext = only(public)
	}
	return &http.Client{
		Timeout:       sendTimeout,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{
			Proxy:                  nil,
			DialContext:            dialer.DialContext,
			TLSClientConfig:        &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: o.RootCAs},
			TLSHandshakeTimeout:    sendTimeout / 2,
			ForceAttemptHTTP2:      true,
			MaxIdleConnsPerHost:    4,
			IdleConnTimeout:        90 * time.Second,
			MaxResponseHeaderBytes: 16 << 10,
		},
	}
}

// only makes a check that runs after the name was resolved and before the
// connection is made, so that a name which changes its address gains nothing.
func only(public func(netip.Addr) bool) func(context.Context, string, string, syscall.RawConn) error {
	return func(_ context.Context, network, address string, _ syscall.RawConn) error {
		return checkAddress(network, address, public)
	}
}

func checkAddress(network, address string, public func(netip.Addr) bool) error {
	if network != "tcp4" && network != "tcp6" {
		return fmt.Errorf("%w: network %s", ErrAddress, network)
	}
	at, err := netip.ParseAddrPort(address)
	if err != nil {
		return fmt.Errorf("%w: %s", ErrAddress, address)
	}
	if !public(at.Addr()) {
		return fmt.Errorf("%w: %s", ErrAddress, at.Addr())
	}
	return nil
}

// notPublic are the special-purpose blocks of the IANA registries (RFC 6890 and
// its updates) that are not globally reachable, or lead to another address.
var notPublic = prefixes(
	"0.0.0.0/8", "10.0.0.0/8", "100.64.0.0/10", "127.0.0.0/8", "169.254.0.0/16",
	"172.16.0.0/12", "192.0.0.0/24", "192.0.2.0/24", "192.88.99.0/24", "192.168.0.0/16",
	"198.18.0.0/15", "198.51.100.0/24", "203.0.113.0/24", "224.0.0.0/4", "240.0.0.0/4",
	"2001::/23", "2001:db8::/32", "2002::/16", "3fff::/20",
)

var (
	globalUnicast = netip.MustParsePrefix("2000::/3")
	nat64         = netip.MustParsePrefix("64:ff9b::/96") // RFC 6052: an IPv4 address in its last 4 octets
)

func prefixes(texts ...string) []netip.Prefix {
	out := make([]netip.Prefix, len(texts))
	for i, t := range texts {
		out[i] = netip.MustParsePrefix(t)
	}
	return out
}

// IsPublic reports whether a is an address of the open internet. For IPv6 only
// the global unicast block counts, and NAT64 for a public IPv4 address.
func IsPublic(a netip.Addr) bool {
	if !a.IsValid() || a.Zone() != "" {
		return false
	}
	a = a.Unmap()
	if nat64.Contains(a) {
		octets := a.As16()
		a = netip.AddrFrom4([4]byte(octets[12:]))
	}
	if a.Is6() && !globalUnicast.Contains(a) {
		return false
	}
	for _, p := range notPublic {
		if p.Contains(a) {
			return false
		}
	}
	return true
}
