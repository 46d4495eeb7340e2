package mqtt

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"

	"drumturn/coordinator/meter"
)

// ClientMeter is one meter whose messages pass through an existing broker.
type ClientMeter struct {
	Name string
	// Topic is where its readings are published, such as "plugs/washer-1/status".
	Topic string
	// Format says where the values are in its messages.
	Format meter.Format
}

// ClientOptions set up a Client.
type ClientOptions struct {
	// URL is the broker's: mqtt://host:1883 or mqtts://host:8883, or its web
	// socket: ws://host/path or wss://host/path.
	URL string
	// User and Password are what the client signs in with; empty for none.
	User, Password string
	// TLS is for mqtts and wss; nil trusts what the system trusts.
	TLS *tls.Config
	// ClientID is the name under which it connects; empty for a random one.
	ClientID string
	Meters   []ClientMeter
	// AcceptWithin is how long a message waits for its room's inbox before it is
	// given up; zero for 30 seconds.
	AcceptWithin time.Duration
	// Reconnect is the pause before it connects again; zero for 5 seconds.
	Reconnect time.Duration
	// Log is where the connection's ups and downs are logged; nil for nowhere.
	Log *slog.Logger
}

const (
	// queueLength is how many messages of one meter may wait.
	queueLength = 64
	// unacknowledged is how many QoS 1 messages the broker may send ahead. It is
	// less than queueLength, so that one meter alone cannot lose any of them.
	unacknowledged = 32
)

// Client takes the readings of meters from a broker that speaks MQTT 5. A QoS 1
// message is acknowledged once the reading is in its room's inbox. What the
// broker has kept from before (retained) is no fresh reading and is left out.
type Client struct {
	opts   ClientOptions
	server *url.URL
	meters []string
	topics map[string][]source
	// attempt opens the connection instead of the library, in tests.
	attempt func(context.Context, autopaho.ClientConfig, *url.URL) (net.Conn, error)
}

var _ meter.Driver = (*Client)(nil)

// NewClient checks the options and reports everything that is wrong with them.
func NewClient(opts ClientOptions) (*Client, error) {
	c := &Client{opts: opts, topics: map[string][]source{}}
	var all names
	var wrong []error
	server, err := brokerURL(opts.URL)
	c.server, wrong = server, append(wrong, err)
	for _, m := range opts.Meters {
		src, err := newSource(m.Name, m.Topic, m.Format)
		if err == nil {
			err = all.add(m.Name)
		}
		c.topics[m.Topic] = append(c.topics[m.Topic], src)
		wrong = append(wrong, err)
	}
	if len(opts.Meters) == 0 {
		wrong = append(wrong, errors.New("it has no meters"))
	}
	c.meters = all.list
	if err := errors.Join(wrong...); err != nil {
		return nil, fmt.Errorf("mqtt client: %w", err)
	}
	c.opts.setDefaults()
	return c, nil
}

func (o *ClientOptions) setDefaults() {
	if o.AcceptWithin == 0 {
		o.AcceptWithin = 30 * time.Second
	}
	if o.Reconnect == 0 {
		o.Reconnect = 5 * time.Second
	}
	if o.ClientID == "" {
		o.ClientID = "drumturn-" + rand.Text()[:8]
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
}

// usualPorts are those of each scheme.
var usualPorts = map[string]string{"mqtt": "1883", "mqtts": "8883", "ws": "80", "wss": "443"}

// brokerURL checks the address of a broker, and adds the usual port.
func brokerURL(s string) (*url.URL, error) {
	u, err := url.Parse(s)
	if err != nil || u.Hostname() == "" {
		return nil, errors.New("its address cannot be read: use one such as mqtt://host:1883 or mqtts://host:8883")
	}
	if u.User != nil {
		return nil, errors.New("user and password belong into their own settings, not into the broker's address")
	}
	port, known := usualPorts[u.Scheme]
	if !known {
		return nil, fmt.Errorf("%q: the address must begin with mqtt://, mqtts://, ws:// or wss://", s)
	}
	if u.Port() == "" {
		u.Host = net.JoinHostPort(u.Hostname(), port)
	}
	return u, nil
}

// Meters names the meters.
func (c *Client) Meters() []string { return c.meters }

// Run stays connected and delivers until ctx ends.
func (c *Client) Run(outer context.Context, sink meter.Sink) error {
	ctx, cancel := context.WithCancel(outer)
	defer cancel()
	q := newQueues(ctx, sink, c.opts.AcceptWithin, c.topics)
	conn, err := autopaho.NewConnection(ctx, c.config(ctx, sink, q))
	if err != nil {
		return fmt.Errorf("mqtt client: %w", err)
	}
	<-conn.Done()
	cancel()
	q.wait()
	if outer.Err() != nil {
		return nil
	}
	return errors.New("mqtt client: the connection was given up")
}

func (c *Client) config(ctx context.Context, sink meter.Sink, q *queues) autopaho.ClientConfig {
	down := func(what string, err error) {
		for _, m := range c.meters {
			sink.Fail(m, meter.Because(meter.NoConnection, fmt.Errorf("%s %s: %w", what, c.server.Host, err)))
		}
	}
	subs := &subscriber{client: c, sink: sink}
	return autopaho.ClientConfig{
		ServerUrls:      []*url.URL{c.server},
		TlsCfg:          c.opts.TLS,
		KeepAlive:       30,
		ConnectUsername: c.opts.User,
		ConnectPassword: []byte(c.opts.Password),
		// What the broker would have kept during an outage is not wanted: without a
		// time of its own it would be taken for what the meter says now.
		CleanStartOnInitialConnection: true,
		SessionExpiryInterval:         0,
		AttemptConnection:             c.attempt,
		ReconnectBackoff:              autopaho.NewConstantBackoff(c.opts.Reconnect),
		ConnectPacketBuilder:          limitAhead,
		OnConnectionUp: func(conn *autopaho.ConnectionManager, _ *paho.Connack) {
			c.opts.Log.Info("mqtt broker connected", "broker", c.server.Host)
			subs.connected(ctx, conn)
		},
		OnConnectError: func(err error) { down("cannot reach the broker", plainConnectError(err)) },
		ClientConfig: paho.ClientConfig{
			ClientID:                   c.opts.ClientID,
			EnableManualAcknowledgment: true,
			SendAcksInterval:           20 * time.Millisecond,
			OnPublishReceived:          []func(paho.PublishReceived) (bool, error){q.received},
			OnClientError:              func(err error) { down("lost the broker", err) },
			OnServerDisconnect: func(d *paho.Disconnect) {
				down("sent away by the broker", fmt.Errorf("reason code 0x%02x", d.ReasonCode))
			},
		},
	}
}

// limitAhead tells the broker how much it may send before it is acknowledged.
func limitAhead(cp *paho.Connect, _ *url.URL) (*paho.Connect, error) {
	if cp.Properties == nil {
		cp.Properties = &paho.ConnectProperties{}
	}
	n := uint16(unacknowledged)
	cp.Properties.ReceiveMaximum = &n
	return cp, nil
}

// plainConnectError explains the answers of a broker that a person can do something about.
func plainConnectError(err error) error {
	var refused *autopaho.ConnackError
	if !errors.As(err, &refused) {
		return err
	}
	switch refused.ReasonCode {
	case 0x84: // Unsupported Protocol Version
		return fmt.Errorf("the broker does not speak MQTT 5: update it, or let the meters connect to drumturn itself (%w)", err)
	case 0x86, 0x87: // Bad User Name or Password, Not authorized
		return fmt.Errorf("the broker refused user or password: check both (%w)", err)
	}
	return err
}
