package mqtt

import (
	"context"
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
