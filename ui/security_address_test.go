package ui

import (
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"strings"
	"testing"
)

// ways out of a folder, plain and in the codings that servers have taken off twice.
var waysOut = []string{
	"..", "../../../../etc/passwd", "..%2f..%2fetc%2fpasswd", "%2e%2e%2f%2e%2e%2fetc%2fpasswd", "..%252f..%252fetc%252fpasswd",
	`..\..\etc\passwd`, "..%5c..%5cetc%5cpasswd", "%c0%ae%c0%ae%c0%afetc%c0%afpasswd", "....//....//etc/passwd", "/etc/passwd", "file:///etc/passwd",
	"x%00.css", "app.css%00", ".%2e/app.go", "drumturn.db", "vapid.json", "..;/manager",
}

// TestSecurityPaths puts them wherever an address takes a name: files, icons,
// rooms, machines, cycles, reports.
func TestSecurityPaths(t *testing.T) {
	tr := try(t, "path traversal")
	o := target(t, nil)
	served := []string{}
	tried := 0
	for _, r := range o.routes() {
		if r.method != http.MethodGet || !strings.Contains(r.path, ":") || strings.HasSuffix(r.path, "/events") {
			continue
		}
		for _, out := range waysOut {
			parts := strings.Split(r.path, "/")
			for i := range parts {
				if !strings.HasPrefix(parts[i], ":") {
					continue
				}
				changed := append([]string(nil), parts...)
				changed[i] = out
				path := fillRoute(strings.Join(changed, "/"))
				request, err := http.NewRequest(http.MethodGet, "http://localhost:8080"+path, nil)
				if err != nil {
					continue // no browser could send it either
				}
				request.AddCookie(&http.Cookie{Name: managerCookie, Value: "secret-of-ada"})
				w := httptest.NewRecorder()
				o.Handler().ServeHTTP(w, request)
				tried++
				body := w.Body.String()
				if w.Code < 300 && !strings.Contains(body, "<!doctype html>") || strings.Contains(body, "root:") || strings.Contains(body, "package ui") || w.Code >= 500 {
					served = append(served, path)
				}
			}
		}
	}
	tr.row(len(served) == 0 && tried > 150, "names of files, rooms, machines, cycles, reports that lead out of their folder", "%d addresses, none served a file; served: %v", tried, served)
}

// TestSecurityHosts: what a request says about its host changes no address that
// the pages name.
func TestSecurityHosts(t *testing.T) {
	tr := try(t, "header injection")
	for name, header := range map[string]http.Header{
		"Host": {}, "X-Forwarded-Host": {"X-Forwarded-Host": {"evil.example"}}, "Forwarded": {"Forwarded": {"host=evil.example;proto=https"}},
		"X-Forwarded-Proto": {"X-Forwarded-Proto": {"https"}, "X-Forwarded-Port": {"1"}}, "X-Original-URL": {"X-Original-Url": {"/manager/people"}, "X-Rewrite-Url": {"/manager/people"}},
	} {
		for _, trusted := range []bool{false, true} {
			o := target(t, func(opt *Options) {
				if trusted {
					opt.TrustedProxies = []netip.Prefix{netip.MustParsePrefix("192.0.2.0/24")}
				}
			})
			found := ""
			for _, a := range []ask{
				get("/"), get("/r/cellar/wall?key=wallkey"), get("/manager").as("", "secret-of-ada"), get("/manager/r/cellar/sheets").as("", "secret-of-ada"),
				post("/manager/access", "do", "invite", "name", "Cleo").as("", "secret-of-ada"), post("/me/code").as("secret-of-dan", ""), post("/language", "lang", "en", "back", "/me"),
			} {
				a.header = header
				r := a.request()
				if name == "Host" {
					r.Host = "evil.example"
				}
				w := httptest.NewRecorder()
				o.Handler().ServeHTTP(w, r)
				if strings.Contains(w.Body.String()+w.Header().Get("Location"), "evil.example") {
					found = a.path
				}
			}
			if !trusted || found != "" {
				tr.row(found == "", name+" of another site", "no page, link or redirect names it (also behind a trusted proxy) %s", found)
			}
		}
	}
}

// TestSecurityForwardedFor: who asks is who asks.
func TestSecurityForwardedFor(t *testing.T) {
	tr := try(t, "header injection")
	o := target(t, func(opt *Options) { opt.TrustedProxies = []netip.Prefix{netip.MustParsePrefix("192.0.2.1/32")} })
	for name, c := range map[string]struct{ from, header, want string }{
		"X-Forwarded-For from nobody":                        {"203.0.113.9", "198.51.100.1", "203.0.113.9"},
		"X-Forwarded-For through the proxy":                  {"192.0.2.1", "198.51.100.1", "198.51.100.1"},
		"a pretended hop before the proxy's own":             {"192.0.2.1", "10.0.0.1, 198.51.100.1", "198.51.100.1"},
		"rubbish through the proxy":                          {"192.0.2.1", "<script>, \r\nX: y", "192.0.2.1"},
		"an IPv6 host of many addresses, counted by its /64": {"2001:db8::7", "", "2001:db8::/64"},
	} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.RemoteAddr = netip.AddrPortFrom(netip.MustParseAddr(c.from), 4000).String()
		if c.header != "" {
			r.Header.Set("X-Forwarded-For", c.header)
		}
		got := limitKey(o.echo.NewContext(r, httptest.NewRecorder()).RealIP())
		tr.row(got == c.want, name, "counted as %s", got)
	}
}

// TestSecurityRedirects: nothing that is typed leads to another site, or into the
// next line of a header.
func TestSecurityRedirects(t *testing.T) {
	tr := try(t, "redirects")
	o := target(t, func(opt *Options) { opt.PublicURL += "/below" })
	bad := []string{}
	for _, back := range []string{
		"https://evil.example", "//evil.example", "///evil.example", `/\evil.example`, `\\evil.example`, "/%5cevil.example", "https:evil.example", "javascript:alert(1)",
		"/\r\nSet-Cookie: x=y", "/%0d%0aSet-Cookie:x=y", "/\nX: y", "/below/..//evil.example", "evil.example", "/\t/evil.example", "/.//evil.example", " //evil.example",
	} {
		w := post("/language", "lang", "de", "back", back).of(o.Server)
		to := w.Header().Get("Location")
		u, err := url.Parse(to)
		ok := w.Code >= 400 || err == nil && u.Host == "" && u.Scheme == "" && strings.HasPrefix(to, "/below/") && !strings.HasPrefix(to, "/below//") && !strings.ContainsAny(to, "\r\n\\")
		if !ok || w.Header().Get("X") != "" {
			bad = append(bad, back+" -> "+to)
		}
	}
	tr.row(len(bad) == 0, "choosing a language and going back to another site", "all lead below the public URL, or are refused %v", bad)
	for _, lang := range []string{"de\r\nSet-Cookie: x=y", "de; Path=/x", "<script>", "../de"} {
		w := post("/language", "lang", lang, "back", "/").of(o.Server)
		tr.row(w.Code == 422 && len(w.Result().Cookies()) == 0, "a language "+strings.ReplaceAll(lang, "\r\n", `\r\n`), "%d, no cookie", w.Code)
	}
	w := post("/manager/people", "do", "block", "id", "dan", "search", "x\r\nSet-Cookie: a=b").as("", "secret-of-ada").of(o.Server)
	tr.row(w.Header().Get("Set-Cookie") == "" && !strings.ContainsAny(w.Header().Get("Location"), "\r\n"), "a search with a line end", "%d", w.Code)
}
