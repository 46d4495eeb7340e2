package mqtt

import (
	"context"
	"encoding/binary"
	"errors"
	"net"
	"os/exec"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator/meter"
)

// versions are the protocol levels of CONNECT: 4 is MQTT 3.1.1.
var versions = map[string]byte{"MQTT 3.1.1": 4, "MQTT 5": 5}

func TestBrokerTakesReadings(t *testing.T) {
	for name, version := range versions {
		t.Run(name, func(t *testing.T) {
			box := &inbox{took: make(chan delivery, 8)}
			b := onTCP(t, BrokerOptions{}, box)
			d := dialTCP(t, b, version)
			if code := d.signIn(t, "x", "washer-1", password); code != 0 {
				t.Fatalf("CONNACK %x", code)
			}
			if code, _ := d.publish(t, "room/washer-1", "12.5", 1); code != 0 {
				t.Errorf("PUBACK %x", code)
			}
			if _, err := d.Write(d.publishPacket("room/washer-1", "13", 0, 0)); err != nil {
				t.Fatal(err)
			}
			for _, want := range []float64{12.5, 13} {
				if got := box.next(t); got.meter != "washer-1" || got.Watts != want {
					t.Errorf("got %+v, want %v W", got, want)
				}
			}
		})
	}
}

// QoS 2 is exactly once (MQTT 5, section 4.3.3): a message sent again before
// its release is taken once.
func TestBrokerQoS2(t *testing.T) {
	box := &inbox{took: make(chan delivery, 8)}
	d := dialTCP(t, onTCP(t, BrokerOptions{}, box), 4)
	d.signIn(t, "x", "washer-1", password)
	for range 2 {
		if first, _ := d.say(t, d.publishPacket("room/washer-1", "7", 2, 9)); first != 0x50 {
			t.Fatalf("no PUBREC but %x", first)
		}
	}
	if first, _ := d.say(t, packet(0x62, []byte{0, 9})); first != 0x70 {
		t.Fatalf("no PUBCOMP but %x", first)
	}
	if got := box.deliveries(); len(got) != 1 || got[0].Watts != 7 {
		t.Errorf("taken %+v, want one reading", got)
	}
}

func TestBrokerSignIn(t *testing.T) {
	for name, c := range map[string]struct{ user, password string }{
		"nobody":              {"", ""},
		"unknown":             {"washer-9", password},
		"wrong password":      {"washer-1", "not the password"},
		"password of another": {"washer-1", password + " 2"},
		"longer password":     {"washer-1", password + "x"},
	} {
		for version, level := range versions {
			t.Run(name+" "+version, func(t *testing.T) {
				box := &inbox{}
				d := dialTCP(t, onTCP(t, BrokerOptions{}, box), level)
				code := d.signIn(t, "x", c.user, c.password)
				// 5 is "not authorized" in 3.1.1; 0x86 "bad user name or password" in 5.
				if want := map[byte]byte{4: 5, 5: 0x86}[level]; code != want {
					t.Errorf("CONNACK %#x, want %#x", code, want)
				}
				if !d.gone() {
					t.Error("the connection is still open")
				}
				if c.user == "washer-1" && !box.failed("wrong password") {
					t.Errorf("nothing about it beside the meter: %q", box.failures)
				}
			})
		}
	}
}

func TestBrokerSlowsDownGuessing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var log lockedBuffer
		p, stop := onPipes(t, BrokerOptions{Log: log.logger()}, &inbox{})
		try := func(user, pass string) byte {
			d := p.dial()
			defer d.Close()
			return d.signIn(t, "x", user, pass)
		}
		for range guessesPerMinute {
			try("washer-1", "a wrong guess")
		}
		if try("washer-1", password) == 0 {
			t.Error("the right password was still looked at after too many guesses")
		}
		if try("washer-2", password+" 2") != 0 {
			t.Error("guesses at one meter kept out another")
		}
		time.Sleep(time.Minute)
		if try("washer-1", password) != 0 {
			t.Error("a minute later the right password is still refused")
		}
		stop()
		if strings.Contains(log.String(), password) || strings.Contains(log.String(), "a wrong guess") {
			t.Error("a password is in the log")
		}
	})
}

