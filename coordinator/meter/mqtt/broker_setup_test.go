package mqtt

import (
	"context"
	"encoding/binary"
	"errors"
	"net"
	"os/exec"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator/meter"
)

// wall is the clock of the machine.
type wall struct{}

func (wall) Now() time.Time { return time.Now() }

// The check of the supervisor is what the device is answered with, and the
// meter's health says the same.
func TestBrokerUnderSupervision(t *testing.T) {
	b := newBroker(t, BrokerOptions{})
	if err := b.Listen(); err != nil {
		t.Fatal(err)
	}
	taken := 0
	s, err := meter.NewSupervisor(meter.Options{
		Clock:  wall{},
		Accept: func(context.Context, string, meter.Sample) error { taken++; return nil },
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Add("mqtt", b); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	d := dialTCP(t, b, 5)
	d.signIn(t, "x", "washer-1", password)
	if code, body := d.publish(t, "room/washer-1", "-900", 1); code != 0x83 || !strings.Contains(string(body), "wrong way round") {
		t.Errorf("PUBACK %#x %q", code, body)
	}
	h := s.Health()
	if m, _ := h.Meter("washer-1"); m.Refused[meter.Implausible] != 1 || m.Reason != meter.Implausible || !strings.Contains(m.Trouble, "wrong way round") {
		t.Errorf("health %+v", m)
	}
	d.publish(t, "room/washer-1", "900", 2)
	h = s.Health()
	if m, _ := h.Meter("washer-1"); m.Trouble != "" || m.Last.Watts != 900 || taken != 1 {
		t.Errorf("health %+v, taken %d", m, taken)
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

// BenchmarkBroker is the time from a published reading to its acknowledgement.
func BenchmarkBroker(b *testing.B) {
	broker := newBroker(b, BrokerOptions{})
	if err := broker.Listen(); err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() {
		done <- broker.Run(ctx, meter.SinkFunc(func(context.Context, string, meter.Sample) error { return nil }))
	}()
	c, err := net.Dial("tcp", broker.Addr().String())
	if err != nil {
		b.Fatal(err)
	}
	defer c.Close()
	d := &device{Conn: c, version: 4}
	_, _ = d.Write(d.connectPacket("x", "washer-1", password, 0))
	if _, _, err := d.read(); err != nil {
		b.Fatal(err)
	}
	p := d.publishPacket("room/washer-1", "1234.5", 1, 1)
	b.ReportAllocs()
	for b.Loop() {
		_, _ = d.Write(p)
		if _, _, err := d.read(); err != nil {
			b.Fatal(err)
		}
	}
	cancel()
	<-done
}

// An ordinary command-line client of another project, in both versions.
func TestBrokerWithMosquittoPub(t *testing.T) {
	pub, err := exec.LookPath("mosquitto_pub")
	if err != nil {
		t.Skip("mosquitto_pub is not installed")
	}
	box := &inbox{took: make(chan delivery, 8)}
	b := onTCP(t, BrokerOptions{Meters: []BrokerMeter{{
		Name: "washer-1", Topic: "room/washer-1", Password: password,
		Format: meter.Format{Watts: "/p", Wh: "/kwh", WhFactor: 1000, Time: "/t"},
	}}}, box)
	host, port, _ := net.SplitHostPort(b.Addr().String())
	run := func(args ...string) error {
		base := []string{"-h", host, "-p", port, "-t", "room/washer-1", "-m", `{"p":2000.5,"kwh":1.25,"t":1767366245}`}
		out, err := exec.CommandContext(t.Context(), pub, append(base, args...)...).CombinedOutput()
		t.Logf("%q: %s%v", args, out, err)
		return err
	}
	for _, version := range []string{"mqttv311", "mqttv5"} {
		for _, qos := range []string{"0", "1", "2"} {
			if err := run("-V", version, "-q", qos, "-u", "washer-1", "-P", password); err != nil {
				t.Errorf("%s QoS %s: %v", version, qos, err)
				continue
			}
			if got := box.next(t); got.Watts != 2000.5 || got.Wh != 1250 || got.Stamp.Unix() != 1767366245 {
				t.Errorf("%s QoS %s: %+v", version, qos, got)
			}
		}
		if run("-V", version, "-q", "1", "-u", "washer-1", "-P", "wrong password") == nil {
			t.Errorf("%s: a wrong password was taken", version)
		}
		if run("-V", version, "-q", "1") == nil {
			t.Errorf("%s: a client without a name was taken", version)
		}
	}
}

func TestNewBrokerReportsAllAtOnce(t *testing.T) {
	_, err := NewBroker(BrokerOptions{TLSAddress: ":8883", Meters: []BrokerMeter{
		{Name: "a", Topic: "t", Password: "short"},
		{Name: "b", Topic: "x/#", Password: password},
		{Name: "c", Topic: "c", Password: password, Format: meter.Format{Watts: "power"}},
		{Name: "d", Topic: "d", Password: password},
		{Name: "d", Topic: "d2", Password: password},
		{Name: "e", Topic: "d", Password: password},
		{Name: "f", Topic: "f", Password: password + "f", User: "d"},
		{Name: "", Topic: "g", Password: password},
		{Name: "h", Topic: "$SYS/h", Password: password},
		{Name: "i", Topic: "", Password: password},
	}})
	if err == nil {
		t.Fatal("no error")
	}
	for _, want := range []string{
		"TLS address needs a certificate", `meter "a": its password must have at least 8`, `no + or #`, `meter "c": watts:`,
		`meter "d" is there twice`, `topic "d" is that of user "d" already`, `user "d" has another password`, "a meter needs a name",
		"begin with $", "it is empty",
	} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("no word about %q in:\n%v", want, err)
		}
	}
	if _, err := NewBroker(BrokerOptions{}); err == nil || !strings.Contains(err.Error(), "address to listen on") || !strings.Contains(err.Error(), "no meters") {
		t.Errorf("nothing at all: %v", err)
	}
}

func TestBrokerAddressInUse(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	b := newBroker(t, BrokerOptions{Address: taken.Addr().String()})
	if err := b.Listen(); err == nil {
		t.Error("Listen took an address that is in use")
	}
	if err := b.Run(t.Context(), &inbox{}); err == nil {
		t.Error("Run took an address that is in use")
	}
	if b.Addr() != nil || b.TLSAddr() != nil {
		t.Error("an address that is not open")
	}
}

// After an end Run may be called again, and comes back at the same port.
func TestBrokerRunsAgain(t *testing.T) {
	box := &inbox{}
	b := newBroker(t, BrokerOptions{})
	var first string
	for range 3 {
		if err := b.Listen(); err != nil {
			t.Fatal(err)
		}
		if first == "" {
			first = b.Addr().String()
		}
		if got := b.Addr().String(); got != first {
			t.Errorf("came back at %s, was at %s", got, first)
		}
		stop := runDriver(t, b, box)
		d := dialTCP(t, b, 5)
		d.signIn(t, "x", "washer-1", password)
		d.publish(t, "room/washer-1", "1", 1)
		stop()
		if !d.gone() {
			t.Error("the connection outlived the broker")
		}
	}
	if len(box.deliveries()) != 3 {
		t.Errorf("taken %+v", box.deliveries())
	}
}

// Acknowledgements carry the packet's own id even when many wait.
func TestBrokerManyAtOnce(t *testing.T) {
	box := &inbox{}
	d := dialTCP(t, onTCP(t, BrokerOptions{}, box), 4)
	d.signIn(t, "x", "washer-1", password)
	const n = 500
	go func() {
		for i := range uint16(n) {
			if _, err := d.Write(d.publishPacket("room/washer-1", "1", 1, i+1)); err != nil {
				return
			}
		}
	}()
	for i := range uint16(n) {
		first, body, err := d.read()
		if err != nil || first != 0x40 || binary.BigEndian.Uint16(body) != i+1 {
			t.Fatalf("%d: %x % x %v", i, first, body, err)
		}
	}
	if len(box.deliveries()) != n {
		t.Errorf("taken %d", len(box.deliveries()))
	}
}

func TestBrokerStopsWhileAReadingWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var got error
		box := &inbox{answer: func(ctx context.Context, _ delivery) error { <-ctx.Done(); got = ctx.Err(); return got }}
		p, stop := onPipes(t, BrokerOptions{AcceptWithin: time.Hour}, box)
		d := p.dial()
		d.signIn(t, "x", "washer-1", password)
		if _, err := d.Write(d.publishPacket("room/washer-1", "5", 1, 1)); err != nil {
			t.Fatal(err)
		}
		synctest.Wait()
		stop()
		if !errors.Is(got, context.Canceled) {
			t.Errorf("the waiting reading ended with %v", got)
		}
		if first, _, err := d.read(); err == nil {
			t.Errorf("%x was sent although the reading was not taken", first)
		}
	})
}
