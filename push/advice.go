package push

import (
	"fmt"
	"maps"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"time"
)

// Level says how bad a finding is.
type Level string

// The levels. Push cannot work while there is a bad finding.
const (
	OK   Level = "ok"
	Warn Level = "warn"
	Bad  Level = "bad"
)

// Finding is one answer to "can push work here?".
type Finding struct {
	Level Level
	// About is the thing that was looked at, in two or three words.
	About string
	// Text says what was found, Do what to do about it (empty when all is well).
	Text, Do string
}

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

// Without a public address, these are the ways to https that work in a cellar.
const cellarWays = "Phones allow notices only on pages with https and a certificate that they trust; a machine in a cellar can have one " +
	"without being reachable from outside. Either (1) put a reverse proxy that already has a public name in front and set " +
	"the public address to it, or (2) take a name in a domain of yours, let it point to this machine's address in the " +
	"house, get a certificate by the DNS challenge (no open port is needed), and give the program its files. A certificate " +
	"of your own making would have to be installed on every phone."

// worksAnyway is the last finding: what does not depend on push.
var worksAnyway = Finding{OK, "without notices", "The board, the wall screen and every page work without notices; only messages to the phones need the above.", ""}

// Works reports whether no finding stands in the way of push.
func Works(findings []Finding) bool {
	return !slices.ContainsFunc(findings, func(f Finding) bool { return f.Level == Bad })
}

// Advice says in words whether push can work, and what to do where it cannot.
// It depends on its arguments only.
func Advice(s Setup, p Probes) []Finding {
	findings := []Finding{adviseAddress(s)}
	if p.Resolved {
		findings = append(findings, adviseName(p))
	}
	if p.Connected {
		findings = append(findings, adviseCertificate(s, p))
	}
	findings = append(findings, adviseOutbound(p)...)
	findings = append(findings, adviseSubject(s))
	return append(findings, worksAnyway)
}

// publicHost is the host of an https address with a real name, or a reason why not.
func publicHost(address string) (host, wrong string) {
	u, err := url.Parse(address)
	switch {
	case address == "":
		return "", "No public address is set."
	case err != nil || u.Hostname() == "":
		return "", fmt.Sprintf("The public address %q is no web address.", address)
	case u.Scheme != "https":
		return "", fmt.Sprintf("The public address %s does not begin with https://.", address)
	}
	if _, err := netip.ParseAddr(u.Hostname()); err == nil {
		return "", fmt.Sprintf("The public address %s is a number, and certificates that phones trust are for names.", address)
	}
	if !realDomain(u.Hostname()) {
		return "", fmt.Sprintf("The name %s in the public address exists only inside the house, so no trusted certificate can be had for it.", u.Hostname())
	}
	return u.Hostname(), ""
}

func adviseAddress(s Setup) Finding {
	const about = "public address"
	if u, err := url.Parse(s.PublicURL); err == nil && isLocalhost(u.Hostname()) {
		return Finding{Warn, about, s.PublicURL + " can be opened on this machine only. Notices can be tried out on it, and reach nobody else.", cellarWays}
	}
	if _, wrong := publicHost(s.PublicURL); wrong != "" {
		return Finding{Bad, about, wrong, cellarWays}
	}
	if s.TLS == "off" {
		return Finding{OK, about, s.PublicURL + " is https. The program itself speaks plain http, so a reverse proxy has to stand in front of it.", ""}
	}
	return Finding{OK, about, s.PublicURL + " is https.", ""}
}

func isLocalhost(host string) bool {
	a, err := netip.ParseAddr(host)
	return host == "localhost" || strings.HasSuffix(host, ".localhost") || (err == nil && a.IsLoopback())
}

func adviseName(p Probes) Finding {
	const about = "name"
	inside := func(a netip.Addr) bool { return !IsPublic(a) }
	switch {
	case p.ResolveErr != nil || len(p.Addresses) == 0:
		return Finding{Bad, about, fmt.Sprintf("The name in the public address cannot be found (%s).", reason(p.ResolveErr, "it has no address")),
			"Add an entry for it where your domain's names are kept; a new entry can take some hours."}
	case slices.ContainsFunc(p.Addresses, netip.Addr.IsLoopback):
		return Finding{Bad, about, "The name in the public address leads back to the phone itself (a loopback address).", "Let it point to this machine's address in the house's network."}
	case slices.ContainsFunc(p.Addresses, inside):
		return Finding{Warn, about, "The name leads to an address inside the house. Notices arrive everywhere, but the pages open only in the house's network.",
			"That is enough if the residents' phones use the house's network. Otherwise put a reverse proxy with a public address in front."}
	}
	return Finding{OK, about, "The name in the public address is found.", ""}
}

func adviseCertificate(s Setup, p Probes) Finding {
	const about = "certificate"
	const soon = 14 * 24 * time.Hour
	renew := map[string]string{
		"acme": "The program renews it by itself; look into the log for why it could not.",
		"off":  "Renew it at the reverse proxy.",
	}[s.TLS]
	if renew == "" {
		renew = "Renew the certificate's files."
	}
	switch {
	case p.CertErr != nil:
		return Finding{Bad, about, fmt.Sprintf("No trusted https connection to the public address (%s).", reason(p.CertErr, "")),
			"Check that the address leads to this program or its reverse proxy, and that the certificate is for that name, in date, and complete with its intermediate certificates. " + cellarWays}
	case p.CertExpires.Sub(p.At) < soon:
		return Finding{Warn, about, "The certificate is trusted, but runs out on " + p.CertExpires.UTC().Format("2 January 2006") + ".", renew}
	}
	return Finding{OK, about, "The certificate is trusted.", ""}
}

func adviseOutbound(p Probes) []Finding {
	const about = "way out"
	if len(p.Outbound) == 0 {
		return nil
	}
	var failed []string
	for _, host := range slices.Sorted(maps.Keys(p.Outbound)) {
		if err := p.Outbound[host]; err != nil {
			failed = append(failed, fmt.Sprintf("%s (%s)", host, reason(err, "")))
		}
	}
	const do = "Let this machine make connections to port 443 outside; nothing has to be opened inwards."
	switch len(failed) {
	case 0:
		return []Finding{{OK, about, "The push services can be reached.", ""}}
	case len(p.Outbound):
		return []Finding{{Bad, about, "No push service can be reached: " + strings.Join(failed, ", ") + ".", do}}
	}
	return []Finding{{Warn, about, "Some push services cannot be reached, so phones that use them are not told: " + strings.Join(failed, ", ") + ".", do}}
}

func adviseSubject(s Setup) Finding {
	const about = "push subject"
	if err := ValidateSubject(s.Subject); err != nil {
		return Finding{Bad, about, sentence(err.Error()), "Set it in the building file: push services write to it when something is wrong, and some refuse every message without."}
	}
	return Finding{OK, about, "The push services are told to write to " + s.Subject + " when something is wrong.", ""}
}

func reason(err error, otherwise string) string {
	if err == nil {
		return otherwise
	}
	return cut(tidy(err.Error()), longestError)
}

// sentence gives a text a capital and a full stop.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + strings.TrimSuffix(s[1:], ".") + "."
}
