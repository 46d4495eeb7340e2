package mqtt

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"drumturn/coordinator/meter"
)

// house is an ordinary broker, as a house may have it already. Its connections
// are pipes.
type house struct {
	mochi.HookBase
	server       *mochi.Server
	forbidden    string // a topic that may not be read
	user         string // who may come in; empty for all
	down         atomic.Bool
	acknowledged atomic.Int64 // QoS 1 messages that the client acknowledged
	conns        []net.Conn
}

func (h *house) ID() string { return "house" }

func (h *house) Provides(b byte) bool {
	return b == mochi.OnConnectAuthenticate || b == mochi.OnACLCheck || b == mochi.OnQosComplete
}

func (h *house) OnConnectAuthenticate(_ *mochi.Client, pk packets.Packet) bool {
	return h.user == "" || h.user == string(pk.Connect.Username)
}

func (h *house) OnACLCheck(_ *mochi.Client, topic string, write bool) bool {
	return write || topic != h.forbidden
}

func (h *house) OnQosComplete(*mochi.Client, packets.Packet) { h.acknowledged.Add(1) }

func newHouse(t *testing.T) *house {
	t.Helper()
	h := &house{server: mochi.New(&mochi.Options{InlineClient: true, SysTopicResendInterval: 24 * 3600, Logger: slog.New(slog.DiscardHandler)})}
	if err := h.server.AddHook(h, nil); err != nil {
		t.Fatal(err)
	}
	if err := h.server.Serve(); err != nil {
		t.Fatal(err)
	}
	return h
}

// attempt connects a Client to the house.
func (h *house) attempt(context.Context, autopaho.ClientConfig, *url.URL) (net.Conn, error) {
	if h.down.Load() {
		return nil, fmt.Errorf("connection refused")
	}
	ours, theirs := net.Pipe()
	h.conns = append(h.conns, theirs)
	go func() { _ = h.server.EstablishConnection("pipe", theirs) }()
	return ours, nil
}

func (h *house) publish(t *testing.T, topic, payload string, retain bool, qos byte) {
	t.Helper()
	if err := h.server.Publish(topic, []byte(payload), retain, qos); err != nil {
		t.Fatal(err)
	}
}

func clientOptions() ClientOptions {
	return ClientOptions{URL: "mqtt://house.example", User: "drumturn", Password: "secret", Meters: []ClientMeter{
		{Name: "washer", Topic: "plugs/washer"},
		{Name: "dryer", Topic: "plugs/dryer", Format: meter.Format{Watts: "/power"}},
	}}
}

// inHouse runs test in a bubble with a house and a client that is connected to it.
func inHouse(t *testing.T, box *inbox, opts ClientOptions, before func(*house), test func(t *testing.T, h *house)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		h := newHouse(t)
		if before != nil {
			before(h)
		}
		c, err := NewClient(opts)
		if err != nil {
			t.Fatal(err)
		}
		c.attempt = h.attempt
		stop := runDriver(t, c, box)
		time.Sleep(time.Minute)
		synctest.Wait()
		test(t, h)
		stop()
		synctest.Wait()
		_ = h.server.Close()
	})
}

func TestClientTakesReadings(t *testing.T) {
	box := &inbox{}
	inHouse(t, box, clientOptions(), nil, func(t *testing.T, h *house) {
		h.publish(t, "plugs/washer", "12.5", false, 0)
		h.publish(t, "plugs/dryer", `{"power":2400}`, false, 1)
		h.publish(t, "plugs/other", "1", false, 1)
		time.Sleep(time.Second)
		synctest.Wait()
		got := box.deliveries()
		if len(got) != 2 || got[0].Watts+got[1].Watts != 2412.5 || got[0].meter == got[1].meter {
			t.Errorf("taken %+v", got)
		}
		if n := h.acknowledged.Load(); n != 1 {
			t.Errorf("%d acknowledged, want the one of QoS 1", n)
		}
	})
}

// A message that the broker kept is no fresh reading; one that comes now is,
// even if it was published to be kept.
func TestClientLeavesOutRetained(t *testing.T) {
	box := &inbox{}
	keep := func(h *house) {
		if err := h.server.Publish("plugs/washer", []byte("2000"), true, 1); err != nil {
			t.Fatal(err)
		}
	}
	inHouse(t, box, clientOptions(), keep, func(t *testing.T, h *house) {
		if got := box.deliveries(); len(got) != 0 {
			t.Errorf("a kept message was taken for a reading: %+v", got)
		}
		h.publish(t, "plugs/washer", "3", true, 1)
		time.Sleep(time.Second)
		synctest.Wait()
		if got := box.deliveries(); len(got) != 1 || got[0].Watts != 3 {
			t.Errorf("taken %+v", got)
		}
	})
}

func TestClientAcknowledgesOnceInTheInbox(t *testing.T) {
	release := make(chan struct{})
	box := &inbox{}
	synctest.Test(t, func(t *testing.T) {
		release = make(chan struct{})
		box.answer = func(context.Context, delivery) error { <-release; return nil }
		h := newHouse(t)
		c, err := NewClient(clientOptions())
		if err != nil {
			t.Fatal(err)
		}
		c.attempt = h.attempt
		stop := runDriver(t, c, box)
		time.Sleep(time.Minute)
		h.publish(t, "plugs/washer", "5", false, 1)
		time.Sleep(10 * time.Second)
		synctest.Wait()
		if n := h.acknowledged.Load(); n != 0 {
			t.Errorf("%d acknowledged before the reading was in the inbox", n)
		}
		close(release)
		time.Sleep(time.Second)
		synctest.Wait()
		if n := h.acknowledged.Load(); n != 1 {
			t.Errorf("%d acknowledged after it was", n)
		}
		stop()
		synctest.Wait()
		_ = h.server.Close()
	})
}

