package main

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"strings"
	"testing"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"
)

// anybody may do anything at the house's broker.
type anybody struct{ mochi.HookBase }

func (*anybody) Provides(b byte) bool {
	return b == mochi.OnConnectAuthenticate || b == mochi.OnACLCheck
}
func (*anybody) OnConnectAuthenticate(*mochi.Client, packets.Packet) bool { return true }
func (*anybody) OnACLCheck(*mochi.Client, string, bool) bool              { return true }

// houseBroker is a broker that a house has already.
func houseBroker(t *testing.T) (broker *mochi.Server, address string) {
	t.Helper()
	socket, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	broker = mochi.New(&mochi.Options{InlineClient: true, Logger: slog.New(slog.DiscardHandler)})
	if err := errors.Join(broker.AddHook(new(anybody), nil), broker.AddListener(listeners.NewNet("house", socket))); err != nil {
		t.Fatal(err)
	}
	if err := broker.Serve(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = broker.Close() })
	return broker, socket.Addr().String()
}

// TestExistingBroker: readings come through a broker that the house has already,
// several meters through one connection.
func TestExistingBroker(t *testing.T) {
	broker, address := houseBroker(t)
	client := "driver = \"mqtt-client\"\nurl = \"mqtt://" + address + "\"\n"
	text := metered("washer", client+"topic = \"plugs/1\"\npayload = \"json\"\nwatts = \"/power\"\n", "") +
		"[[rooms.cellar.machines]]\nnumber = 2\nkind = \"dryer\"\nmeter = \"two\"\n[meters.two]\n" + client + "topic = \"plugs/2\"\n"
	w := wiring(t, text, nil).start()
	w.until("both subscriptions", func() bool {
		return len(broker.Topics.Subscribers("plugs/1").Subscriptions) == 1 && len(broker.Topics.Subscribers("plugs/2").Subscriptions) == 1
	})
	if n := broker.Clients.Len(); n != 2 { // the inline one is the other
		t.Errorf("%d clients, want one besides the test's own", n)
	}
	for topic, payload := range map[string]string{"plugs/1": `{"power": 1980.5, "other": 3}`, "plugs/2": "2400"} {
		if err := broker.Publish(topic, []byte(payload), false, 1); err != nil {
			t.Fatal(err)
		}
	}
	w.until("both readings", func() bool {
		one, _ := health(w).Meter("one")
		two, _ := health(w).Meter("two")
		return one.Taken == 1 && two.Taken == 1
	})
	w.clock.Set(evening.Add(time.Minute))
	w.heard("1", 1980.5)
	w.heard("2", 2400)
}

// TestClientsByAccount: meters of one broker and user share a client; another
// user or broker is another client.
func TestClientsByAccount(t *testing.T) {
	_, one := houseBroker(t)
	_, two := houseBroker(t)
	var b strings.Builder
	b.WriteString(handBuilding)
	for i, account := range []string{one + "\"\nuser = \"a\"\npassword = \"x", one + "\"\nuser = \"a\"\npassword = \"x", one + "\"\nuser = \"b\"\npassword = \"x", two} {
		fmt.Fprintf(&b, "[[rooms.cellar.machines]]\nnumber = %d\nkind = \"washer\"\nmeter = \"m%[1]d\"\n[meters.m%[1]d]\ndriver = \"mqtt-client\"\ntopic = \"t/%[1]d\"\nurl = \"mqtt://%s\"\n", i+10, account)
	}
	w := wiring(t, b.String(), nil).open()
	drivers := map[string][]string{}
	health := w.app.meters.Health()
	for _, m := range health.Meters {
		drivers[m.Driver] = append(drivers[m.Driver], m.Meter)
	}
	want := map[string][]string{"mqtt-client-1": {"m10", "m11"}, "mqtt-client-2": {"m12"}, "mqtt-client-3": {"m13"}}
	if fmt.Sprint(drivers) != fmt.Sprint(want) {
		t.Errorf("the drivers are %v, want %v", drivers, want)
	}
}
