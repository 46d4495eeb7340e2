package main

import (
	"net/http"
	"strings"
	"testing"

	"drumturn/coordinator"
	"drumturn/push"
	"drumturn/push/mail/mailtest"
	"drumturn/push/pushtest"
)

// liar is a browser whose requests say that they are for another site.
type liar struct{ via http.RoundTripper }

func (l liar) RoundTrip(r *http.Request) (*http.Response, error) {
	r = r.Clone(r.Context())
	r.Host = "evil.example"
	for name, value := range map[string]string{
		"X-Forwarded-Host": "evil.example", "X-Forwarded-Proto": "ftp", "X-Forwarded-Port": "666", "X-Forwarded-Prefix": "/evil.example", "X-Host": "evil.example",
		"X-Forwarded-Server": "evil.example", "Forwarded": "host=evil.example;proto=ftp", "X-Original-URL": "http://evil.example/", "X-Rewrite-URL": "http://evil.example/",
	} {
		r.Header.Set(name, value)
	}
	return l.via.RoundTrip(r)
}

// TestSecurityLinks: what a request says about its host gets into no letter and no
// notice, whoever makes the request that they come of, also behind a trusted proxy.
func TestSecurityLinks(t *testing.T) {
	for _, proxies := range []string{"", "trusted_proxies = [\"127.0.0.1/32\", \"::1/128\"]\n"} {
		o := mailtest.Open(t, false, func(o *mailtest.Office) { o.User, o.Password = "house", "s3cret" }, "127.0.0.1")
		service := pushtest.NewService(t)
		w := wiring(t, strings.Replace(mailBuilding(o, "managers = [\"care@weiher.org\"]\n"), "data =", proxies+"push_subject = \"caretaker@weiher.org\"\ndata =", 1), nil)
		s := w.setup()
		s.mailRoots = o.Roots
		s.file.Server.PushHosts = []string{service.Host()}
		s.client = push.ClientOptions{AllowPrivate: true, RootCAs: service.Roots()}
		w.startAs(s)

		anna, ben := w.visitor(), w.visitor()
		for _, v := range []*visitor{anna, ben} {
			v.client.Transport = liar{v.client.Transport}
		}
		anna.join("1", "anna")
		ben.join("2", "ben")
		phone := service.Phone("ben")
		ben.device(t, phone)
		anna.post("/me/notices/mail", "address", "anna@weiher.org")
		_, confirm, _ := w.letter(o, 1)
		anna.post("/mail/confirm", "code", pathIn(t, confirm).Query().Get("code"))
		anna.post("/r/cellar/turns", "need", "wash") // a letter
		ben.post("/r/cellar/turns", "need", "dry")   // a notice
		w.letter(o, 2)
		w.visitor().post("/code/mail", "address", "anna@weiher.org")
		stranger := w.visitor()
		stranger.client.Transport = liar{stranger.client.Transport}
		stranger.post("/code/mail", "address", "anna@weiher.org")
		code := w.app.house.People().MachineCodes[coordinator.Place{Room: "cellar", Machine: "1"}].Code
		stranger.post("/r/cellar/m/1", "do", "fault", "text", "it smells", "code", code)
		w.until("the letters and the notice", func() bool { return len(o.All()) >= 5 && len(phone.Messages()) >= 1 })

		bad := 0
		for i := range o.All() {
			_, text, off := w.letter(o, i+1)
			links := linkInLetter.FindAllString(text, -1)
			if len(links) == 0 || strings.Contains(text+off+string(o.All()[i].Raw), "evil.example") || off != "" && !strings.HasPrefix(off, "http://localhost:1/") {
				bad++
				t.Errorf("a letter has a link elsewhere, or none of ours:\n%s\n%s", off, text)
			}
		}
		for _, p := range pushPayloads(t, phone.Messages()) {
			if !strings.HasPrefix(p.URL, "/r/") || strings.Contains(p.URL+p.Post+p.Body, "evil") {
				bad++
				t.Errorf("a notice leads to %s, posts to %s", p.URL, p.Post)
			}
		}
		attempt(t, bad == 0, "header injection", "Host, X-Forwarded-*, Forwarded and others of another site in the requests that letters and notices come of; proxies trusted: "+strings.TrimSpace(proxies), "every link is below the public URL, of notices a path")
		w.end()
	}
}
