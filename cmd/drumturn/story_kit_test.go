package main

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/json"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"drumturn/config"
	"drumturn/coordinator"
	"drumturn/coordinator/loop"
	"drumturn/coordinator/usage"
	"drumturn/push"
	"drumturn/push/pushtest"
)

// storyBuilding is the building of the story: two washers and a dryer.
const storyBuilding = `
[building]
name = "House of the story"
time_zone = "UTC"
[server]
listen = "127.0.0.1:0"
tls = "files"
cert_file = "cert.pem"
key_file = "key.pem"
push_subject = "caretaker@example.org"
data = "data"
[mqtt]
listen = "127.0.0.1:0"
[rules]
hold = "10m"
grace = "10m"
call_uncollected_after = "45m"
[[rules.ladder]]
after = "10m"
tell = "owner"
[[rules.ladder]]
after = "15m"
tell = "next"
[[rules.ladder]]
after = "30m"
tell = "manager"
[rooms.cellar]
name = "Cellar"
[[rooms.cellar.machines]]
number = 1
kind = "washer"
meter = "one"
[[rooms.cellar.machines]]
number = 2
kind = "washer"
meter = "two"
[[rooms.cellar.machines]]
number = 3
kind = "dryer"
meter = "three"
[meters.one]
driver = "mqtt"
topic = "laundry/one"
password = "one-secret"
[meters.two]
driver = "mqtt"
topic = "laundry/two"
password = "two-secret"
payload = "json"
watts = "/power"
time = "/at"
[meters.three]
driver = "mqtt"
topic = "laundry/three"
password = "three-secret"
`

// runMode says how a run of the story is disturbed.
type runMode int

const (
	plainRun runMode = iota
	reopenAfterCommits
	killBeforeRecord
)

// story is one run of the story.
type story struct {
	*testing.T
	mode      runMode
	dir       string
	clock     *loop.Manual
	tape      []tapeReading
	shared    bool // the tape is of the shared traces
	pushes    *pushtest.Service
	roots     *x509.CertPool
	app       *app
	pages     string // address of the pages, the same after a restart
	broker    string // and of the broker
	stopApp   func()
	meters    map[string]*storyMeter
	manager   *browser
	firstLink string
	seen      uint64 // commits at the last look
	tear      *tear
	browsers  []*browser
	log       *lockedBuffer // all that is logged, before secrets are masked
}

func newStory(t *testing.T, mode runMode) *story {
	t.Helper()
	s := &story{T: t, mode: mode, dir: t.TempDir(), pushes: pushtest.NewService(t), meters: map[string]*storyMeter{}, pages: "127.0.0.1:0", broker: "127.0.0.1:0", tear: &tear{}, log: &lockedBuffer{}}
	s.tape, s.shared = storyTape(t)
	s.clock = loop.NewManual(s.day("19:00"))
	s.writeCertificate()
	s.start()
	t.Cleanup(func() { s.stopApp() })
	return s
}

// day is a time of the story's day.
func (s *story) day(clock string) time.Time {
	t, err := time.Parse("2006-01-02 15:04", storyDay+" "+clock)
	if err != nil {
		s.Fatal(err)
	}
	return t
}

// writeCertificate makes a certificate for 127.0.0.1 that the browsers trust.
func (s *story) writeCertificate() {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		s.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "story"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		s.Fatal(err)
	}
	keyDER, err := x509.MarshalECPrivateKey(key)
	if err != nil {
		s.Fatal(err)
	}
	certPEM := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	s.roots = x509.NewCertPool()
	s.roots.AppendCertsFromPEM(certPEM)
	if err := errors.Join(
		os.WriteFile(filepath.Join(s.dir, "cert.pem"), certPEM, 0o600),
		os.WriteFile(filepath.Join(s.dir, "key.pem"), pem.EncodeToMemory(&pem.Block{Type: "EC PRIVATE KEY", Bytes: keyDER}), 0o600),
		os.WriteFile(filepath.Join(s.dir, "building.toml"), []byte(storyBuilding), 0o600),
	); err != nil {
		s.Fatal(err)
	}
}

