package mail

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

// office is a real mail server on this computer, which does as it is told.
type office struct {
	testing.TB
	addr *net.TCPAddr
	pool *x509.CertPool

	mu      sync.Mutex
	letters []taken
	// What it answers at each step; nil: all is well.
	atFrom, atRcpt, atData error
	user, password         string
	// stall: it reads a letter and says nothing. hang: it closes instead of answering.
	stall, hang bool
	closing     chan struct{}
}

// taken is a letter as the server has it.
type taken struct {
	from, to string
	raw      []byte
	login    string
	safe     bool // came over TLS
}

// read parses the letter.
func (l taken) read(t testing.TB) *mail.Message {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(l.raw))
	if err != nil {
		t.Fatalf("the letter does not read: %v\n%s", err, l.raw)
	}
	return m
}

// openOffice starts a server. with may change it before it listens; names are
// what its certificate is for (none: no TLS).
func openOffice(t testing.TB, implicit bool, with func(*office), names ...string) *office {
	t.Helper()
	o := &office{TB: t, closing: make(chan struct{})}
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
	o.addr = ln.Addr().(*net.TCPAddr)
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
func (o *office) certificate(names []string) *tls.Config {
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
	o.pool = x509.NewCertPool()
	o.pool.AddCert(made)
	return &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}}
}

// server is our side of the office.
func (o *office) server(security Security, change func(*Settings)) *Server {
	o.Helper()
	s := Settings{
		Host: "127.0.0.1", Port: o.addr.Port, Security: security, From: "laundry@example.org", Building: "Plover Yard 3",
		PublicURL: "https://laundry.example.org", RootCAs: o.pool, Timeout: 5 * time.Second,
	}
	if o.user != "" {
		s.User, s.Password = o.user, func() string { return o.password }
	}
	if change != nil {
		change(&s)
	}
	server, err := New(s)
	if err != nil {
		o.Fatal(err)
	}
	return server
}

func (o *office) all() []taken {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.letters
}

// only is the one letter that the office has.
func (o *office) only() taken {
	o.Helper()
	if n := len(o.all()); n != 1 {
		o.Fatalf("%d letters", n)
	}
	return o.all()[0]
}

// NewSession implements smtp.Backend.
func (o *office) NewSession(c *smtp.Conn) (smtp.Session, error) {
	_, safe := c.TLSConnectionState()
	return &counter{office: o, conn: c, letter: taken{safe: safe}}, nil
}

// counter serves one connection.
type counter struct {
	*office
	conn   *smtp.Conn
	letter taken
}

func (c *counter) AuthMechanisms() []string {
	if c.user == "" {
		return nil
	}
	return []string{sasl.Plain, sasl.Login}
}

func (c *counter) Auth(mech string) (sasl.Server, error) {
	if mech != sasl.Plain {
		return nil, errors.New("not here")
	}
	return sasl.NewPlainServer(func(_, user, password string) error {
		if user != c.user || password != c.password {
			return &smtp.SMTPError{Code: 535, EnhancedCode: smtp.EnhancedCode{5, 7, 8}, Message: "no such user, or another password"}
		}
		c.letter.login = user
		return nil
	}), nil
}

func (c *counter) Mail(from string, _ *smtp.MailOptions) error {
	c.letter.from = from
	return c.atFrom
}

func (c *counter) Rcpt(to string, _ *smtp.RcptOptions) error {
	c.letter.to = to
	return c.atRcpt
}

func (c *counter) Data(r io.Reader) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	switch {
	case c.stall:
		<-c.closing
	case c.hang:
		return c.conn.Conn().Close()
	case c.atData != nil:
		return c.atData
	}
	c.letter.raw = raw
	c.mu.Lock()
	defer c.mu.Unlock()
	c.letters = append(c.letters, c.letter)
	return nil
}

func (c *counter) Reset()        {}
func (c *counter) Logout() error { return nil }

func reply(code int, enhanced smtp.EnhancedCode, text string) error {
	return &smtp.SMTPError{Code: code, EnhancedCode: enhanced, Message: text}
}
