package mqtt

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"
	"unicode/utf8"

	"github.com/eclipse/paho.golang/paho"
	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"drumturn/coordinator/meter"
)

func TestOnConnectTakesAwayWillAndSession(t *testing.T) {
	server := mochi.New(newBroker(t, BrokerOptions{}).serverOptions())
	cl := server.NewClient(nil, "", "x", false)
	cl.Properties.Will = mochi.Will{Flag: 1, TopicName: "room/washer-2", Payload: []byte("9999"), Retain: true}
	if err := new(hook).OnConnect(cl, packets.Packet{}); err != nil {
		t.Fatal(err)
	}
	if cl.Properties.Will.Flag != 0 || !cl.Properties.Clean {
		t.Errorf("%+v", cl.Properties)
	}
}

// A broker that does not honour "send nothing that was kept" marks what it
// kept, and that is left out as well.
func TestQueueLeavesOutRetained(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		src, err := newSource("m", "t", meter.Format{})
		if err != nil {
			t.Fatal(err)
		}
		box := &inbox{}
		q := newQueues(ctx, box, time.Second, map[string][]source{"t": {src}})
		client := paho.NewClient(paho.ClientConfig{})
		for i, retained := range []bool{true, false} {
			_, _ = q.received(paho.PublishReceived{Client: client, Packet: &paho.Publish{Topic: "t", Payload: fmt.Append(nil, i), Retain: retained}})
		}
		synctest.Wait()
		if got := box.deliveries(); len(got) != 1 || got[0].Watts != 1 {
			t.Errorf("taken %+v", got)
		}
		cancel()
		q.wait()
	})
}

func TestReasonStrings(t *testing.T) {
	for _, in := range []string{"short", strings.Repeat("ü", 500), "two\nlines", "bad \xff byte"} {
		got := brief(errors.New(in))
		if len(got) > 210 || !utf8.ValidString(got) || strings.Contains(got, "\n") || got == "" {
			t.Errorf("%q became %q", in, got)
		}
	}
}

func TestCheckTopic(t *testing.T) {
	for topic, good := range map[string]bool{
		"laundry/washer-1/power": true, "/": true, "a b": true, "küche": true,
		"": false, "a/+": false, "#": false, "$SYS/x": false, "a\x00b": false, strings.Repeat("a", 70000): false,
	} {
		if err := checkTopic(topic); (err == nil) != good {
			t.Errorf("%.20q: %v", topic, err)
		}
	}
}

func TestGuessesForgetAndAreBounded(t *testing.T) {
	var g guesses
	now := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range 10 * guessesKept {
		g.failed("10.0.0.1", fmt.Sprint(i), now)
	}
	if len(g.made) > guessesKept {
		t.Errorf("%d kept", len(g.made))
	}
	first := 0
	for range guessesPerMinute {
		if g.failed("10.0.0.1", "m", now) {
			first++
		}
	}
	if first != 1 || g.allowed("10.0.0.1", "m", now) || !g.allowed("10.0.0.2", "m", now) || !g.allowed("10.0.0.1", "m", now.Add(time.Minute)) {
		t.Errorf("%d first ones, %+v", first, g.made[guess{"10.0.0.1", "m"}])
	}
}