func TestBrokerOwnTopicOnly(t *testing.T) {
	for name, version := range versions {
		t.Run(name, func(t *testing.T) {
			box := &inbox{}
			d := dialTCP(t, onTCP(t, BrokerOptions{}, box), version)
			d.signIn(t, "x", "washer-1", password)
			for i, topic := range []string{"room/washer-2", "room", "room/washer-1/x", "else"} {
				code, _ := d.publish(t, topic, "500", uint16(i+1))
				if want := map[byte]byte{4: 0, 5: 0x87}[version]; code != want { // Not authorized
					t.Errorf("%s: PUBACK %#x, want %#x", topic, code, want)
				}
			}
			if !box.failed(`"room/washer-2"`) || !box.failed(`its topic here is "room/washer-1"`) {
				t.Errorf("the slip is not shown: %q", box.failures)
			}
			if code, _ := d.publish(t, "room/washer-1", "1", 99); code != 0 {
				t.Errorf("the connection does not go on: %#x", code)
			}
			if got := box.deliveries(); len(got) != 1 || got[0].meter != "washer-1" {
				t.Errorf("taken %+v, want only its own", got)
			}
		})
	}
}

// Many devices publish to other topics too. Once readings arrive that is no trouble.
func TestBrokerOtherTopicsOfAWorkingMeterAreNoTrouble(t *testing.T) {
	box := &inbox{}
	d := dialTCP(t, onTCP(t, BrokerOptions{}, box), 4)
	d.signIn(t, "x", "washer-1", password)
	d.publish(t, "room/washer-1", "1", 1)
	d.publish(t, "room/washer-1/online", "true", 2)
	if len(box.failures) != 0 {
		t.Errorf("trouble: %q", box.failures)
	}
}

func TestBrokerNobodySubscribes(t *testing.T) {
	for name, version := range versions {
		t.Run(name, func(t *testing.T) {
			b := onTCP(t, BrokerOptions{}, &inbox{})
			d := dialTCP(t, b, version)
			d.signIn(t, "x", "washer-1", password)
			for _, filter := range []string{"room/washer-1", "room/washer-2", "#", "$SYS/#"} {
				first, body := d.say(t, packet(0x82, []byte{0, 7}, d.properties(), text(filter), []byte{1}))
				want := map[byte]byte{4: 0x80, 5: 0x87}[version]
				if first != 0x90 || body[len(body)-1] != want {
					t.Errorf("%s: %x % x, want a SUBACK of %#x", filter, first, body, want)
				}
			}
		})
	}
}

// The acknowledgement of QoS 1 comes once Deliver has returned, never before.
func TestBrokerAcknowledgesOnceInTheInbox(t *testing.T) {
	for name, version := range versions {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				release := make(chan struct{})
				box := &inbox{answer: func(context.Context, delivery) error { <-release; return nil }}
				p, stop := onPipes(t, BrokerOptions{}, box)
				d := p.dial()
				d.version = version
				d.signIn(t, "x", "washer-1", password)
				var acked atomic.Bool
				go func() {
					if first, _, err := d.read(); err == nil && first == 0x40 {
						acked.Store(true)
					}
				}()
				if _, err := d.Write(d.publishPacket("room/washer-1", "5", 1, 1)); err != nil {
					t.Fatal(err)
				}
				synctest.Wait() // everything that could be sent has been sent
				if acked.Load() {
					t.Error("acknowledged before the reading was in the inbox")
				}
				close(release)
				synctest.Wait()
				if !acked.Load() {
					t.Error("not acknowledged after it was")
				}
				stop()
			})
		})
	}
}

func TestBrokerRefusedReadings(t *testing.T) {
	refuse := func(_ context.Context, d delivery) error {
		_, err := meter.Check(d.meter, d.Sample, time.Now())
		return err
	}
	for name, c := range map[string]struct {
		payload string
		code    byte
		says    string
	}{
		"malformed":   {"on", 0x99, "not a plain number"}, // Payload format invalid
		"implausible": {"-800", 0x83, "below zero"},       // Implementation specific error
	} {
		for version, level := range versions {
			t.Run(name+" "+version, func(t *testing.T) {
				box := &inbox{answer: refuse}
				d := dialTCP(t, onTCP(t, BrokerOptions{}, box), level)
				d.signIn(t, "x", "washer-1", password)
				code, body := d.publish(t, "room/washer-1", c.payload, 3)
				switch {
				case level == 4 && code != 0:
					t.Errorf("PUBACK %#x: 3.1.1 knows no refusal", code)
				case level == 5 && (code != c.code || !strings.Contains(string(body), c.says)):
					t.Errorf("PUBACK %#x %q, want %#x and %q", code, body, c.code, c.says)
				}
				if code, _ = d.publish(t, "room/washer-1", "4", 4); code != 0 || len(box.deliveries()) != 1 {
					t.Errorf("after it: PUBACK %#x, taken %+v", code, box.deliveries())
				}
			})
		}
	}
}

