package mqtt

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator/meter"
)

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
				if c.user == "washer-1" && !box.failed("wrong password; check the password in the meter [password]") {
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
			if !box.failed(`"room/washer-2"`) || !box.failed(`its topic here is "room/washer-1": make the two the same [topic]`) {
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
