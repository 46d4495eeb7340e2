package mqtt

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"math/big"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// An MQTT 5 SUBSCRIBE whose payload ends before the options byte: packet
// identifier 1, no properties, filter "a/b", and nothing after it. The library
// panics on it (github.com/mochi-mqtt/server issue 501, version 2.7.9).
var crashing = []byte{
	0x82, 0x08, // SUBSCRIBE, 8 bytes follow
	0x00, 0x01, // packet identifier
	0x00,                      // no properties
	0x00, 0x03, 'a', '/', 'b', // topic filter, without its options
}

func TestBrokerLivesThroughTheCrashingSubscribe(t *testing.T) {
	var log lockedBuffer
	box := &inbox{}
	b := onTCP(t, BrokerOptions{Log: log.logger()}, box)
	steady := dialTCP(t, b, 5)
	steady.signIn(t, "steady", "washer-2", password+" 2")
	for range 3 {
		d := dialTCP(t, b, 5)
		if code := d.signIn(t, "crash", "washer-1", password); code != 0 {
			t.Fatalf("CONNACK %#x", code)
		}
		if _, err := d.Write(crashing); err != nil {
			t.Fatal(err)
		}
		if !d.gone() {
			t.Error("the connection is still open")
		}
	}
	if code, _ := steady.publish(t, "room/washer-2", "2", 1); code != 0 {
		t.Errorf("another connection suffered: PUBACK %#x", code)
	}
	fresh := dialTCP(t, b, 5)
	if code := fresh.signIn(t, "crash", "washer-1", password); code != 0 {
		t.Errorf("a new client is refused: %#x", code)
	}
	if code, _ := fresh.publish(t, "room/washer-1", "1", 1); code != 0 || len(box.deliveries()) != 2 {
		t.Errorf("PUBACK %#x, taken %+v", code, box.deliveries())
	}
	if !strings.Contains(log.String(), "panic") {
		t.Log("the library no longer panics on these bytes")
	}
	if strings.Contains(log.String(), password) {
		t.Error("a password is in the log")
	}
}

// The stock listener ends for good on the first of these.
func TestBrokerLivesThroughAcceptErrors(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var log lockedBuffer
		p, stop := onPipes(t, BrokerOptions{Log: log.logger()}, &inbox{})
		for range 20 {
			p.errs <- errors.New("too many open files")
		}
		d := p.dial()
		if code := d.signIn(t, "x", "washer-1", password); code != 0 {
			t.Errorf("CONNACK %#x", code)
		}
		stop()
		if n := strings.Count(log.String(), "too many open files"); n != 1 {
			t.Errorf("said %d times", n)
		}
	})
}

// A socket that somebody else closed is an error that asks for a restart.
func TestBrokerReportsAClosedSocket(t *testing.T) {
	b := newBroker(t, BrokerOptions{})
	if err := b.Listen(); err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- b.Run(t.Context(), &inbox{}) }()
	d := dialTCP(t, b, 5)
	d.signIn(t, "x", "washer-1", password)
	_ = b.plain.socket.Close()
	if err := <-done; !errors.Is(err, net.ErrClosed) {
		t.Errorf("Run returned %v", err)
	}
}

// Who connects and says nothing is sent away, and does not hold up the end.
func TestBrokerSilentConnections(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, stop := onPipes(t, BrokerOptions{}, &inbox{})
		silent := p.dial()
		_ = silent.SetDeadline(time.Now().Add(time.Hour))
		began := time.Now()
		if !silent.gone() || time.Since(began) != signInWithin {
			t.Errorf("sent away after %s, want %s", time.Since(began), signInWithin)
		}
		p.dial()
		p.dial()
		stop() // returns although two connections have not signed in
	})
}

// A device that does not read its acknowledgements is given up.
func TestBrokerDeviceThatDoesNotRead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, stop := onPipes(t, BrokerOptions{}, &inbox{})
		d := p.dial()
		d.signIn(t, "x", "washer-1", password)
		if _, err := d.Write(d.publishPacket("room/washer-1", "1", 1, 1)); err != nil {
			t.Fatal(err)
		}
		time.Sleep(writeWithin + time.Second)
		synctest.Wait()
		_ = d.SetDeadline(time.Now().Add(time.Second))
		if !d.gone() {
			t.Error("the connection is still open")
		}
		stop()
	})
}

