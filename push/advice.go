package push

import (
	"maps"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"time"
)

// Setup is what the building file says about being reached.
type Setup struct {
	// PublicURL is the address that residents open; may be empty.
	PublicURL string
	// TLS is how the program itself serves: "off", "files" or "acme".
	TLS     string
	Subject string
	// Hosts are the allowed push services, as in DefaultHosts.
	Hosts []string
}

// Probes are what was tried. What could not be tried is left at its zero value.
type Probes struct {
	At time.Time
	// Resolved: the public name was looked up, with this outcome.
	Resolved   bool
	Addresses  []netip.Addr
	ResolveErr error
	// Connected: the certificate at the public address was checked.
	Connected   bool
	CertErr     error
	CertExpires time.Time
	// Outbound is what came of connecting to each push service; nil is success.
	Outbound map[string]error
}

// Advice says whether push can work, and what to do where it cannot. It depends
// on its arguments only.
func Advice(s Setup, p Probes) []Finding {
	findings := []Finding{adviseAddress(s)}
	if p.Resolved {
		findings = append(findings, adviseName(p))
	}
	if p.Connected {
		findings = append(findings, adviseCertificate(s, p))
	}
	if len(p.Outbound) > 0 {
		findings = append(findings, adviseOutbound(p))
	}
	return append(findings, adviseSubject(s), Finding{Level: OK, Found: WithoutPush})
}

// publicHost is the host of an https address with a real name, or what is wrong.
func publicHost(address string) (host string, wrong Found) {
	u, err := url.Parse(address)
	switch {
	case address == "":
		return "", AddressMissing
	case err != nil || u.Hostname() == "":
		return "", AddressInvalid
	case u.Scheme != "https":
		return "", AddressHTTP
	}
	if _, err := netip.ParseAddr(u.Hostname()); err == nil {
		return "", AddressNumber
	}
	if !realDomain(u.Hostname()) {
		return u.Hostname(), AddressInside
	}
	return u.Hostname(), ""
}

func adviseAddress(s Setup) Finding {
	if u, err := url.Parse(s.PublicURL); err == nil && isLocalhost(u.Hostname()) {
		return Finding{Level: Warn, Found: AddressHere, Remedy: GetHTTPS, Value: s.PublicURL}
	}
	host, wrong := publicHost(s.PublicURL)
	switch {
	case wrong == AddressInside:
		return Finding{Level: Bad, Found: wrong, Remedy: GetHTTPS, Value: host}
	case wrong != "":
		return Finding{Level: Bad, Found: wrong, Remedy: GetHTTPS, Value: s.PublicURL}
	case s.TLS == "off":
		return Finding{Level: OK, Found: AddressProxied, Value: s.PublicURL}
	}
	return Finding{Level: OK, Found: AddressRight, Value: s.PublicURL}
}

func isLocalhost(host string) bool {
	a, err := netip.ParseAddr(host)
	return host == "localhost" || strings.HasSuffix(host, ".localhost") || (err == nil && a.IsLoopback())
}

func adviseName(p Probes) Finding {
	inside := func(a netip.Addr) bool { return !IsPublic(a) }
	switch {
	case p.ResolveErr != nil:
		return Finding{Level: Bad, Found: NameUnknown, Remedy: AddName, Error: reason(p.ResolveErr)}
	case len(p.Addresses) == 0:
		return Finding{Level: Bad, Found: NameEmpty, Remedy: AddName}
	case slices.ContainsFunc(p.Addresses, netip.Addr.IsLoopback):
		return Finding{Level: Bad, Found: NameLoopback, Remedy: PointHome}
	case slices.ContainsFunc(p.Addresses, inside):
		return Finding{Level: Warn, Found: NameInside, Remedy: EnoughInside}
	}
	return Finding{Level: OK, Found: NameRight}
}

func adviseCertificate(s Setup, p Probes) Finding {
	const soon = 14 * 24 * time.Hour
	switch {
	case p.CertErr != nil:
		return Finding{Level: Bad, Found: CertificateBad, Remedy: CheckCertificate, Error: reason(p.CertErr)}
	case p.CertExpires.Sub(p.At) < soon:
		return Finding{Level: Warn, Found: CertificateEnds, Remedy: renewal(s.TLS), Ends: p.CertExpires}
	}
	return Finding{Level: OK, Found: CertificateRight}
}

// renewal is who renews the certificate.
func renewal(tls string) Remedy {
	switch tls {
	case "acme":
		return RenewByItself
	case "off":
		return RenewAtProxy
	}
	return RenewFiles
}

func adviseOutbound(p Probes) Finding {
	f := Finding{Level: OK, Found: OutRight}
	for _, host := range slices.Sorted(maps.Keys(p.Outbound)) {
		if err := p.Outbound[host]; err != nil {
			f = Finding{Level: Warn, Found: OutSome, Remedy: OpenOutwards, Unreached: append(f.Unreached, Unreached{host, reason(err)})}
		}
	}
	if len(f.Unreached) == len(p.Outbound) {
		f.Level, f.Found = Bad, OutNone
	}
	return f
}

func adviseSubject(s Setup) Finding {
	if wrong := subjectTrouble(s.Subject); wrong != "" {
		return Finding{Level: Bad, Found: wrong, Remedy: SetSubject, Value: s.Subject}
	}
	return Finding{Level: OK, Found: SubjectRight, Value: s.Subject}
}

func reason(err error) string { return cut(tidy(err.Error()), longestError) }
