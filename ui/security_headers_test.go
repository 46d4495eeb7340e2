package ui

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
)

// TestSecurityEveryAnswer: policy, frames, types, referrers and caching on every
// address there is, as visitor, resident and manager, and on refusals.
func TestSecurityEveryAnswer(t *testing.T) {
	tr := try(t, "headers")
	o := target(t, nil)
	answers, bad := 0, []string{}
	for _, r := range append(o.routes(), route{http.MethodGet, "/nothing", nil}, route{http.MethodPut, "/manager", nil}) {
		if strings.HasSuffix(r.path, "/events") {
			continue // streams: TestSecurityStreams
		}
		for _, who := range [][2]string{{"", ""}, {"secret-of-dan", ""}, {"", "secret-of-ada"}} {
			a := get(fillRoute(r.path)).as(who[0], who[1])
			if a.method = r.method; r.method == http.MethodPost {
				a = post(fillRoute(r.path), "do", "nothing-at-all").as(who[0], who[1])
			}
			w := a.of(o.Server)
			answers++
			for _, fault := range headerFaults(w.Header()) {
				bad = append(bad, fmt.Sprintf("%s %s: %s", r.method, r.path, fault))
			}
			if personal(r.path, who, w.Code) && !keptByNobody(w.Header().Get("Cache-Control")) {
				bad = append(bad, fmt.Sprintf("%s %s as %v may be kept: %q", r.method, r.path, who, w.Header().Get("Cache-Control")))
			}
		}
	}
	bad = slices.Compact(bad)
	tr.row(len(bad) == 0 && answers > 200, "every address as visitor, resident and manager, refusals too", "%d answers: strict policy, no frames, no sniffing; personal ones are not kept %v", answers, bad)
}

// headerFaults says what an answer's headers lack.
func headerFaults(h http.Header) (faults []string) {
	policy := map[string]string{}
	for _, part := range strings.Split(h.Get("Content-Security-Policy"), ";") {
		name, value, _ := strings.Cut(strings.TrimSpace(part), " ")
		policy[name] = value
	}
	for name, want := range map[string]string{
		"default-src": "'none'", "script-src": "'self'", "style-src": "'self'", "frame-ancestors": "'none'", "base-uri": "'none'", "form-action": "'self'", "object-src": "",
	} {
		if policy[name] != want {
			faults = append(faults, "policy "+name+" "+policy[name])
		}
	}
	for name, want := range map[string]string{
		"X-Content-Type-Options": "nosniff", "Referrer-Policy": "same-origin", "Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin",
	} {
		if h.Get(name) != want {
			faults = append(faults, name+" "+h.Get(name))
		}
	}
	return faults
}

// personal reports whether an answer is about whoever asked for it.
func personal(path string, who [2]string, status int) bool {
	if status >= 300 || who == [2]string{} {
		return false
	}
	return strings.HasPrefix(path, "/me") || strings.HasPrefix(path, "/manager") && who[1] != ""
}

// keptByNobody: neither by what is between, nor without asking again.
func keptByNobody(control string) bool {
	return control == "no-store" || control == "private, no-cache"
}

// TestSecurityCookies: every cookie that is ever set, over https and over plain http.
func TestSecurityCookies(t *testing.T) {
	tr := try(t, "cookies")
	for _, public := range []string{"https://laundry.example", "http://localhost:8080", "http://laundry.lan"} {
		o := target(t, func(opt *Options) { opt.PublicURL = public })
		n, bad := 0, []string{}
		for _, a := range []ask{
			post("/manager/sign-in", "name", "Ada", "passphrase", adasPhrase), post("/r/cellar/join", "code", "tidewater", "home", "12"), post("/language", "lang", "de", "back", "/"),
		} {
			a.header = http.Header{"Sec-Fetch-Site": {"same-origin"}}
			for _, c := range a.of(o.Server).Result().Cookies() {
				n++
				secure := !strings.HasPrefix(public, "http://laundry.lan")
				if c.Domain != "" || c.Path != "/" || c.SameSite != http.SameSiteLaxMode || !c.HttpOnly || c.Secure != secure || secure != strings.HasPrefix(c.Name, "__Host-") && c.Name != languageCookie {
					bad = append(bad, c.String())
				}
			}
		}
		tr.row(len(bad) == 0 && n == 4, public, "%d cookies: HttpOnly, SameSite=Lax, this host and no other; __Host- and Secure where browsers keep such %v", n, bad)
	}
}

// TestSecurityClickjacking: no page may be shown in a frame, by the policy; nor may
// any page of ours load or frame another site.
func TestSecurityClickjacking(t *testing.T) {
	tr := try(t, "clickjacking")
	o := target(t, nil)
	framed := []string{}
	for _, path := range []string{"/", "/r/cellar", "/manager", "/manager/access", "/manager/people", "/me", "/nothing"} {
		w := get(path).as("secret-of-dan", "secret-of-ada").of(o.Server)
		if !strings.Contains(w.Header().Get("Content-Security-Policy"), "frame-ancestors 'none'") || strings.Contains(w.Body.String(), "<iframe") {
			framed = append(framed, path)
		}
	}
	tr.row(len(framed) == 0, "showing a page in a frame of another site", "forbidden on all (frame-ancestors 'none') %v", framed)
}
