package mqtt

import (
	"context"
	"crypto/tls"
	"fmt"
	"net"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/eclipse/paho.golang/autopaho"

	"drumturn/coordinator/meter"
)

func TestNewClientReportsAllAtOnce(t *testing.T) {
	_, err := NewClient(ClientOptions{URL: "http://x", Meters: []ClientMeter{
		{Name: "a", Topic: "+/a"},
		{Name: "b", Topic: "b"},
		{Name: "b", Topic: "b2"},
		{Name: "c", Topic: "c", Format: meter.Format{Time: "x"}},
	}})
	for _, want := range []string{"must begin with mqtt://", `"+/a"`, `"b" is there twice`, `meter "c": time:`} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("no word about %q in: %v", want, err)
		}
	}
	for in, want := range map[string]string{
		"":                           "cannot be read",
		"house:1883":                 "cannot be read",
		"mqtt://":                    "cannot be read",
		"mqtt://:1883":               "cannot be read",
		"mqtt://user:pw@house":       "their own settings",
		"mqtt://user:pw@house:no-po": "cannot be read",
		"http://house":               "must begin with mqtt://",
	} {
		_, err := brokerURL(in)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", in, err, want)
		}
		if err != nil && strings.Contains(err.Error(), "pw") {
			t.Errorf("%q: the error shows the password", in)
		}
	}
	for in, want := range map[string]string{
		"mqtt://h": "h:1883", "mqtts://h": "h:8883", "mqtt://h:99": "h:99", "ws://h/x": "h:80", "wss://h": "h:443", "mqtt://[::1]": "[::1]:1883",
	} {
		if u, err := brokerURL(in); err != nil || u.Host != want {
			t.Errorf("%q: %v, %v, want %s", in, u, err, want)
		}
	}
}

// The library itself, over real sockets, against the embedded broker: which
// lets nobody subscribe, and says so.
func TestClientAtTheEmbeddedBroker(t *testing.T) {
	cert, pool := certificate(t)
	b := onTCP(t, BrokerOptions{
		Address: "127.0.0.1:0", TLSAddress: "127.0.0.1:0", TLS: &tls.Config{Certificates: []tls.Certificate{cert}},
	}, &inbox{})
	for scheme, address := range map[string]net.Addr{"mqtt": b.Addr(), "mqtts": b.TLSAddr()} {
		t.Run(scheme, func(t *testing.T) {
			told := make(chan struct{})
			box := &inbox{}
			c, err := NewClient(ClientOptions{
				URL: scheme + "://" + address.String(), User: "washer-1", Password: password, TLS: &tls.Config{RootCAs: pool},
				Meters: []ClientMeter{{Name: "m", Topic: "room/washer-1"}},
			})
			if err != nil {
				t.Fatal(err)
			}
			stop := runDriver(t, c, failSink{box, told})
			defer stop()
			<-told
			if !box.failed("did not grant") {
				t.Errorf("%q", box.failures)
			}
		})
	}
}

// failSink closes told at the first failure.
type failSink struct {
	*inbox
	told chan struct{}
}

func (f failSink) Fail(name string, err error) {
	f.inbox.Fail(name, err)
	select {
	case <-f.told:
	default:
		close(f.told)
	}
}

// An ordinary client library publishes to the embedded broker with QoS 1.
func TestBrokerWithAutopaho(t *testing.T) {
	box := &inbox{}
	b := onTCP(t, BrokerOptions{}, box)
	server, _ := url.Parse("mqtt://" + b.Addr().String())
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	conn, err := autopaho.NewConnection(ctx, autopaho.ClientConfig{
		ServerUrls: []*url.URL{server}, KeepAlive: 20, ConnectUsername: "washer-1", ConnectPassword: []byte(password),
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := conn.AwaitConnection(ctx); err != nil {
		t.Fatal(err)
	}
	for i := range 100 {
		// Publish returns once PUBACK is here: then the reading is in the inbox.
		answer, err := conn.Publish(ctx, pahoPublish("room/washer-1", fmt.Sprint(i)))
		if err != nil || answer.ReasonCode != 0 || len(box.deliveries()) != i+1 {
			t.Fatalf("%d: %+v, %v, taken %d", i, answer, err, len(box.deliveries()))
		}
	}
	if answer, err := conn.Publish(ctx, pahoPublish("room/washer-2", "1")); err == nil || answer.ReasonCode != 0x87 {
		t.Errorf("another meter's topic: %+v, %v", answer, err)
	}
	if err := conn.Disconnect(ctx); err != nil {
		t.Error(err)
	}
}
