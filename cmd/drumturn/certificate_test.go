package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// pair makes a certificate of its own for 127.0.0.1, with its key, as PEM.
func pair(t *testing.T, serial int64) (cert, key string) {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: "laundry"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour),
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &k.PublicKey, k)
	if err != nil {
		t.Fatal(err)
	}
	keyDER, err := x509.MarshalECPrivateKey(k)
	if err != nil {
		t.Fatal(err)
	}
	return string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})),
		string(pem.EncodeToMemory(&pem.Block{Type: "EC PRIVATE KEY", Bytes: keyDER}))
}

// shelf is a folder with a certificate and its key, whose times are set by hand.
type shelf struct {
	*testing.T
	dir   string
	stamp time.Time
}

func newShelf(t *testing.T, serial int64) *shelf {
	s := &shelf{t, t.TempDir(), time.Now().Add(-time.Hour)}
	s.put(pair(t, serial))
	return s
}

// put replaces both files; the certificate gets a later time.
func (s *shelf) put(cert, key string) {
	s.Helper()
	s.stamp = s.stamp.Add(time.Minute)
	if err := errors.Join(
		os.WriteFile(s.path("key.pem"), []byte(key), 0o600),
		os.WriteFile(s.path("cert.pem"), []byte(cert), 0o600),
		os.Chtimes(s.path("cert.pem"), s.stamp, s.stamp),
	); err != nil {
		s.Fatal(err)
	}
}

func (s *shelf) path(name string) string { return filepath.Join(s.dir, name) }

// serial is the number of the certificate that is given out now.
func (s *shelf) serial(c *certFiles) int64 {
	s.Helper()
	got, err := c.get(nil)
	if err != nil {
		s.Fatal(err)
	}
	leaf, err := x509.ParseCertificate(got.Certificate[0])
	if err != nil {
		s.Fatal(err)
	}
	return leaf.SerialNumber.Int64()
}

func TestCertFilesFollow(t *testing.T) {
	s := newShelf(t, 1)
	c := &certFiles{cert: s.path("cert.pem"), key: s.path("key.pem"), section: "server"}
	if n := s.serial(c); n != 1 {
		t.Fatalf("certificate %d", n)
	}
	first, _ := c.get(nil)
	if again, _ := c.get(nil); again != first {
		t.Error("an unchanged certificate is read again for every visitor")
	}
	s.put(pair(t, 2))
	if n := s.serial(c); n != 2 {
		t.Errorf("after a renewal certificate %d is given out", n)
	}
}

// TestCertFilesBroken: whatever happens to the files, the last good pair stays
// in use, and a good one is taken as soon as it is there.
func TestCertFilesBroken(t *testing.T) {
	good, key := pair(t, 2)
	other, _ := pair(t, 3)
	for name, spoil := range map[string]func(*shelf){
		"no certificate":   func(s *shelf) { s.put("nonsense", key) },
		"empty":            func(s *shelf) { s.put("", "") },
		"half written":     func(s *shelf) { s.put(good[:len(good)/2], key) },
		"of another key":   func(s *shelf) { s.put(other, key) },
		"deleted":          func(s *shelf) { _ = os.Remove(s.path("cert.pem")) },
		"without its key":  func(s *shelf) { s.put(good, key); _ = os.Remove(s.path("key.pem")) },
		"a folder instead": func(s *shelf) { _ = os.Remove(s.path("cert.pem")); _ = os.Mkdir(s.path("cert.pem"), 0o700) },
	} {
		t.Run(name, func(t *testing.T) {
			s := newShelf(t, 1)
			c := &certFiles{cert: s.path("cert.pem"), key: s.path("key.pem"), section: "server"}
			if n := s.serial(c); n != 1 {
				t.Fatalf("certificate %d", n)
			}
			spoil(s)
			if n := s.serial(c); n != 1 {
				t.Errorf("certificate %d, want the old one", n)
			}
			_ = os.Remove(s.path("cert.pem"))
			s.put(good, key)
			if n := s.serial(c); n != 2 {
				t.Errorf("once mended it is certificate %d, want the new one", n)
			}
		})
	}
}

// TestCertFilesAtStart: without a good pair there is nothing to give out, and
// the message says which settings to look at.
func TestCertFilesAtStart(t *testing.T) {
	s := newShelf(t, 1)
	for name, c := range map[string]*certFiles{
		"no certificate": {cert: s.path("none.pem"), key: s.path("key.pem"), section: "server"},
		"no key":         {cert: s.path("cert.pem"), key: s.path("none.pem"), section: "server"},
		"swapped":        {cert: s.path("key.pem"), key: s.path("cert.pem"), section: "server"},
	} {
		got, err := c.get(nil)
		if err == nil || got != nil || !strings.Contains(err.Error(), "server.cert_file") {
			t.Errorf("%s: %v, %v", name, got, err)
		}
	}
}

const filesBuilding = `
[building]
name = "Files"
time_zone = "UTC"
[server]
listen = "127.0.0.1:0"
tls = "files"
cert_file = "cert.pem"
key_file = "key.pem"
data = "data"
[rooms.cellar]
name = "Cellar"
[[rooms.cellar.machines]]
number = 1
kind = "washer"
`

// metSerial is the number of the certificate that a visitor meets at an address.
func metSerial(t *testing.T, address string) int64 {
	t.Helper()
	conn, err := tls.Dial("tcp", address, &tls.Config{InsecureSkipVerify: true, MinVersion: tls.VersionTLS12})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	return conn.ConnectionState().PeerCertificates[0].SerialNumber.Int64()
}

// TestCertificateRenewedWhileRunning: visitors meet the new certificate without
// a restart, and the old one while the new one is broken.
func TestCertificateRenewedWhileRunning(t *testing.T) {
	cert, key := pair(t, 7)
	w := wiring(t, filesBuilding, map[string]string{"cert.pem": cert, "key.pem": key}).start()
	shelf := &shelf{t, w.dir, time.Now()}
	if n := metSerial(t, w.app.address()); n != 7 {
		t.Errorf("at the start: certificate %d", n)
	}
	shelf.put("nonsense", key)
	if n := metSerial(t, w.app.address()); n != 7 {
		t.Errorf("while the new one is broken: certificate %d", n)
	}
	shelf.put(pair(t, 8))
	if n := metSerial(t, w.app.address()); n != 8 {
		t.Errorf("after the renewal: certificate %d", n)
	}
}

// TestOldTLSIsRefused: TLS 1.0 and 1.1 are deprecated (RFC 8996).
func TestOldTLSIsRefused(t *testing.T) {
	cert, key := pair(t, 7)
	w := wiring(t, filesBuilding, map[string]string{"cert.pem": cert, "key.pem": key}).start()
	for version, good := range map[uint16]bool{tls.VersionTLS10: false, tls.VersionTLS11: false, tls.VersionTLS12: true, tls.VersionTLS13: true} {
		conn, err := tls.Dial("tcp", w.app.address(), &tls.Config{InsecureSkipVerify: true, MinVersion: version, MaxVersion: version})
		if (err == nil) != good {
			t.Errorf("%s: %v", tls.VersionName(version), err)
		}
		if err == nil {
			_ = conn.Close()
		}
	}
}
