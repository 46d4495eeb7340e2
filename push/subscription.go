package push

import (
	"crypto/ecdh"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"net/url"
	"strings"

	"drumturn/coordinator"
)

// DefaultHosts are the push services of the browsers in use (from memory).
// An entry is a host name; one that begins with a dot stands for every name
// below it; one with a port allows that port instead of 443.
func DefaultHosts() []string {
	return []string{
		"fcm.googleapis.com", "jmt17.google.com",
		"updates.push.services.mozilla.com", ".push.services.mozilla.com",
		".notify.windows.com", ".push.apple.com",
	}
}

const longestEndpoint = 2048

// ValidateSubscription checks what a browser posts ({endpoint, keys: {p256dh,
// auth}}) and returns it in one canonical form, without Person and Made. The
// endpoint must be https at an allowed host (see DefaultHosts), p256dh a point
// on P-256 in uncompressed form (65 octets), auth 16 octets; both base64url,
// padded or not. Errors are *coordinator.Error with code Invalid.
func ValidateSubscription(endpoint, p256dh, auth string, hosts []string) (coordinator.Subscription, error) {
	var none coordinator.Subscription
	u, err := parseEndpoint(endpoint, hosts)
	if err != nil {
		return none, coordinator.Refuse(coordinator.Invalid, "push.endpoint", "This browser's push address cannot be used: {why}.", "why", err)
	}
	point, err := decodeKey(p256dh, 65)
	if err == nil {
		_, err = ecdh.P256().NewPublicKey(point) // the uncompressed form only, and on the curve
	}
	if err != nil {
		return none, coordinator.Refuse(coordinator.Invalid, "push.p256dh", "This browser's push key (p256dh) cannot be used: {why}.", "why", err)
	}
	secret, err := decodeKey(auth, 16)
	if err != nil {
		return none, coordinator.Refuse(coordinator.Invalid, "push.auth", "This browser's push secret (auth) cannot be used: {why}.", "why", err)
	}
	return coordinator.Subscription{
		ID:       endpointID(u),
		Endpoint: u.String(),
		P256dh:   base64.RawURLEncoding.EncodeToString(point),
		Auth:     base64.RawURLEncoding.EncodeToString(secret),
	}, nil
}

// SubscriptionID is the id of the subscription with this endpoint, for a
// browser that unsubscribes. It is the same for every spelling of the endpoint
// that ValidateSubscription takes for the same.
func SubscriptionID(endpoint string) string {
	u, err := url.Parse(endpoint)
	if err != nil {
		u = &url.URL{Opaque: endpoint}
	}
	canonical(u)
	return endpointID(u)
}

func endpointID(u *url.URL) string {
	sum := sha256.Sum256([]byte(u.String()))
	return base64.RawURLEncoding.EncodeToString(sum[:16])
}

// canonical makes the host lower case and drops the port that https implies,
// because the signed audience must be the origin (RFC 8292 section 2) as the
// push service writes it.
func canonical(u *url.URL) {
	u.Host = strings.ToLower(u.Host)
	if u.Scheme == "https" {
		u.Host = strings.TrimSuffix(u.Host, ":443")
	}
}

func parseEndpoint(endpoint string, hosts []string) (*url.URL, error) {
	if len(endpoint) > longestEndpoint {
		return nil, fmt.Errorf("it is longer than %d characters", longestEndpoint)
	}
	u, err := url.Parse(endpoint)
	switch {
	case err != nil || u.Opaque != "" || u.Host == "":
		return nil, errors.New("it is not a web address") // the parser's error would repeat the secret path
	case u.Scheme != "https":
		return nil, errors.New("it must begin with https://")
	case u.User != nil:
		return nil, errors.New("it must not contain a user name")
	case u.Fragment != "" || strings.Contains(endpoint, "#"):
		return nil, errors.New("it must not contain a #")
	}
	canonical(u)
	if strings.HasSuffix(u.Host, ":") {
		return nil, errors.New("its port is missing")
	}
	if !allowedHost(u.Host, hosts) {
		return nil, fmt.Errorf("%q is not on the building's list of push services", u.Host)
	}
	return u, nil
}

// allowedHost compares host (with its port unless that is 443) with the list.
func allowedHost(host string, hosts []string) bool {
	for _, allowed := range hosts {
		allowed = strings.TrimSuffix(strings.ToLower(allowed), ":443")
		if allowed == "" || allowed == "." {
			continue
		}
		if !strings.HasPrefix(allowed, ".") {
			if host == allowed {
				return true
			}
			continue
		}
		if below, ok := strings.CutSuffix(host, allowed); ok && plainLabels(below) {
			return true
		}
	}
	return false
}

// plainLabels reports whether s is one or more labels of a host name.
func plainLabels(s string) bool {
	for label := range strings.SplitSeq(s, ".") {
		if label == "" || len(label) > 63 {
			return false
		}
		for _, c := range label {
			if c != '-' && c != '_' && (c < '0' || c > '9') && (c < 'a' || c > 'z') {
				return false
			}
		}
	}
	return true
}

// decodeKey reads base64url, padded or not, of exactly size octets.
func decodeKey(text string, size int) ([]byte, error) {
	data, err := base64.RawURLEncoding.Strict().DecodeString(strings.TrimRight(text, "="))
	if err != nil || strings.ContainsAny(text, "\r\n") { // which the decoder would skip
		return nil, errors.New("it is not base64url")
	}
	if len(data) != size {
		return nil, fmt.Errorf("it has %d octets and must have %d", len(data), size)
	}
	return data, nil
}