// A reading that finds no room is not acknowledged to a 3.1.1 device: it sends
// it again once it has connected anew. MQTT 5 has a reason code for it.
func TestBrokerFullInbox(t *testing.T) {
	var busy atomic.Bool
	box := &inbox{answer: func(context.Context, delivery) error {
		if busy.Load() {
			return meter.ErrBusy
		}
		return nil
	}}
	b := onTCP(t, BrokerOptions{}, box)

	busy.Store(true)
	five := dialTCP(t, b, 5)
	five.signIn(t, "five", "washer-1", password)
	if code, _ := five.publish(t, "room/washer-1", "5", 1); code != 0x97 { // Quota exceeded
		t.Errorf("PUBACK %#x, want 0x97", code)
	}
	old := dialTCP(t, b, 4)
	old.signIn(t, "old", "washer-1", password)
	if _, err := old.Write(old.publishPacket("room/washer-1", "6", 1, 1)); err != nil {
		t.Fatal(err)
	}
	if first, body, err := old.read(); err == nil {
		t.Errorf("answered %x % x, want a closed connection", first, body)
	} else if !old.gone() {
		t.Error("neither answered nor closed")
	}
	busy.Store(false)
	again := dialTCP(t, b, 4)
	again.signIn(t, "old", "washer-1", password)
	if code, _ := again.publish(t, "room/washer-1", "6", 1); code != 0 {
		t.Errorf("PUBACK %#x", code)
	}
	if got := box.deliveries(); len(got) != 1 || got[0].Watts != 6 {
		t.Errorf("taken %+v", got)
	}
}

// A stuck room holds its meter's connection, and no other.
func TestBrokerStuckRoomHoldsNoOtherMeter(t *testing.T) {
	stuck := make(chan struct{})
	box := &inbox{answer: func(ctx context.Context, d delivery) error {
		if d.meter == "washer-1" {
			close(stuck)
			<-ctx.Done()
			return ctx.Err()
		}
		return nil
	}}
	b := onTCP(t, BrokerOptions{AcceptWithin: time.Hour}, box)
	one, two := dialTCP(t, b, 5), dialTCP(t, b, 5)
	one.signIn(t, "1", "washer-1", password)
	two.signIn(t, "2", "washer-2", password+" 2")
	if _, err := one.Write(one.publishPacket("room/washer-1", "1", 1, 1)); err != nil {
		t.Fatal(err)
	}
	<-stuck
	if code, _ := two.publish(t, "room/washer-2", "2", 1); code != 0 {
		t.Errorf("PUBACK %#x", code)
	}
}

// Two meters may pick the same client id; neither ends the other's session.
func TestBrokerClientIDsOfMetersAreApart(t *testing.T) {
	box := &inbox{}
	b := onTCP(t, BrokerOptions{}, box)
	one, two := dialTCP(t, b, 5), dialTCP(t, b, 5)
	one.signIn(t, "same", "washer-1", password)
	two.signIn(t, "same", "washer-2", password+" 2")
	for i := range uint16(3) {
		one.publish(t, "room/washer-1", "1", i+1)
		two.publish(t, "room/washer-2", "2", i+1)
	}
	if got := box.deliveries(); len(got) != 6 {
		t.Errorf("taken %d readings, want 6", len(got))
	}
}

