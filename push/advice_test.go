package push

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/push/words"
)

func goodSetup() Setup {
	return Setup{PublicURL: "https://laundry.example.org", TLS: "acme", Subject: "laundry@example.org", Hosts: []string{"push.example.net", ".wide.example.net"}}
}

func goodProbes() Probes {
	return Probes{
		At: noon, Resolved: true, Addresses: []netip.Addr{netip.MustParseAddr("5.6.7.8")},
		Connected: true, CertExpires: noon.AddDate(0, 2, 0), Outbound: map[string]error{"push.example.net": nil},
	}
}

func levels(findings []Finding) string {
	var out []string
	for _, f := range findings {
		out = append(out, fmt.Sprintf("%s:%s", f.About(words.English()), f.Level))
	}
	return strings.Join(out, " ")
}

func TestAdviceWhenAllIsWell(t *testing.T) {
	got := Advice(goodSetup(), goodProbes())
	if !Works(got) || levels(got) != "public address:ok name:ok certificate:ok way out:ok push subject:ok without notices:ok" {
		t.Errorf("%+v", got)
	}
	for _, f := range got {
		if f.Do(words.English()) != "" || f.Text(words.English()) == "" {
			t.Errorf("%+v", f)
		}
	}
}

func TestAdvice(t *testing.T) {
	private := []netip.Addr{netip.MustParseAddr("192.168.1.20")}
	for _, c := range []struct {
		name   string
		change func(*Setup, *Probes)
		about  string
		level  Level
		text   string
		do     string
	}{
		{"no address", func(s *Setup, _ *Probes) { s.PublicURL = "" }, "public address", Bad, "No public address", "reverse proxy"},
		{"http", func(s *Setup, _ *Probes) { s.PublicURL = "http://laundry.example.org" }, "public address", Bad, "does not begin with https://", "DNS challenge"},
		{"number", func(s *Setup, _ *Probes) { s.PublicURL = "https://192.168.1.20" }, "public address", Bad, "is a number", "certificate"},
		{"house name", func(s *Setup, _ *Probes) { s.PublicURL = "https://laundry.local" }, "public address", Bad, "only inside the house", "DNS challenge"},
		{"one label", func(s *Setup, _ *Probes) { s.PublicURL = "https://laundry" }, "public address", Bad, "only inside the house", "DNS challenge"},
		{"nonsense", func(s *Setup, _ *Probes) { s.PublicURL = "https://" }, "public address", Bad, "no web address", "certificate"},
		{"localhost", func(s *Setup, _ *Probes) { s.PublicURL = "http://localhost:8080" }, "public address", Warn, "this machine only", "certificate"},
		{"behind a proxy", func(s *Setup, _ *Probes) { s.TLS = "off" }, "public address", OK, "reverse proxy", ""},
		{"unknown name", func(_ *Setup, p *Probes) { p.Addresses, p.ResolveErr = nil, errors.New("no such host") }, "name", Bad, "no such host", "entry"},
		{"no addresses", func(_ *Setup, p *Probes) { p.Addresses = nil }, "name", Bad, "has no address", "entry"},
		{"in the house", func(_ *Setup, p *Probes) { p.Addresses = private }, "name", Warn, "inside the house", "house’s network"},
		{"loopback", func(_ *Setup, p *Probes) { p.Addresses = []netip.Addr{netip.MustParseAddr("127.0.0.1")} }, "name", Bad, "loopback", "point"},
		{"own certificate", func(_ *Setup, p *Probes) { p.CertErr = errors.New("unknown authority") }, "certificate", Bad, "unknown authority", "DNS challenge"},
		{"runs out", func(_ *Setup, p *Probes) { p.CertExpires = noon.AddDate(0, 0, 13) }, "certificate", Warn, "15 March 2026", "by itself"},
		{"runs out, files", func(s *Setup, p *Probes) { s.TLS, p.CertExpires = "files", noon }, "certificate", Warn, "2 March 2026", "files"},
		{"runs out, proxy", func(s *Setup, p *Probes) { s.TLS, p.CertExpires = "off", noon }, "certificate", Warn, "2 March 2026", "proxy"},
		{"no way out", func(_ *Setup, p *Probes) { p.Outbound["push.example.net"] = errors.New("i/o timeout") }, "way out", Bad, "push.example.net (i/o timeout)", "443"},
		{"half a way out", func(_ *Setup, p *Probes) { p.Outbound["b.example.net"] = errors.New("refused") }, "way out", Warn, "b.example.net (refused)", "443"},
		{"no subject", func(s *Setup, _ *Probes) { s.Subject = "" }, "push subject", Bad, "The push subject is missing", "building file"},
		{"bad subject", func(s *Setup, _ *Probes) { s.Subject = "mailto:a@example.org" }, "push subject", Bad, "mailto:", "building file"},
	} {
		s, p := goodSetup(), goodProbes()
		c.change(&s, &p)
		findings := Advice(s, p)
		i := slices.IndexFunc(findings, func(f Finding) bool { return f.About(words.English()) == c.about })
		if i < 0 {
			t.Errorf("%s: nothing about the %s", c.name, c.about)
			continue
		}
		f := &findings[i]
		text, do := f.Text(words.English()), f.Do(words.English())
		if f.Level != c.level || !strings.Contains(text, c.text) || !strings.Contains(do, c.do) || (c.do == "") != (do == "") {
			t.Errorf("%s: %+v %q %q", c.name, f, text, do)
		}
		if Works(findings) != (c.level != Bad) {
			t.Errorf("%s: works %v", c.name, Works(findings))
		}
		if last := findings[len(findings)-1]; last.Found != WithoutPush {
			t.Errorf("%s: does not say what works anyway", c.name)
		}
	}
}