func TestClientComesBack(t *testing.T) {
	box := &inbox{}
	inHouse(t, box, clientOptions(), nil, func(t *testing.T, h *house) {
		h.down.Store(true)
		_ = h.conns[0].Close()
		time.Sleep(time.Minute)
		synctest.Wait()
		if !box.failed("washer: lost the broker house.example:1883") || !box.failed("dryer: cannot reach the broker") || !box.failed("[connection]") {
			t.Errorf("the outage is not shown: %q", box.failures)
		}
		h.down.Store(false)
		time.Sleep(time.Minute)
		synctest.Wait()
		h.publish(t, "plugs/washer", "8", false, 1)
		time.Sleep(time.Second)
		synctest.Wait()
		if got := box.deliveries(); len(got) != 1 || got[0].Watts != 8 {
			t.Errorf("taken %+v", got)
		}
	})
}

func TestClientSubscriptionRefused(t *testing.T) {
	box := &inbox{}
	inHouse(t, box, clientOptions(), func(h *house) { h.forbidden = "plugs/dryer" }, func(t *testing.T, h *house) {
		if !box.failed(`dryer: the broker house.example:1883 did not grant topic "plugs/dryer" (reason code 0x87): let user "drumturn" read it [not-granted]`) {
			t.Errorf("the refusal is not shown: %q", box.failures)
		}
		if box.failed("washer:") {
			t.Errorf("the other meter has trouble: %q", box.failures)
		}
		h.publish(t, "plugs/washer", "8", false, 1)
		synctest.Wait()
		if got := box.deliveries(); len(got) != 1 {
			t.Errorf("taken %+v", got)
		}
	})
}

func TestClientSignInRefused(t *testing.T) {
	box := &inbox{}
	inHouse(t, box, clientOptions(), func(h *house) { h.user = "somebody else" }, func(t *testing.T, _ *house) {
		if !box.failed("the broker refused user or password: check both") {
			t.Errorf("the refusal is not shown: %q", box.failures)
		}
	})
}

// A full inbox is tried again; a reading that is refused is acknowledged, as
// sending it again is of no use.
func TestClientBusyAndRefused(t *testing.T) {
	var tries atomic.Int64
	box := &inbox{answer: func(_ context.Context, d delivery) error {
		if tries.Add(1) < 5 {
			return meter.ErrBusy
		}
		return nil
	}}
	inHouse(t, box, clientOptions(), nil, func(t *testing.T, h *house) {
		h.publish(t, "plugs/washer", "8", false, 1)
		h.publish(t, "plugs/dryer", "no JSON", false, 1)
		time.Sleep(10 * time.Second)
		synctest.Wait()
		if got := box.deliveries(); len(got) != 1 || tries.Load() != 5 {
			t.Errorf("taken %+v in %d tries", got, tries.Load())
		}
		if !box.failed(`dryer: meter "dryer": the message "no JSON"`) {
			t.Errorf("the bad message is not shown: %q", box.failures)
		}
		if n := h.acknowledged.Load(); n != 2 {
			t.Errorf("%d acknowledged, want 2", n)
		}
	})
}

// A room that is stuck for ever costs its own messages, not those of another.
func TestClientStuckRoom(t *testing.T) {
	box := &inbox{answer: func(ctx context.Context, d delivery) error {
		if d.meter == "washer" {
			<-ctx.Done()
			return ctx.Err()
		}
		return nil
	}}
	inHouse(t, box, clientOptions(), nil, func(t *testing.T, h *house) {
		for range queueLength + 10 {
			h.publish(t, "plugs/washer", "8", false, 0)
			synctest.Wait()
		}
		h.publish(t, "plugs/dryer", `{"power":5}`, false, 1)
		synctest.Wait()
		if got := box.deliveries(); len(got) != 1 || got[0].meter != "dryer" {
			t.Errorf("taken %+v", got)
		}
		if !box.failed("washer: more than 64 messages wait for the room: one was dropped; let the meter publish less often [busy]") {
			t.Errorf("the loss is not shown: %q", box.failures)
		}
		if n := strings.Count(strings.Join(box.failures, "\n"), "one was dropped"); n != 9 {
			t.Errorf("%d dropped, want 9: one is with the room and %d wait", n, queueLength)
		}
	})
}

// Messages of QoS 1 wait at the broker instead of being dropped.
func TestClientQoS1IsNeverDropped(t *testing.T) {
	var stuck atomic.Bool
	stuck.Store(true)
	box := &inbox{answer: func(context.Context, delivery) error {
		if stuck.Load() {
			return meter.ErrBusy
		}
		return nil
	}}
	inHouse(t, box, clientOptions(), nil, func(t *testing.T, h *house) {
		const n = 3 * queueLength
		for i := range n {
			h.publish(t, "plugs/washer", fmt.Sprint(i), false, 1)
		}
		time.Sleep(time.Second)
		stuck.Store(false)
		time.Sleep(time.Minute)
		synctest.Wait()
		got := box.deliveries()
		if box.failed("dropped") {
			t.Error("messages were dropped")
		}
		if len(got) < unacknowledged {
			t.Errorf("taken %d of %d", len(got), n)
			return
		}
		for i := range unacknowledged {
			if got[i].Watts != float64(i) {
				t.Errorf("out of order at %d: %v", i, got[i].Watts)
			}
		}
	})
}
