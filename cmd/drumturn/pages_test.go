package main

import (
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"testing"

	"golang.org/x/crypto/acme"

	"drumturn/config"
	"drumturn/coordinator"
	"drumturn/push"
)

// fixedAddress is a listener that says it stands at some address.
type fixedAddress struct {
	net.Listener
	at string
}

func (f fixedAddress) Addr() net.Addr { return namedAddress(f.at) }

type namedAddress string

func (namedAddress) Network() string  { return "tcp" }
func (a namedAddress) String() string { return string(a) }

// TestPublicURL: what is printed can be typed into a browser on this machine.
func TestPublicURL(t *testing.T) {
	for _, c := range []struct{ name, url, mode, at, want string }{
		{"said by the file", "https://laundry.weiher.org/wash", config.TLSOff, "127.0.0.1:8080", "https://laundry.weiher.org/wash"},
		{"plain", "", config.TLSOff, "127.0.0.1:8080", "http://127.0.0.1:8080"},
		{"files", "", config.TLSFiles, "127.0.0.1:8443", "https://127.0.0.1:8443"},
		{"acme", "", config.TLSACME, "10.0.0.2:443", "https://10.0.0.2:443"},
		{"everywhere", "", config.TLSOff, "[::]:8080", "http://localhost:8080"},
		{"everywhere in IPv4", "", config.TLSOff, "0.0.0.0:81", "http://localhost:81"},
		{"IPv6", "", config.TLSOff, "[::1]:8080", "http://[::1]:8080"},
		{"no host", "", config.TLSOff, ":8080", "http://localhost:8080"},
		{"a name", "", config.TLSOff, "cellar-pc:8080", "http://cellar-pc:8080"},
	} {
		t.Run(c.name, func(t *testing.T) {
			file := &config.File{Server: config.Server{PublicURL: c.url, TLS: config.TLS{Mode: c.mode}}}
			a := &app{setup: setup{file: file}, sockets: []net.Listener{fixedAddress{at: c.at}}}
			if got := a.publicURL(); got != c.want {
				t.Errorf("at %s it is %s, want %s", c.at, got, c.want)
			}
		})
	}
}

func TestAddressWithoutSockets(t *testing.T) {
	if at := (&app{}).address(); at != "" {
		t.Errorf("nothing listens at %q", at)
	}
}

// TestStartMistakes: what keeps the program from starting is said in words, with
// what to do, and whatever was opened is freed: the next start works.
func TestStartMistakes(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	cert, key := pair(t, 1)
	_, foreign := pair(t, 2)
	for _, c := range []struct {
		name   string
		text   string
		beside map[string]string
		spoil  func(*wired)
		want   []string
	}{
		{
			name: "port in use", text: strings.Replace(handBuilding, "127.0.0.1:0", taken.Addr().String(), 1),
			want: []string{"listen for browsers", "in use", "server.listen"},
		},
		{
			name: "key of another certificate", text: filesBuilding, beside: map[string]string{"cert.pem": cert, "key.pem": key},
			spoil: func(w *wired) { w.write("key.pem", foreign) },
			want:  []string{"certificate", "server.key_file"},
		},
		{
			name: "data is a file", text: handBuilding, beside: map[string]string{"data": "mine"},
			want: []string{"data folder", "server.data"},
		},
		{
			name: "store of something else", text: handBuilding,
			spoil: func(w *wired) { w.write("data/drumturn.db", strings.Repeat("not a store ", 1000)) },
			want:  []string{"drumturn.db"},
		},
		{
			name: "push keys cut", text: handBuilding,
			spoil: func(w *wired) { w.write("data/push-keys.json", `{"private": "x`) },
			want:  []string{"push-keys.json"},
		},
		{
			name: "wall key is a folder", text: handBuilding,
			spoil: func(w *wired) { _ = os.Mkdir(w.path("data/wall-key"), 0o700) },
			want:  []string{"secret of this installation"},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := wiring(t, c.text, c.beside)
			if c.spoil != nil {
				if err := os.MkdirAll(w.path("data"), 0o700); err != nil {
					t.Fatal(err)
				}
				s := w.setup()
				c.spoil(w)
				_, err = newApp(t.Context(), s)
			} else {
				_, err = newApp(t.Context(), w.setup())
			}
			for _, part := range c.want {
				if err == nil || !strings.Contains(err.Error(), part) {
					t.Errorf("error %v, want about %q", err, part)
				}
			}
			// Nothing holds the store or a port any more.
			w.write("building.toml", handBuilding)
			for _, name := range []string{"data", "data/drumturn.db", "data/push-keys.json", "data/wall-key"} {
				if c.name != "port in use" && c.name != "key of another certificate" {
					_ = os.RemoveAll(w.path(name))
				}
			}
			w.open()
		})
	}
}

