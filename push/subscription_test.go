package push

import (
	"encoding/base64"
	"errors"
	"net/url"
	"strings"
	"testing"

	"drumturn/coordinator"
)

// The keys of RFC 8291 section 5: a point on P-256 and 16 octets.
const (
	rfc8291UAPublic = "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"
	rfc8291Auth     = "BTBZMqHH6r4Tts7J_aSIgg"
)

var testHosts = []string{"push.example.net", ".wide.example.org", "127.0.0.1:8443", "PORT.example.net:8443", "", ".", "default.example.net:443"}

func TestValidateSubscription(t *testing.T) {
	s, err := ValidateSubscription("https://Push.example.net:443/p/AbC?x=1", rfc8291UAPublic+"=", rfc8291Auth+"==", testHosts)
	want := coordinator.Subscription{
		ID: SubscriptionID("https://push.example.net/p/AbC?x=1"), Endpoint: "https://push.example.net/p/AbC?x=1",
		P256dh: rfc8291UAPublic, Auth: rfc8291Auth,
	}
	if err != nil || s != want {
		t.Fatalf("%+v, %v", s, err)
	}
	if SubscriptionID("https://push.example.net/p/abc?x=1") == s.ID {
		t.Error("another path has the same id")
	}
	if SubscriptionID("https://PUSH.example.net:443/p/AbC?x=1") != s.ID {
		t.Error("another spelling has another id")
	}
}

func TestEndpoints(t *testing.T) {
	for endpoint, wrong := range map[string]string{
		"https://push.example.net/p/1":                          "",
		"https://push.example.net:443/p/1":                      "",
		"https://default.example.net/p/1":                       "",
		"https://a.wide.example.org/p/1":                        "",
		"https://a.b-c.wide.example.org/p/1":                    "",
		"https://127.0.0.1:8443/p/1":                            "",
		"https://port.example.net:8443/p/1":                     "",
		"http://push.example.net/p/1":                           "https://",
		"file:///etc/passwd":                                    "not a web address",
		"push.example.net/p/1":                                  "not a web address",
		"//push.example.net/p":                                  "https://",
		"https:push.example.net/p":                              "not a web address",
		"":                                                      "not a web address",
		"https://":                                              "not a web address",
		"https://push.example.net\n/p":                          "not a web address",
		"https://user@push.example.net/p/1":                     "user name",
		"https://push.example.net@evil.example/p":               "user name",
		"https://push.example.net/p#x":                          "#",
		"https://push.example.net/p#":                           "#",
		"https://push.example.net:8443/p/1":                     "list",
		"https://push.example.net:/p/1":                         "port is missing",
		"https://push.example.net./p/1":                         "list",
		"https://port.example.net/p/1":                          "list",
		"https://127.0.0.1/p":                                   "list",
		"https://127.0.0.1:8444/p":                              "list",
		"https://[::1]/p":                                       "list",
		"https://[::ffff:127.0.0.1]:8443/p":                     "list",
		"https://wide.example.org/p":                            "list", // the suffix stands for names below it
		"https://evilwide.example.org/p":                        "list",
		"https://a..wide.example.org/p":                         "list",
		"https://.wide.example.org/p":                           "list",
		"https://wide.example.org.evil.example/p":               "list",
		"https://evil.example/.wide.example.org/":               "list", // the allowed name in the path
		"https://evil.example?.wide.example.org":                "list",
		"https://evil.example/push.example.net":                 "list",
		"https://evil.example%2F.wide.example.org/p":            "not a web address",
		"https://evil.example\\.wide.example.org/p":             "not a web address",
		"https://пуш.wide.example.org/p":                        "list",
		"https://push.example.net/" + strings.Repeat("a", 3000): "longer",
	} {
		_, err := ValidateSubscription(endpoint, rfc8291UAPublic, rfc8291Auth, testHosts)
		if wrong == "" && err != nil || wrong != "" && (err == nil || !strings.Contains(err.Error(), wrong)) {
			t.Errorf("%q: %v, want %q", endpoint, err, wrong)
		}
	}
}