// start opens the program on the story's folder and runs it.
func (s *story) start() {
	s.Helper()
	file, err := config.Load(filepath.Join(s.dir, "building.toml"), config.Options{CheckSchedule: usage.CheckSchedule})
	if err != nil {
		s.Fatal(err)
	}
	file.Server.PushHosts = []string{s.pushes.Host()}
	file.Broker.Listen = s.broker
	socket, err := net.Listen("tcp", s.pages)
	if err != nil {
		s.Fatal(err)
	}
	s.app, err = newApp(s.Context(), setup{
		file: file, clock: s.clock, log: unmasked(s.log), engine: engine, listen: socket, noSync: true,
		client: push.ClientOptions{AllowPrivate: true, RootCAs: s.pushes.Roots()}, outbox: s.outbox,
	})
	if err != nil {
		s.Fatal(err)
	}
	s.pages, s.broker = s.app.address(), s.app.brokerAddr().String()
	if s.app.firstLink != "" {
		s.firstLink = s.app.firstLink
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	a := s.app
	go func() { ended <- a.run(ctx) }()
	s.stopApp = func() {
		cancel()
		if err := <-ended; err != nil && !(s.mode == killBeforeRecord && errors.Is(err, errKilled)) {
			s.Errorf("the program ended with %v", err)
		}
		a.close()
		s.stopApp = func() {}
	}
	s.seen = s.commits()
}

// reopen stops the program and starts it again on what it stored.
func (s *story) reopen() {
	s.Helper()
	for _, m := range s.meters {
		m.hangUp()
	}
	clear(s.meters)
	s.stopApp()
	for _, b := range s.browsers {
		b.client.CloseIdleConnections()
	}
	s.start()
}

// commits counts the commits of the building and its room.
func (s *story) commits() uint64 {
	return s.app.house.Snapshot("cellar").Seq + s.app.house.People().Seq
}

// disturb lets the run be disturbed, after each thing that may have committed.
func (s *story) disturb() {
	s.Helper()
	switch s.mode {
	case reopenAfterCommits:
		s.settle()
		if s.commits() != s.seen {
			s.reopen()
		}
	case killBeforeRecord:
		if s.tear.takeTorn() {
			s.reopen()
		}
	}
}

// settle waits until the room has worked off its inbox.
func (s *story) settle() {
	s.Helper()
	if _, err := s.app.house.Do(s.Context(), "cellar", coordinator.Tick{}); err != nil {
		s.Fatal(err)
	}
}

// catchUp waits until what is due has been told. The recording is played far
// faster than phones are told, and what is told late is replaced by what is newer.
func (s *story) catchUp() {
	s.Helper()
	for range 10_000 {
		next, err := s.app.store.NextDelivery(s.Context())
		if err != nil {
			s.Fatal(err)
		}
		if next.IsZero() || next.After(s.clock.Now()) {
			return
		}
		time.Sleep(time.Millisecond)
		s.disturb()
	}
	s.Fatal("the outbox is not worked off")
}

// until publishes the recording up to t; the clock follows it.
func (s *story) until(t time.Time) {
	s.Helper()
	for len(s.tape) > 0 && !s.tape[0].at.After(t) {
		r := s.tape[0]
		s.tape = s.tape[1:]
		s.clock.Set(r.at)
		s.meter(r.meter).publish(r)
		s.disturb()
		s.catchUp()
	}
	s.clock.Set(t)
	s.settle()
	s.disturb()
}

// end stops the program and returns who was told what; what was repeated must
// be the send under way when the program was killed, under its own key.
func (s *story) end() []string {
	s.Helper()
	secrets := s.secrets()
	s.stopApp()
	secrets.stayOut(s.T, s.log.String())
	for _, problem := range s.pushes.Problems() {
		s.Errorf("the push service complains: %s", problem)
	}
	var told []string
	for _, b := range s.browsers {
		if b.phone != nil {
			told = append(told, b.lines()...)
		}
	}
	return told
}

// payload is what a message says, with what identifies it.
type payload struct {
	Title, Body, Tag, URL, Kind string
	At                          time.Time
}

// lines says what a phone was told, a line a message, without the repeats that
// a kill explains: the same message with the same topic and tag.
func (b *browser) lines() []string {
	var lines []string
	last, topic := "", ""
	for _, m := range b.phone.Messages() {
		var p payload
		if err := json.Unmarshal(m.Plain, &p); err != nil {
			b.story.Fatalf("%s was sent %q: %v", b.name, m.Plain, err)
		}
		line := fmt.Sprintf("%s: %s %s [%s] %s / %s", b.name, p.Kind, p.At.Format("15:04:05"), p.Tag, p.Title, p.Body)
		if line == last && topic == m.Topic && b.story.mode == killBeforeRecord {
			continue
		}
		last, topic = line, m.Topic
		lines = append(lines, line)
	}
	return lines
}

// clientTLS is how the story's browsers and meters trust the pages.
func (s *story) clientTLS() *tls.Config {
	return &tls.Config{RootCAs: s.roots, MinVersion: tls.VersionTLS12}
}