// TestDataNotWritable: the message names the folder and the setting.
func TestDataNotWritable(t *testing.T) {
	if os.Geteuid() == 0 {
		t.Skip("root may write anywhere")
	}
	w := wiring(t, handBuilding, nil)
	if err := os.Chmod(w.dir, 0o500); err != nil {
		t.Fatal(err)
	}
	defer os.Chmod(w.dir, 0o700)
	if _, err := newApp(t.Context(), w.setup()); err == nil || !strings.Contains(err.Error(), "server.data") {
		t.Errorf("error %v", err)
	}
}

// TestACMESetup: certificates are asked for one name only, by the challenge on
// the same port (RFC 8737: protocol "acme-tls/1"), and kept in the data folder.
func TestACMESetup(t *testing.T) {
	data := t.TempDir()
	a := &app{setup: setup{file: &config.File{Server: config.Server{
		Data: data, TLS: config.TLS{Mode: config.TLSACME, Host: "laundry.weiher.org", Email: "a@weiher.org"},
	}}}}
	conf, err := a.tlsConfig()
	if err != nil {
		t.Fatal(err)
	}
	if conf.MinVersion != 0x0303 || conf.GetCertificate == nil {
		t.Errorf("TLS from version %x", conf.MinVersion)
	}
	for _, proto := range []string{"h2", "http/1.1", "acme-tls/1"} {
		if !slices.Contains(conf.NextProtos, proto) {
			t.Errorf("%s is not offered in %v", proto, conf.NextProtos)
		}
	}
	if acme.ALPNProto != "acme-tls/1" {
		t.Errorf("the challenge's protocol is %q", acme.ALPNProto)
	}
	info, err := os.Stat(a.dataFile("certificates"))
	if err != nil || !info.IsDir() || info.Mode().Perm() != 0o700 {
		t.Errorf("the folder for certificates is %v, %v", info, err)
	}
}

func TestACMEWithoutFolder(t *testing.T) {
	w := wiring(t, handBuilding, map[string]string{"data": "a file"})
	a := &app{setup: setup{file: &config.File{Server: config.Server{Data: w.path("data"), TLS: config.TLS{Mode: config.TLSACME}}}}}
	if _, err := a.tlsConfig(); err == nil || !strings.Contains(err.Error(), "certificates") {
		t.Errorf("error %v", err)
	}
}

func TestPlainHasNoTLS(t *testing.T) {
	a := &app{setup: setup{file: &config.File{Server: config.Server{TLS: config.TLS{Mode: config.TLSOff}}}}}
	if conf, err := a.tlsConfig(); conf != nil || err != nil {
		t.Errorf("%v, %v", conf, err)
	}
}

// TestWallKey: the invitation is shown only to who has the key of this installation.
func TestWallKey(t *testing.T) {
	w := wiring(t, handBuilding, nil).start()
	code := w.app.house.People().Invitations["cellar"].Code
	v := w.visitor()
	v.sees("/r/cellar/wall?key="+w.app.wallKey, code)
	for _, path := range []string{"/r/cellar/wall", "/r/cellar/wall?key=", "/r/cellar/wall?key=" + w.app.wallKey[1:], "/r/cellar"} {
		if _, text := v.get(path); strings.Contains(text, code) {
			t.Errorf("%s shows the code", path)
		}
	}
}

// TestBuildingPages: every room of the file has its board, and no other has.
func TestBuildingPages(t *testing.T) {
	w := wiring(t, handBuilding, nil).start()
	v := w.visitor()
	v.sees("/", "Hand", "Cellar", "Attic")
	v.sees("/r/cellar", "Cellar", "Washer", "Dryer")
	v.sees("/r/attic", "Attic")
	if status, _ := v.get("/r/vault"); status != http.StatusNotFound {
		t.Errorf("a room that is not there: %d", status)
	}
	if status, _ := v.get("/readings/"); status != http.StatusNotFound {
		t.Errorf("without meters that post there is something to post to: %d", status)
	}
}

