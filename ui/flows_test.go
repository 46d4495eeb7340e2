package ui

import (
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"reflect"
	"strings"
	"testing"

	"golang.org/x/net/html"
)

// plain is a browser without scripts: it follows links and sends forms as they
// stand in the page.
type plain struct {
	client *http.Client
	at     *url.URL
	page   string
}

func (p *plain) open(t *testing.T, address string) {
	t.Helper()
	resp, err := p.client.Get(address)
	p.arrive(t, resp, err)
}

func (p *plain) arrive(t *testing.T, resp *http.Response, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	var b strings.Builder
	if err := resp.Write(&b); err != nil {
		t.Fatal(err)
	}
	if resp.StatusCode != http.StatusOK {
		t.Fatalf("%s: %s", resp.Request.URL, resp.Status)
	}
	p.at, p.page = resp.Request.URL, b.String()
}

// press sends the form that a button with some words belongs to.
func (p *plain) press(t *testing.T, words string, values map[string]string) {
	t.Helper()
	for _, f := range all(parsePage(t, p.page), "form") {
		for _, b := range all(f, "button") {
			if text := textOf(b); text == words || strings.HasPrefix(text, words+" ") {
				p.send(t, f, b, values)
				return
			}
		}
	}
	t.Fatalf("%s has no button %q", p.at, words)
}

func (p *plain) send(t *testing.T, f, button *html.Node, values map[string]string) {
	t.Helper()
	to, err := p.at.Parse(attr(f, "action"))
	if err != nil {
		t.Fatal(err)
	}
	body := url.Values{}
	if name := attr(button, "name"); name != "" {
		body.Set(name, attr(button, "value"))
	}
	for _, in := range all(f, "input", "select") {
		name, kind := attr(in, "name"), attr(in, "type")
		switch {
		case values[name] != "":
			body.Set(name, values[name])
		case in.Data == "select":
			if options := all(in, "option"); len(options) > 0 {
				body.Set(name, attr(options[0], "value"))
			}
		case (kind == "checkbox" || kind == "radio") && !hasAttr(in, "checked"):
		default:
			body.Set(name, attr(in, "value"))
		}
	}
	r, err := http.NewRequest(http.MethodPost, to.String(), strings.NewReader(body.Encode()))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Origin", to.Scheme+"://"+to.Host)
	resp, err := p.client.Do(r)
	p.arrive(t, resp, err)
}

// oneCookie is a jar that sends a resident's cookie everywhere: the tests' own
// server is not reached by https.
type oneCookie struct{ value string }

func (j *oneCookie) Cookies(*url.URL) []*http.Cookie {
	return []*http.Cookie{{Name: "__Host-drumturn", Value: j.value}}
}

func (j *oneCookie) SetCookies(_ *url.URL, cookies []*http.Cookie) {
	for _, c := range cookies {
		if c.Name == "__Host-drumturn" {
			j.value = c.Value
		}
	}
}

// walkPlain walks every flow by forms alone.
func walkPlain(t *testing.T, serve func(t *testing.T, h *fakeHouse) string) {
	for _, f := range flows {
		h := flowHouse()
		address := serve(t, h)
		p := &plain{client: &http.Client{Jar: &oneCookie{"secret-of-" + f.who}}}
		p.open(t, address+f.path)
		values := map[string]string{}
		for _, s := range f.steps {
			words, isButton := strings.CutPrefix(s.tap, "words:")
			switch {
			case s.into != "":
				values[between(s.into, "name=", "]")] = s.text
			case isButton:
				p.press(t, words, values)
				values = map[string]string{}
			case strings.HasPrefix(s.tap, "input"):
				values[between(s.tap, "name=", "]")] = "yes"
			case strings.HasSuffix(s.tap, "summary"): // what is folded is in the form all the same
			case strings.Contains(s.tap, "a[href"):
				p.open(t, address+between(s.tap, "href='", "'"))
			}
		}
		if f.says != "" && !strings.Contains(said([]byte(p.page)), f.says) && !strings.Contains(p.page, f.says) {
			t.Errorf("%s: the last page does not say %q", f.name, f.says)
		}
		if got := h.events(); f.told != nil && (len(got) == 0 || reflect.TypeOf(got[len(got)-1]) != reflect.TypeOf(f.told)) {
			t.Errorf("%s: the room was told %+v", f.name, got)
		}
	}
}

func between(s, from, to string) string {
	_, s, _ = strings.Cut(s, from)
	s, _, _ = strings.Cut(s, to)
	return s
}

// TestFlowsWithoutScripts: every flow works with forms alone.
func TestFlowsWithoutScripts(t *testing.T) {
	walkPlain(t, func(t *testing.T, h *fakeHouse) string {
		_, address := serveReal(t, h, nil)
		return address
	})
}

// TestFlowsBehindAProxy: the same below a path of another server, which leaves
// the path as it is, or cuts it off.
func TestFlowsBehindAProxy(t *testing.T) {
	for _, cuts := range []bool{false, true} {
		walkPlain(t, func(t *testing.T, h *fakeHouse) string { return behindProxy(t, h, cuts) })
	}
}

// behindProxy serves the pages below a path of another server.
func behindProxy(t *testing.T, h *fakeHouse, cuts bool) string {
	t.Helper()
	proxy := &httputil.ReverseProxy{FlushInterval: -1}
	front := httptest.NewServer(proxy)
	t.Cleanup(front.Close)
	_, back := serveReal(t, h, func(o *Options) { o.PublicURL = front.URL + "/house/laundry" })
	target, err := url.Parse(back)
	if err != nil {
		t.Fatal(err)
	}
	proxy.Rewrite = func(r *httputil.ProxyRequest) {
		r.SetURL(target)
		if cuts {
			r.Out.URL.Path, r.Out.URL.RawPath = strings.TrimPrefix(r.Out.URL.Path, "/house/laundry"), ""
		}
	}
	return front.URL + "/house/laundry"
}

// TestNeighboursWithoutScripts: sharing a load, the table, and one's own data
// need nothing but forms and links.
func TestNeighboursWithoutScripts(t *testing.T) {
	h := flowHouse()
	h.react = neighboursReact()
	_, address := serveReal(t, h, nil)
	as := func(who, path string) *plain {
		p := &plain{client: &http.Client{Jar: &oneCookie{"secret-of-" + who}}}
		p.open(t, address+path)
		return p
	}
	ann := as("ann", "/r/cellar/m/w2")
	ann.press(t, "Share it with a neighbour", nil)
	code := between(ann.page, `<strong class="code">`, "<")
	zed := as("zed", "/r/cellar")
	zed.press(t, "Share it", map[string]string{"code": code})
	if !strings.Contains(zed.page, "A load you share: Washer 2") {
		t.Errorf("with the code %q the load is not shared", code)
	}
	as("zed", "/r/cellar/m/w4").press(t, "I put the load on the table", nil)
	bob := as("bob", "/r/cellar")
	bob.press(t, "I have taken it", nil)
	if !strings.Contains(bob.page, "it is no longer on the table") {
		t.Errorf("the load still lies there: %s", bob.page)
	}
	if data := as("bob", "/me/data.json"); !strings.Contains(data.page, `"home": "12"`) {
		t.Errorf("my data: %s", data.page)
	}
}
