package pushtest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"math/big"
	"net/url"
	"strings"
	"time"
)

// Claims are what a VAPID token says, RFC 8292 section 2.
type Claims struct {
	Audience string `json:"aud"`
	Expires  int64  `json:"exp"` // Unix seconds
	Subject  string `json:"sub"`
}

// VerifyVAPID checks an Authorization header as RFC 8292 says: the scheme with
// t and k (section 3), an ES256 signature by k (section 2), the endpoint's
// origin as audience, and an expiry ahead of now by at most 24 hours (section
// 2). It also asks for a contact (section 2.1), which push services do in
// practice. It returns the claims and k.
func VerifyVAPID(authorization, endpoint string, now time.Time) (Claims, string, error) {
	token, key, err := splitAuthorization(authorization)
	if err != nil {
		return Claims{}, "", err
	}
	claims, err := verifyToken(token, key)
	if err != nil {
		return Claims{}, "", err
	}
	return claims, key, checkClaims(claims, endpoint, now)
}

func splitAuthorization(authorization string) (token, key string, err error) {
	scheme, rest, _ := strings.Cut(authorization, " ")
	if !strings.EqualFold(scheme, "vapid") {
		return "", "", fmt.Errorf("scheme %q is not vapid", scheme)
	}
	for param := range strings.SplitSeq(rest, ",") {
		name, value, _ := strings.Cut(strings.TrimSpace(param), "=")
		switch name {
		case "t":
			token = value
		case "k":
			key = value
		}
	}
	if token == "" || key == "" {
		return "", "", errors.New("t or k is missing")
	}
	return token, key, nil
}

// verifyToken checks the signature of a JSON Web Token (RFC 7515, 7518 section 3.4).
func verifyToken(token, key string) (claims Claims, err error) {
	parts := strings.Split(token, ".")
	if len(parts) != 3 {
		return claims, errors.New("the token has not three parts")
	}
	var head struct{ Alg, Typ string }
	if err := decodePart(parts[0], &head); err != nil {
		return claims, fmt.Errorf("header: %w", err)
	}
	if head.Alg != "ES256" || (head.Typ != "" && head.Typ != "JWT") {
		return claims, fmt.Errorf("algorithm %q, type %q", head.Alg, head.Typ)
	}
	point, err := base64.RawURLEncoding.DecodeString(key)
	if err != nil {
		return claims, fmt.Errorf("k: %w", err)
	}
	public, err := ecdsa.ParseUncompressedPublicKey(elliptic.P256(), point)
	if err != nil {
		return claims, fmt.Errorf("k: %w", err)
	}
	signature, err := base64.RawURLEncoding.DecodeString(parts[2])
	if err != nil || len(signature) != 64 {
		return claims, errors.New("the signature is not 64 octets of base64url")
	}
	digest := sha256.Sum256([]byte(parts[0] + "." + parts[1]))
	r, s := new(big.Int).SetBytes(signature[:32]), new(big.Int).SetBytes(signature[32:])
	if !ecdsa.Verify(public, digest[:], r, s) {
		return claims, errors.New("the signature is wrong")
	}
	return claims, decodePart(parts[1], &claims)
}

func decodePart(part string, v any) error {
	data, err := base64.RawURLEncoding.DecodeString(part)
	if err != nil {
		return err
	}
	return json.Unmarshal(data, v)
}

func checkClaims(c Claims, endpoint string, now time.Time) error {
	if want := Origin(endpoint); c.Audience != want {
		return fmt.Errorf("the audience is %q and must be %q", c.Audience, want)
	}
	left := time.Unix(c.Expires, 0).Sub(now)
	if left <= 0 || left > 24*time.Hour {
		return fmt.Errorf("it expires %v from now", left)
	}
	if strings.HasPrefix(c.Subject, "https://") {
		return nil
	}
	address, ok := strings.CutPrefix(c.Subject, "mailto:")
	if !ok || strings.Contains(address, ":") || strings.Count(address, "@") != 1 {
		return fmt.Errorf("the subject is %q", c.Subject)
	}
	return nil
}

// Origin is the ASCII serialisation of an https URL's origin (RFC 6454 section 6.2).
func Origin(endpoint string) string {
	u, err := url.Parse(endpoint)
	if err != nil {
		return ""
	}
	return "https://" + strings.TrimSuffix(strings.ToLower(u.Host), ":443")
}
