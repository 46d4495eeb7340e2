package hooks

import (
	"net/netip"
	"net/url"
	"strings"

	"drumturn/coordinator"
	"drumturn/push"
)

// CheckURL refuses addresses that events cannot be posted to: what does not begin
// with https://, has a user or a fragment in it, or names an address that is not
// public. A name's address is looked at when a connection is made.
func CheckURL(address string) error {
	u, err := url.Parse(address)
	bad := err != nil || u.Scheme != "https" || u.Hostname() == "" || u.User != nil || u.Fragment != "" || strings.ContainsAny(address, " \t\r\n")
	if !bad {
		at, err := netip.ParseAddr(u.Hostname())
		bad = err == nil && !push.IsPublic(at) || u.Hostname() == "localhost" || strings.HasSuffix(u.Hostname(), ".localhost")
	}
	if bad {
		return coordinator.Refuse(coordinator.Invalid, "webhook.address",
			"Events can be posted to addresses that begin with https:// and are public only, without a user name or a “#” in them.")
	}
	return nil
}
