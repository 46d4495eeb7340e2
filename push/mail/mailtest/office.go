// Package mailtest has a real mail server for tests, which does as it is told.
package mailtest

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"log"
	"math/big"
	"net"
	"net/mail"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
)

// Office is a real mail server on this computer, which does as it is told.
type Office struct {
	testing.TB
	Addr  *net.TCPAddr
	Roots *x509.CertPool

	mu      sync.Mutex
	letters []Taken
	closing chan struct{}
	Orders
}

// Orders are what the server does; Change changes them while it runs.
type Orders struct {
	// What it answers at each step; nil: all is well.
	AtFrom, AtRcpt, AtData error
	// User may log in with Password; empty: it offers no login.
	User, Password string
	// Stall: it reads a letter and says nothing. Hang: it closes instead of answering.
	Stall, Hang bool
}

// Change gives it other orders.
func (o *Office) Change(change func(*Orders)) {
	o.mu.Lock()
	defer o.mu.Unlock()
	change(&o.Orders)
}

func (o *Office) what() Orders {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.Orders
}

// Taken is a letter as the server has it.
type Taken struct {
	From, To string
	Raw      []byte
	Login    string
	Safe     bool // came over TLS
}

// Read parses the letter.
func (l Taken) Read(t testing.TB) *mail.Message {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(l.Raw))
	if err != nil {
		t.Fatalf("the letter does not read: %v\n%s", err, l.Raw)
	}
	return m
}

// Open starts a server. with may change it before it listens; names are
// what its certificate is for (none: no TLS).
func Open(t testing.TB, implicit bool, with func(*Office), names ...string) *Office {
	t.Helper()
	o := &Office{TB: t, closing: make(chan struct{})}
	if with != nil {
		with(o)
	}
	s := smtp.NewServer(o)
	s.Domain, s.ErrorLog = "office.example.org", log.New(io.Discard, "", 0)
	s.AllowInsecureAuth = true
	s.MaxLineLength = 2000
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	o.Addr = ln.Addr().(*net.TCPAddr)
	if len(names) > 0 {
		s.TLSConfig = o.certificate(names)
		if implicit {
			ln = tls.NewListener(ln, s.TLSConfig)
		}
	}
	served := make(chan struct{})
	go func() {
		defer close(served)
		_ = s.Serve(ln)
	}()
	t.Cleanup(func() {
		close(o.closing)
		_ = s.Close()
		_ = ln.Close() // Close misses one that Serve has not come to yet
		<-served
	})
	return o
}

// certificate makes one that the office's own pool trusts.
func (o *Office) certificate(names []string) *tls.Config {
	o.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		o.Fatal(err)
	}
	c := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	for _, name := range names {
		if ip := net.ParseIP(name); ip != nil {
			c.IPAddresses = append(c.IPAddresses, ip)
		} else {
			c.DNSNames = append(c.DNSNames, name)
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		o.Fatal(err)
	}
	made, err := x509.ParseCertificate(der)
	if err != nil {
		o.Fatal(err)
	}
	o.Roots = x509.NewCertPool()
	o.Roots.AddCert(made)
	return &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}}
}

// All are the letters that it has taken.
func (o *Office) All() []Taken {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.letters
}

// Only is the one letter that the office has.
func (o *Office) Only() Taken {
	o.Helper()
	if n := len(o.All()); n != 1 {
		o.Fatalf("%d letters", n)
	}
	return o.All()[0]
}

// NewSession implements smtp.Backend.
func (o *Office) NewSession(c *smtp.Conn) (smtp.Session, error) {
	_, safe := c.TLSConnectionState()
	return &counter{Office: o, conn: c, letter: Taken{Safe: safe}}, nil
}

// counter serves one connection.
type counter struct {
	*Office
	conn   *smtp.Conn
	letter Taken
}

func (c *counter) AuthMechanisms() []string {
	if c.User == "" {
		return nil
	}
	return []string{sasl.Plain, sasl.Login}
}

func (c *counter) Auth(mech string) (sasl.Server, error) {
	if mech != sasl.Plain {
		return nil, errors.New("not here")
	}
	return sasl.NewPlainServer(func(_, user, password string) error {
		if user != c.User || password != c.Password {
			return &smtp.SMTPError{Code: 535, EnhancedCode: smtp.EnhancedCode{5, 7, 8}, Message: "no such user, or another password"}
		}
		c.letter.Login = user
		return nil
	}), nil
}

func (c *counter) Mail(from string, _ *smtp.MailOptions) error {
	c.letter.From = from
	return c.what().AtFrom
}

func (c *counter) Rcpt(to string, _ *smtp.RcptOptions) error {
	c.letter.To = to
	return c.what().AtRcpt
}

func (c *counter) Data(r io.Reader) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	switch now := c.what(); {
	case now.Stall:
		<-c.closing
	case now.Hang:
		return c.conn.Conn().Close()
	case now.AtData != nil:
		return now.AtData
	}
	c.letter.Raw = raw
	c.mu.Lock()
	defer c.mu.Unlock()
	c.letters = append(c.letters, c.letter)
	return nil
}

func (c *counter) Reset()        {}
func (c *counter) Logout() error { return nil }