// Nothing is kept of a session: CONNACK says so when the device comes back
// (session present, MQTT 5 section 3.2.2.1.1), also if it asked for one.
func TestBrokerKeepsNoSessions(t *testing.T) {
	for name, version := range versions {
		t.Run(name, func(t *testing.T) {
			b := onTCP(t, BrokerOptions{}, &inbox{})
			for range 3 {
				d := dialTCP(t, b, version)
				var props []byte
				if version == 5 {
					props = []byte{5, 0x11, 0, 0, 0x0e, 0x10} // session expiry interval: one hour
				}
				connect := packet(0x10, text("MQTT"), []byte{version, 0xC0, 0, 60}, props, text("x"), text("washer-1"), text(password))
				first, body := d.say(t, connect)
				if first != 0x20 || body[0] != 0 || body[1] != 0 {
					t.Fatalf("CONNACK %x % x", first, body)
				}
				d.publish(t, "room/washer-1", "1", 1)
				_, _ = d.Write([]byte{0xE0, 0}) // DISCONNECT
				if !d.gone() {
					t.Error("still connected")
				}
			}
		})
	}
}

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
	if m, _ := h.Meter("washer-1"); m.Refused[meter.Implausible] != 1 || !strings.Contains(m.Trouble, "wrong way round") {
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

// The same client coming back ends its older connection (MQTT 5, section
// 3.1.4: the server must disconnect it).
func TestBrokerSameClientComesBack(t *testing.T) {
	for name, version := range versions {
		t.Run(name, func(t *testing.T) {
			b := onTCP(t, BrokerOptions{}, &inbox{})
			old, fresh := dialTCP(t, b, version), dialTCP(t, b, version)
			old.signIn(t, "same", "washer-1", password)
			fresh.signIn(t, "same", "washer-1", password)
			if !old.gone() {
				t.Error("the older connection is still open")
			}
			if code, _ := fresh.publish(t, "room/washer-1", "1", 1); code != 0 {
				t.Errorf("PUBACK %#x", code)
			}
		})
	}
}

// One device behind several machines signs in once.
func TestBrokerOneUserSeveralMeters(t *testing.T) {
	box := &inbox{}
	b := onTCP(t, BrokerOptions{Meters: []BrokerMeter{
		{Name: "a", Topic: "panel", User: "panel", Password: password, Format: meter.Format{Watts: "/0/w"}},
		{Name: "b", Topic: "panel", User: "panel", Password: password, Format: meter.Format{Watts: "/1/w"}},
		{Name: "c", Topic: "panel/c", User: "panel", Password: password},
	}}, box)
	d := dialTCP(t, b, 5)
	d.signIn(t, "x", "panel", password)
	d.publish(t, "panel", `[{"w":10},{"w":20}]`, 1)
	d.publish(t, "panel/c", "30", 2)
	got := box.deliveries()
	if len(got) != 3 || got[0].meter != "a" || got[0].Watts != 10 || got[1].meter != "b" || got[1].Watts != 20 || got[2].Watts != 30 {
		t.Errorf("taken %+v", got)
	}
	// One of two refused: the message is refused, and the other reading is kept.
	code, _ := d.publish(t, "panel", `[{"w":11}]`, 3)
	if code != 0x99 || len(box.deliveries()) != 4 {
		t.Errorf("PUBACK %#x, taken %+v", code, box.deliveries())
	}
}

// What a meter sends with the retain flag is fresh, and nothing is kept of it.
func TestBrokerRetainFlagAndWill(t *testing.T) {
	box := &inbox{}
	b := onTCP(t, BrokerOptions{}, box)
	d := dialTCP(t, b, 4)
	// CONNECT with user, password, and a retained will of QoS 1 to another meter's topic.
	connect := packet(0x10, text("MQTT"), []byte{4, 0xC0 | 0x20 | 0x08 | 0x04 | 0x02, 0, 60},
		text("x"), text("room/washer-2"), text("9999"), text("washer-1"), text(password))
	if first, body := d.say(t, connect); first != 0x20 || body[1] != 0 {
		t.Fatalf("CONNACK % x", body)
	}
	retained := d.publishPacket("room/washer-1", "5", 1, 1)
	retained[0] |= 1
	if first, _ := d.say(t, retained); first != 0x40 {
		t.Fatal("no PUBACK")
	}
	d.Close() // without DISCONNECT: the will would be published now
	other := dialTCP(t, b, 4)
	other.signIn(t, "y", "washer-2", password+" 2")
	other.publish(t, "room/washer-2", "2", 1)
	got := box.deliveries()
	if len(got) != 2 || got[0].Watts != 5 || got[1].Watts != 2 {
		t.Errorf("taken %+v: the will must not be", got)
	}
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