// TestFindingsInEveryLanguage: whatever can be found, and whatever can be done, is
// said in every language, with its values and without a key or a gap showing.
func TestFindingsInEveryLanguage(t *testing.T) {
	for _, l := range words.All() {
		for _, found := range Founds() {
			f := Finding{Found: found, Value: "V-1", Error: "E-1", Ends: noon, Unreached: []Unreached{{"h-1", "E-2"}, {"h-2", "E-3"}}}
			text, about := f.Text(l), f.About(l)
			for _, bad := range []string{"setup.", "{", "%!"} {
				if strings.Contains(text+about, bad) {
					t.Errorf("%s, %s: %q about %q", l.Code(), found, text, about)
				}
			}
			key := "setup.found." + string(found)
			for name, shows := range map[string][]string{"value": {"V-1"}, "error": {"E-1"}, "date": {"2026"}, "hosts": {"h-1", "E-2", "h-2", "E-3"}} {
				for _, part := range shows {
					if slices.Contains(l.Placeholders(key), name) && !strings.Contains(text, part) {
						t.Errorf("%s, %s: no %s in %q", l.Code(), found, part, text)
					}
				}
			}
			if l.Code() != "en" && text == f.Text(words.English()) {
				t.Errorf("%s, %s is English: %q", l.Code(), found, text)
			}
		}
		for _, remedy := range Remedies() {
			f := Finding{Remedy: remedy}
			if do := f.Do(l); do == "" || strings.Contains(do, "setup.") || l.Code() != "en" && do == f.Do(words.English()) {
				t.Errorf("%s, %s: %q", l.Code(), remedy, do)
			}
		}
	}
}

// TestEveryFindingCanBeFound: the kinds that the catalogue speaks of are those that
// trials come to.
func TestEveryFindingCanBeFound(t *testing.T) {
	seen, done := map[Found]bool{}, map[Remedy]bool{}
	try := func(change func(*Setup, *Probes)) {
		s, p := goodSetup(), goodProbes()
		change(&s, &p)
		for _, f := range Advice(s, p) {
			seen[f.Found], done[f.Remedy] = true, true
		}
	}
	addresses := []string{
		"", "https://", "http://laundry.example.org", "https://192.0.2.20", "https://laundry.local", "http://localhost", "https://laundry.example.org",
	}
	for _, address := range addresses {
		try(func(s *Setup, _ *Probes) { s.PublicURL = address })
	}
	for _, subject := range []string{"", "mailto:a@example.org", "a b@example.org", "a", "a@b.local"} {
		try(func(s *Setup, _ *Probes) { s.Subject = subject })
	}
	for _, mode := range []string{"off", "files", "acme"} {
		try(func(s *Setup, p *Probes) { s.TLS, p.CertExpires = mode, p.At })
	}
	for _, address := range []string{"127.0.0.1", "10.0.0.1"} {
		try(func(_ *Setup, p *Probes) { p.Addresses = []netip.Addr{netip.MustParseAddr(address)} })
	}
	try(func(_ *Setup, p *Probes) { p.Addresses = nil })
	try(func(_ *Setup, p *Probes) { p.ResolveErr, p.CertErr = errors.New("x"), errors.New("x") })
	try(func(_ *Setup, p *Probes) { p.Outbound["push.example.net"] = errors.New("x") })
	try(func(_ *Setup, p *Probes) { p.Outbound["b.example.net"] = errors.New("x") })
	for _, found := range Founds() {
		if !seen[found] {
			t.Errorf("nothing comes to %s", found)
		}
	}
	for _, remedy := range Remedies() {
		if !done[remedy] {
			t.Errorf("nothing asks for %s", remedy)
		}
	}
	if len(seen) != len(Founds()) || len(done) != len(Remedies())+1 {
		t.Errorf("found %d kinds and %d remedies, which are not all listed", len(seen), len(done))
	}
}

