package push

import (
	"context"
	"crypto/tls"
	"net"
	"net/netip"
	"net/url"
	"strings"
	"sync"
	"time"
)

// Prober finds out what Advice needs to know. Its functions are those of the
// network unless a test replaces them.
type Prober struct {
	// Resolve looks a name up.
	Resolve func(ctx context.Context, host string) ([]netip.Addr, error)
	// Certificate makes a TLS connection to host and port, verifies the
	// certificate as a browser would, and gives its last day.
	Certificate func(ctx context.Context, host, port string) (expires time.Time, err error)
	// Timeout bounds each of the tries.
	Timeout time.Duration
}

// NewProber returns a prober for the network as it is.
func NewProber() *Prober {
	return &Prober{
		Resolve: func(ctx context.Context, host string) ([]netip.Addr, error) {
			return net.DefaultResolver.LookupNetIP(ctx, "ip", host)
		},
		Certificate: certificate,
		Timeout:     5 * time.Second,
	}
}

// certificate is Prober.Certificate on the real network.
func certificate(ctx context.Context, host, port string) (time.Time, error) {
	dialer := tls.Dialer{Config: &tls.Config{MinVersion: tls.VersionTLS12, ServerName: host}}
	conn, err := dialer.DialContext(ctx, "tcp", net.JoinHostPort(host, port))
	if err != nil {
		return time.Time{}, err
	}
	defer conn.Close()
	return conn.(*tls.Conn).ConnectionState().PeerCertificates[0].NotAfter, nil
}

// Probe tries what Setup makes worth trying, all at the same time, and is back
// after Timeout at the latest. now is when it is asked.
func (p *Prober) Probe(ctx context.Context, s Setup, now time.Time) Probes {
	ctx, cancel := context.WithTimeout(ctx, p.Timeout)
	defer cancel()
	out := Probes{At: now, Outbound: map[string]error{}}
	var mu sync.Mutex
	var wg sync.WaitGroup
	if host, wrong := publicHost(s.PublicURL); wrong == "" {
		wg.Go(func() { out.Resolved, out.Addresses, out.ResolveErr = p.resolve(ctx, host) })
		wg.Go(func() { out.Connected, out.CertExpires, out.CertErr = p.certificate(ctx, host, portOf(s.PublicURL)) })
	}
	for _, host := range s.Hosts {
		if strings.HasPrefix(host, ".") {
			continue // a whole domain has no one host to try
		}
		name, port, err := net.SplitHostPort(host)
		if err != nil {
			name, port = host, "443"
		}
		wg.Go(func() {
			_, err := p.Certificate(ctx, name, port)
			mu.Lock()
			defer mu.Unlock()
			out.Outbound[host] = err
		})
	}
	wg.Wait()
	return out
}

func (p *Prober) resolve(ctx context.Context, host string) (bool, []netip.Addr, error) {
	addresses, err := p.Resolve(ctx, host)
	return true, addresses, err
}

func (p *Prober) certificate(ctx context.Context, host, port string) (bool, time.Time, error) {
	expires, err := p.Certificate(ctx, host, port)
	return true, expires, err
}

// portOf is the port of an https address.
func portOf(address string) string {
	if u, err := url.Parse(address); err == nil && u.Port() != "" {
		return u.Port()
	}
	return "443"
}
