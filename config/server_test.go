package config_test

import (
	"strings"
	"testing"

	"drumturn/config"
)

func TestServerDefaults(t *testing.T) {
	for name, c := range map[string]struct{ server, listen, url, subject string }{
		"none":     {"", ":8080", "http://localhost:8080", ""},
		"empty":    {"[server]", ":8080", "http://localhost:8080", ""},
		"port":     {"[server]\nlisten = \"0.0.0.0:81\"", "0.0.0.0:81", "http://localhost:81", ""},
		"any port": {"[server]\nlisten = \"[::1]:0\"", "[::1]:0", "http://localhost:0", ""},
		"files":    {"[server]\ntls = \"files\"\ncert_file = \"cert.pem\"\nkey_file = \"key.pem\"", ":443", "https://localhost:443", ""},
		"acme": {"[server]\ntls = \"acme\"\npublic_url = \"https://laundry.weiher.org\"",
			":443", "https://laundry.weiher.org", "https://laundry.weiher.org"},
		"subject is an address": {"[server]\npublic_url = \"https://laundry.weiher.org\"\npush_subject = \"https://weiher.org/contact\"",
			":8080", "https://laundry.weiher.org", "https://weiher.org/contact"},
		"http has no subject": {"[server]\npublic_url = \"http://laundry.weiher.org\"", ":8080", "http://laundry.weiher.org", ""},
	} {
		t.Run(name, func(t *testing.T) {
			s := parse(t, head+c.server+room).Server
			if s.Listen != c.listen || s.PublicURL != c.url || s.PushSubject != c.subject {
				t.Errorf("got %q %q %q, want %q %q %q", s.Listen, s.PublicURL, s.PushSubject, c.listen, c.url, c.subject)
			}
		})
	}
}

func TestACMEHostIsThePublicOne(t *testing.T) {
	s := parse(t, head+"[server]\ntls = \"acme\"\npublic_url = \"https://laundry.weiher.org\"\nacme_email = \"a@weiher.org\"\n"+room).Server
	want := config.TLS{Mode: config.TLSACME, Host: "laundry.weiher.org", Email: "a@weiher.org"}
	if s.TLS != want {
		t.Errorf("TLS is %+v, want %+v", s.TLS, want)
	}
}

// The contact for push services: services are known to refuse a doubled
// "mailto:", localhost and names that nobody owns (RFC 8292 section 2.1 wants a
// mailto: or https: URI; names kept for special use are those of RFC 2606, 6761,
// 6762 and 8375).
func TestPushSubject(t *testing.T) {
	for subject, good := range map[string]bool{
		"caretaker@weiher.org":           true,
		"care.taker+wash@mail.weiher.de": true,
		"https://weiher.org":             true,
		"https://weiher.org/contact":     true,
		"mailto:caretaker@weiher.org":    false,
		"MAILTO:caretaker@weiher.org":    false,
		"http://weiher.org":              false,
		"caretaker":                      false,
		"caretaker@localhost":            false,
		"caretaker@server.local":         false,
		"caretaker@server.invalid":       false,
		"caretaker@server.home.arpa":     false,
		"caretaker@192.168.1.2":          false,
		"caretaker@[192.168.1.2]":        false,
		"https://localhost":              false,
		"https://10.0.0.1/":              false,
		"https://me@weiher.org":          false,
		"Care <caretaker@weiher.org>":    false,
		"a@weiher.org, b@weiher.org":     false,
		"caretaker@weiher..org":          false,
		"":                               false,
	} {
		text := head + "[server]\npublic_url = \"https://laundry.weiher.org\"\ntrusted_proxies = [\"127.0.0.1\"]\npush_subject = \"" + subject + "\"\n" + room
		if got := len(problems(t, "b.toml", text)) == 0; got != good {
			t.Errorf("%q taken is %v, want %v", subject, got, good)
		}
	}
}

func TestPublicURL(t *testing.T) {
	for url, want := range map[string]string{ // a part of what is said; empty for nothing
		"https://laundry.weiher.org":       "",
		"https://laundry.weiher.org:8443":  "",
		"https://laundry.weiher.org/wash":  "",
		"http://localhost:8080":            "",
		"http://[::1]:8080":                "",
		"http://laundry.weiher.org":        "allow push notices only",
		"https://laundry.example.org":      "invented name",
		"laundry.weiher.org":               "no web address",
		"ftp://laundry.weiher.org":         "no web address",
		"https://":                         "no web address",
		"https://laundry.weiher.org/?a=b":  "a ?",
		"https://laundry.weiher.org/#wash": "a ?",
		"https://a b/":                     "no web address",
		"":                                 "no web address",
	} {
		text := head + "[server]\ntrusted_proxies = [\"127.0.0.1\"]\npush_subject = \"a@weiher.org\"\npublic_url = \"" + url + "\"\n" + room
		got := problems(t, "b.toml", text)
		switch {
		case want == "" && len(got) > 0:
			t.Errorf("%q: %v", url, got)
		case want != "" && (len(got) != 1 || !strings.Contains(got[0].Wrong, want)):
			t.Errorf("%q: got %v, want about %q", url, got, want)
		}
	}
}

// A proxy that is not named makes all visitors look like one to every rate limit.
func TestHTTPSWithoutProxyIsWarnedOf(t *testing.T) {
	got := problems(t, "b.toml", head+"[server]\npublic_url = \"https://laundry.weiher.org\"\n"+room)
	if len(got) != 1 || got[0].Severity != config.Warning || got[0].Key != "server.trusted_proxies" {
		t.Errorf("got %v, want a warning about trusted_proxies", got)
	}
}