func TestSubscriptionKeys(t *testing.T) {
	point, err := base64.RawURLEncoding.DecodeString(rfc8291UAPublic)
	if err != nil {
		t.Fatal(err)
	}
	enc := base64.RawURLEncoding.EncodeToString
	off := append([]byte{}, point...)
	off[64] ^= 1
	compressed := append([]byte{2 + point[64]&1}, point[1:33]...)
	hybrid := append([]byte{6 + point[64]&1}, point[1:]...)
	for name, c := range map[string]struct{ p256dh, auth, key, wrong string }{
		"off the curve":    {enc(off), rfc8291Auth, "push.p256dh", "curve"},
		"compressed":       {enc(compressed), rfc8291Auth, "push.p256dh", "33 octets"},
		"hybrid form":      {enc(hybrid), rfc8291Auth, "push.p256dh", "cannot be used"},
		"the point at 0":   {enc(make([]byte, 65)), rfc8291Auth, "push.p256dh", "cannot be used"},
		"no key":           {"", rfc8291Auth, "push.p256dh", "0 octets"},
		"standard base64":  {base64.StdEncoding.EncodeToString(point), rfc8291Auth, "push.p256dh", "base64url"},
		"auth of 1 octet":  {rfc8291UAPublic, "AA", "push.auth", "1 octets and must have 16"},
		"auth of 17":       {rfc8291UAPublic, enc(make([]byte, 17)), "push.auth", "17 octets"},
		"no auth":          {rfc8291UAPublic, "", "push.auth", "0 octets"},
		"auth with a line": {rfc8291UAPublic, rfc8291Auth[:10] + "\n" + rfc8291Auth[10:], "push.auth", "base64url"},
	} {
		_, err := ValidateSubscription("https://push.example.net/1", c.p256dh, c.auth, testHosts)
		refusal, ok := errors.AsType[*coordinator.Error](err)
		if !ok || refusal.Code != coordinator.Invalid || refusal.Key != c.key || !strings.Contains(refusal.Text, c.wrong) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// The endpoint is a secret, so no message may repeat its path.
func TestSubscriptionErrorsHideThePath(t *testing.T) {
	for _, endpoint := range []string{"https://evil.example/sEcReT", "http://push.example.net/sEcReT", "https://push.example.net/sEcReT\x00"} {
		if _, err := ValidateSubscription(endpoint, rfc8291UAPublic, rfc8291Auth, testHosts); err == nil || strings.Contains(err.Error(), "sEcReT") {
			t.Errorf("%v", err)
		}
	}
}

func TestDefaultHostsTakeNames(t *testing.T) {
	for _, host := range DefaultHosts() {
		if strings.HasPrefix(host, ".") {
			host = "a" + host
		}
		if _, err := ValidateSubscription("https://"+host+"/x", rfc8291UAPublic, rfc8291Auth, DefaultHosts()); err != nil {
			t.Error(err)
		}
	}
}

func FuzzValidateSubscription(f *testing.F) {
	f.Add("https://push.example.net/p/1", rfc8291UAPublic, rfc8291Auth)
	f.Add("https://a.wide.example.org:443/p?x#y", rfc8291UAPublic+"=", rfc8291Auth+"==")
	f.Add("https://push.example.net@evil.example/.wide.example.org", "", "\n")
	f.Fuzz(func(t *testing.T, endpoint, p256dh, auth string) {
		s, err := ValidateSubscription(endpoint, p256dh, auth, testHosts)
		if err != nil {
			if s != (coordinator.Subscription{}) {
				t.Fatalf("an error and %+v", s)
			}
			return
		}
		u, err := url.Parse(s.Endpoint)
		if err != nil || u.Scheme != "https" || u.User != nil {
			t.Fatalf("let through %q", s.Endpoint)
		}
		host := u.Hostname()
		if host != "push.example.net" && host != "default.example.net" && !strings.HasSuffix(host, ".wide.example.org") &&
			u.Host != "127.0.0.1:8443" && u.Host != "port.example.net:8443" {
			t.Fatalf("let through the host %q", u.Host)
		}
		again, err := ValidateSubscription(s.Endpoint, s.P256dh, s.Auth, testHosts)
		if err != nil || again != s || s.ID != SubscriptionID(endpoint) {
			t.Fatalf("not canonical: %+v then %+v, %v", s, again, err)
		}
	})
}
