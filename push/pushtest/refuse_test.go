package pushtest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"strings"
	"testing"
	"time"
)

// signed is an Authorization header by a fresh key, as RFC 8292 section 3 has it.
func signed(t *testing.T, head, claims string) string {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	raw := base64.RawURLEncoding
	text := raw.EncodeToString([]byte(head)) + "." + raw.EncodeToString([]byte(claims))
	digest := sha256.Sum256([]byte(text))
	r, s, err := ecdsa.Sign(rand.Reader, key, digest[:])
	if err != nil {
		t.Fatal(err)
	}
	signature := make([]byte, 64)
	r.FillBytes(signature[:32])
	s.FillBytes(signature[32:])
	public, err := key.PublicKey.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	return "vapid t=" + text + "." + raw.EncodeToString(signature) + ", k=" + raw.EncodeToString(public)
}

// TestVerifyVAPIDRefuses: each rule of RFC 8292 has a token that breaks it alone.
func TestVerifyVAPIDRefuses(t *testing.T) {
	const head = `{"typ":"JWT","alg":"ES256"}`
	now := time.Unix(1_800_000_000, 0)
	const endpoint = "https://push.example:8443/p/1"
	good := signed(t, head, `{"aud":"https://push.example:8443","exp":1800003600,"sub":"mailto:a@b.example"}`)
	if claims, key, err := VerifyVAPID(good, endpoint, now); err != nil || key == "" || claims.Expires != 1800003600 {
		t.Fatalf("a right one was refused: %v", err)
	}
	for what, c := range map[string]struct{ authorization, says string }{
		"no scheme":            {"", "scheme"},
		"another scheme":       {strings.Replace(good, "vapid", "WebPush", 1), "scheme"},
		"no k (3)":             {good[:strings.Index(good, ",")], "missing"},
		"no t (3)":             {"vapid " + good[strings.Index(good, "k="):], "missing"},
		"two parts":            {strings.Replace(good, ".", "", 1), "three parts"},
		"another algorithm":    {signed(t, `{"alg":"none"}`, `{}`), "algorithm"},
		"another type":         {signed(t, `{"typ":"JWE","alg":"ES256"}`, `{}`), "type"},
		"k is no point":        {good[:strings.Index(good, "k=")] + "k=AAAA", "k:"},
		"changed claims":       {strings.Replace(good, ".ey", ".ez", 1), "signature is wrong"},
		"another audience (2)": {signed(t, head, `{"aud":"https://push.example","exp":1800003600,"sub":"mailto:a@b.example"}`), "audience"},
		"expired (2)":          {signed(t, head, `{"aud":"https://push.example:8443","exp":1800000000,"sub":"mailto:a@b.example"}`), "expires"},
		"over a day (2)":       {signed(t, head, `{"aud":"https://push.example:8443","exp":1800086401,"sub":"mailto:a@b.example"}`), "expires"},
		"no contact (2.1)":     {signed(t, head, `{"aud":"https://push.example:8443","exp":1800003600}`), "subject"},
		"two addresses":        {signed(t, head, `{"aud":"https://push.example:8443","exp":1800003600,"sub":"mailto:a@b@c"}`), "subject"},
		"mailto twice":         {signed(t, head, `{"aud":"https://push.example:8443","exp":1800003600,"sub":"mailto:mailto:a@b"}`), "subject"},
	} {
		if _, _, err := VerifyVAPID(c.authorization, endpoint, now); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", what, err)
		}
	}
	day := signed(t, head, `{"aud":"https://push.example:8443","exp":1800086400,"sub":"https://b.example"}`)
	if _, _, err := VerifyVAPID(day, endpoint, now); err != nil {
		t.Errorf("a day ahead with a page as contact: %v", err)
	}
}

// TestOrigin: RFC 6454 section 6.2; the standard port is left out, the host is in lower case.
func TestOrigin(t *testing.T) {
	for url, want := range map[string]string{
		"https://Push.Example/x?y":       "https://push.example",
		"https://push.example:443/x":     "https://push.example",
		"https://push.example:4430/x":    "https://push.example:4430",
		"https://[2001:DB8::1]:8443/p/1": "https://[2001:db8::1]:8443",
		"https://push.example:bad/":      "",
	} {
		if got := Origin(url); got != want {
			t.Errorf("%s has the origin %q, want %q", url, got, want)
		}
	}
}

// TestHeadersCutShort: a body that ends anywhere within its header (RFC 8188
// section 2.1) is refused and does not panic.
func TestHeadersCutShort(t *testing.T) {
	body := b64(t, rfc8291Body)
	if h, err := parseHeader(body); err != nil || len(h.keyID) != 65 || h.recordSize != 4096 {
		t.Fatalf("%+v, %v", h, err)
	}
	for n := range 21 + 65 {
		if _, err := parseHeader(body[:n]); err == nil {
			t.Errorf("%d octets are a header", n)
		}
	}
	small := append([]byte(nil), body...)
	copy(small[16:20], []byte{0, 0, 0, 17})
	if _, err := parseHeader(small); err == nil || !strings.Contains(err.Error(), "under 18") {
		t.Errorf("a record size of 17: %v", err)
	}
}