func TestProbe(t *testing.T) {
	var mu sync.Mutex
	var tried []string
	p := &Prober{
		Resolve: func(_ context.Context, host string) ([]netip.Addr, error) {
			return []netip.Addr{netip.MustParseAddr("5.6.7.8")}, nil
		},
		Certificate: func(_ context.Context, host, port string) (time.Time, error) {
			mu.Lock()
			defer mu.Unlock()
			tried = append(tried, host+":"+port)
			return noon.AddDate(0, 1, 0), nil
		},
		Timeout: time.Second,
	}
	s := goodSetup()
	s.PublicURL = "https://laundry.example.org:8443/"
	s.Hosts = append(s.Hosts, "own.example.net:9443")
	got := p.Probe(t.Context(), s, noon)
	slices.Sort(tried)
	if strings.Join(tried, " ") != "laundry.example.org:8443 own.example.net:9443 push.example.net:443" {
		t.Errorf("tried %v", tried)
	}
	if !got.Resolved || !got.Connected || len(got.Outbound) != 2 || !Works(Advice(s, got)) {
		t.Errorf("%+v", got)
	}
	tried = nil
	s.PublicURL = "http://192.168.1.20"
	if got := p.Probe(t.Context(), s, noon); got.Resolved || got.Connected || len(tried) != 2 {
		t.Errorf("tried %v: %+v", tried, got)
	}
}

func TestProbeIsBackInTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := NewProber()
		p.Resolve = func(ctx context.Context, _ string) ([]netip.Addr, error) {
			<-ctx.Done()
			return nil, ctx.Err()
		}
		p.Certificate = func(ctx context.Context, _, _ string) (time.Time, error) {
			<-ctx.Done()
			return time.Time{}, ctx.Err()
		}
		start := time.Now()
		got := p.Probe(t.Context(), goodSetup(), start)
		if took := time.Since(start); took != p.Timeout {
			t.Errorf("took %v", took)
		}
		if findings := Advice(goodSetup(), got); levels(findings) != "public address:ok name:bad certificate:bad way out:bad push subject:ok without notices:ok" {
			t.Error(levels(findings))
		}
	})
}

func TestHealthCountsAndAlarms(t *testing.T) {
	var r record
	steps := []struct {
		host   string
		v      verdict
		status int
		fresh  bool
	}{
		{"b", refused, 403, true}, {"b", refused, 403, false}, {"b", refused, 401, true}, {"a", refused, 400, true},
		{"a", again, 503, false}, {"c", served, 201, false}, {"c", gone, 410, false}, {"c", hopeless, 302, false},
	}
	for i, s := range steps {
		if fresh := r.answered(s.host, s.v, Result{Status: s.status}, noon.Add(time.Duration(i)*time.Minute)); fresh != s.fresh {
			t.Errorf("step %d: a new alarm %v", i, fresh)
		}
	}
	h := r.snapshot()
	if h.Sent != 1 || h.Retried != 1 || h.Gone != 1 || h.Failed != 5 || !h.LastSent.Equal(noon.Add(5*time.Minute)) {
		t.Errorf("%+v", h)
	}
	want := []Alarm{{"a", 400, "", noon.Add(3 * time.Minute), noon.Add(3 * time.Minute), 1}, {"b", 401, "", noon, noon.Add(2 * time.Minute), 3}}
	if !slices.Equal(h.Alarms, want) {
		t.Errorf("%+v", h.Alarms)
	}
	if text := h.Alarms[1].Text(words.English()); !strings.Contains(text, "b answered 401") || !strings.Contains(text, "key") || !strings.Contains(text, "page still works") {
		t.Errorf("%q", text)
	}
}