// TestForeignFormIsRefused: a form of another site does nothing in a visitor's name.
func TestForeignFormIsRefused(t *testing.T) {
	w := wiring(t, handBuilding, nil).start()
	v := w.visitor()
	anna := v.join("1", "anna")
	req, err := http.NewRequestWithContext(t.Context(), "POST", "http://"+w.app.address()+"/r/cellar/turns", strings.NewReader("need=wash"))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.Header.Set("Sec-Fetch-Site", "cross-site")
	if status, text := v.send(req); status != http.StatusForbidden {
		t.Errorf("%d %s", status, text)
	}
	for _, turn := range w.settle().Turns {
		if turn.Person == anna.ID {
			t.Errorf("it made the turn %+v", turn)
		}
	}
}

// TestPushKeyIsThePublicOne: browsers get the public key, and only where push is set up.
func TestPushKeyIsThePublicOne(t *testing.T) {
	with := strings.Replace(handBuilding, "data =", "push_subject = \"caretaker@weiher.org\"\ndata =", 1)
	w := wiring(t, with, nil).start()
	status, key := w.visitor().get("/push-key")
	if status != http.StatusOK || !strings.Contains(key, w.app.keys.Public) || w.app.worker == nil {
		t.Errorf("%d %q, want the key %q", status, key, w.app.keys.Public)
	}
	w.end()
	first := w.app.keys.Public
	w.write("building.toml", handBuilding)
	w.start()
	if status, text := w.visitor().get("/push-key"); status == http.StatusOK && strings.Contains(text, first) || w.app.worker != nil {
		t.Errorf("without a subject: %d %q", status, text)
	}
	if w.app.keys.Public != first {
		t.Error("the keys were made anew: every phone would have to switch notices on again")
	}
}

// TestValidateSubscription: a device at a push service that is not on the list
// is refused, and a good one keeps its person.
func TestValidateSubscription(t *testing.T) {
	const p256dh = "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4" // RFC 8291 section 5
	const auth = "BTBZMqHH6r4Tts7J_aSIgg"
	a := &app{setup: setup{file: &config.File{Server: config.Server{PushHosts: []string{"push.weiher.org"}}}}}
	s := coordinator.Subscription{Person: "anna", Endpoint: "https://push.weiher.org/x", P256dh: p256dh, Auth: auth}
	if err := a.validateSubscription(&s); err != nil || s.Person != "anna" || s.ID == "" {
		t.Errorf("%+v, %v", s, err)
	}
	for name, bad := range map[string]coordinator.Subscription{
		"another service": {Person: "anna", Endpoint: "https://elsewhere.org/x", P256dh: p256dh, Auth: auth},
		"plain http":      {Person: "anna", Endpoint: "http://push.weiher.org/x", P256dh: p256dh, Auth: auth},
		"short key":       {Person: "anna", Endpoint: "https://push.weiher.org/x", P256dh: p256dh[:20], Auth: auth},
		"no secret":       {Person: "anna", Endpoint: "https://push.weiher.org/x", P256dh: p256dh},
	} {
		before := bad
		if err := a.validateSubscription(&bad); err == nil || bad != before {
			t.Errorf("%s: %+v, %v", name, bad, err)
		}
	}
}

func TestPushHosts(t *testing.T) {
	a := &app{setup: setup{file: &config.File{}}}
	if got := a.pushHosts(); !slices.Equal(got, push.DefaultHosts()) || len(got) == 0 {
		t.Errorf("without a list: %v", got)
	}
	a.file.Server.PushHosts = []string{"push.weiher.org"}
	if got := a.pushHosts(); !slices.Equal(got, []string{"push.weiher.org"}) {
		t.Errorf("with a list: %v", got)
	}
}

// TestBoardStreams: an open board is told of a change without being asked again.
func TestBoardStreams(t *testing.T) {
	w := wiring(t, handBuilding, nil).start()
	resp, err := http.Get("http://" + w.app.address() + "/r/cellar/events")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if kind := resp.Header.Get("Content-Type"); !strings.HasPrefix(kind, "text/event-stream") {
		t.Fatalf("the stream is %q", kind)
	}
	v := w.visitor()
	v.join("1", "anna")
	if status, text := v.post("/r/cellar/turns", "need", "wash"); status != http.StatusOK {
		t.Fatalf("%d %s", status, text)
	}
	var told strings.Builder
	for buf := make([]byte, 4096); !strings.Contains(told.String(), "held"); {
		n, err := resp.Body.Read(buf)
		told.Write(buf[:n])
		if err != nil && !strings.Contains(told.String(), "held") {
			t.Fatalf("%v after %q", err, told.String())
		}
	}
}