// A keep-alive whose one and a half times overflows 16 bits must not end the
// connection at once, nor may none at all.
func TestBrokerKeepAlive(t *testing.T) {
	for _, keepalive := range []uint16{0, 43691, 65535} {
		synctest.Test(t, func(t *testing.T) {
			p, stop := onPipes(t, BrokerOptions{}, &inbox{})
			d := p.dial()
			d.version = 4
			if first, body := d.say(t, d.connectPacket("x", "washer-1", password, keepalive)); first != 0x20 || body[1] != 0 {
				t.Fatalf("CONNACK % x", body)
			}
			time.Sleep(10 * time.Minute)
			if code, _ := d.publish(t, "room/washer-1", "1", 1); code != 0 {
				t.Errorf("keep-alive %d: PUBACK %#x", keepalive, code)
			}
			stop()
		})
	}
	synctest.Test(t, func(t *testing.T) {
		p, stop := onPipes(t, BrokerOptions{}, &inbox{})
		d := p.dial()
		d.say(t, d.connectPacket("x", "washer-1", password, 20))
		_ = d.SetDeadline(time.Now().Add(time.Hour))
		began := time.Now()
		// MQTT 5, section 3.1.2.10: closed after one and a half times.
		if !d.gone() || time.Since(began) != 30*time.Second {
			t.Errorf("closed after %s, want 30 s", time.Since(began))
		}
		stop()
	})
}

// A device that comes back under new client ids again and again keeps its newest connections.
func TestBrokerKeepsTheNewestConnectionsOfAnAccount(t *testing.T) {
	b := onTCP(t, BrokerOptions{}, &inbox{})
	var devices []*device
	for i := range maxPerAccount + 2 {
		d := dialTCP(t, b, 5)
		d.signIn(t, string(rune('a'+i)), "washer-1", password)
		devices = append(devices, d)
	}
	for i, d := range devices {
		if i < 2 {
			if !d.gone() {
				t.Errorf("connection %d is still open", i)
			}
		} else if code, _ := d.publish(t, "room/washer-1", "1", 1); code != 0 {
			t.Errorf("connection %d: PUBACK %#x", i, code)
		}
	}
}

func TestBrokerLimitsConnections(t *testing.T) {
	b := onTCP(t, BrokerOptions{MaxClients: 2}, &inbox{})
	one, two := dialTCP(t, b, 5), dialTCP(t, b, 5)
	one.signIn(t, "1", "washer-1", password)
	two.signIn(t, "2", "washer-2", password+" 2")
	if three := dialTCP(t, b, 5); !three.gone() {
		t.Error("a third connection was taken")
	}
	if code, _ := one.publish(t, "room/washer-1", "1", 1); code != 0 {
		t.Errorf("PUBACK %#x", code)
	}
}

func TestBrokerRefusesLargePackets(t *testing.T) {
	d := dialTCP(t, onTCP(t, BrokerOptions{}, &inbox{}), 5)
	d.signIn(t, "x", "washer-1", password)
	_, _ = d.Write(d.publishPacket("room/washer-1", strings.Repeat("1", 20<<10), 1, 1))
	if !d.gone() {
		t.Error("20 KiB were taken")
	}
}

// certificate makes a self-signed certificate for 127.0.0.1, and a pool that trusts it.
func certificate(t *testing.T) (tls.Certificate, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(leaf)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, pool
}

func TestBrokerTLS(t *testing.T) {
	cert, pool := certificate(t)
	box := &inbox{}
	b := onTCP(t, BrokerOptions{TLSAddress: "127.0.0.1:0", TLS: &tls.Config{Certificates: []tls.Certificate{cert}}}, box)
	if b.Addr() != nil {
		t.Error("a plain socket is open that nobody asked for")
	}
	c, err := tls.Dial("tcp", b.TLSAddr().String(), &tls.Config{RootCAs: pool})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	d := &device{Conn: c, version: 4}
	if code := d.signIn(t, "x", "washer-1", password); code != 0 {
		t.Fatalf("CONNACK %#x", code)
	}
	d.publish(t, "room/washer-1", "8", 1)
	if got := box.deliveries(); len(got) != 1 || got[0].Watts != 8 {
		t.Errorf("taken %+v", got)
	}
}

// Whatever a signed-in client sends, the broker takes the next client.
func FuzzBrokerPackets(f *testing.F) {
	five := &device{version: 5}
	f.Add(crashing, true)
	f.Add(five.publishPacket("room/washer-1", "1", 1, 1), true)
	f.Add(packet(0x82, []byte{0, 1, 0}, text("#"), []byte{1}), true)
	f.Add(packet(0xA2, []byte{0, 1, 0}, text("#")), true)
	f.Add(packet(0xF0, []byte{0, 0}), true)
	f.Add(packet(0xE0, []byte{0, 0}), true)
	f.Add(five.connectPacket("a", "b", "c", 0), false)
	f.Add([]byte{0x10, 0xff, 0xff, 0xff, 0xff}, false)
	p := newPipes()
	b := newBroker(f, BrokerOptions{})
	b.plain.socket = p
	ctx := f.Context()
	go func() { _ = b.Run(ctx, &inbox{}) }()
	f.Fuzz(func(t *testing.T, data []byte, signedIn bool) {
		for _, payload := range [][]byte{data, nil} {
			d := p.dial()
			_ = d.SetDeadline(time.Now().Add(5 * time.Second))
			if signedIn || payload == nil {
				if code := d.signIn(t, "fuzz", "washer-1", password); code != 0 {
					t.Fatalf("CONNACK %#x", code)
				}
			}
			go func() {
				_, _ = d.Write(payload)
				_ = d.Close()
			}()
			d.gone()
		}
	})
}
