package mqtt

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"sync"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"

	"drumturn/coordinator/meter"
)

// BrokerMeter is one meter that connects to a Broker.
type BrokerMeter struct {
	Name string
	// Topic is what it publishes its readings to, such as "laundry/washer-1".
	Topic string
	// User and Password are what it signs in with; an empty User is its Name. A
	// device that measures several machines may sign in once for all of its
	// meters: they then have the same User and Password.
	User, Password string
	// Format says where the values are in its messages.
	Format meter.Format
}

// BrokerOptions set up a Broker.
type BrokerOptions struct {
	// Address is what plain connections come to, such as "192.168.1.10:1883"; with
	// port 0 the system picks one. Empty for none.
	Address string
	// TLSAddress is what TLS connections come to, with TLS. Empty for none.
	TLSAddress string
	TLS        *tls.Config
	Meters     []BrokerMeter
	// MaxClients is how many connections there may be; zero for four per meter,
	// and 64 at least.
	MaxClients int
	// AcceptWithin is how long a message waits for its room's inbox; zero for 10 seconds.
	AcceptWithin time.Duration
	// Log is where connections are logged; nil for nowhere.
	Log *slog.Logger
}

// MinPassword is the shortest password that a Broker takes.
const MinPassword = 8

// Broker is an MQTT broker for meters only. Each meter signs in with its own
// user and password and can publish readings to its own topic; nobody can
// subscribe. A QoS 1 message is acknowledged once the reading is in its room's inbox.
type Broker struct {
	opts     BrokerOptions
	meters   []string
	accounts map[string]*account

	mu         sync.Mutex
	plain, tls bound
}

var _ meter.Driver = (*Broker)(nil)

// bound is an address and the socket that listens on it, if it is open.
type bound struct {
	address string
	socket  net.Listener
}

// NewBroker checks the options and reports everything that is wrong with them.
func NewBroker(opts BrokerOptions) (*Broker, error) {
	b := &Broker{opts: opts, plain: bound{address: opts.Address}, tls: bound{address: opts.TLSAddress}}
	var wrong []error
	if opts.Address == "" && opts.TLSAddress == "" {
		wrong = append(wrong, errors.New("the broker needs an address to listen on, such as \":1883\""))
	}
	if opts.TLSAddress != "" && opts.TLS == nil {
		wrong = append(wrong, errors.New("the TLS address needs a certificate and its key"))
	}
	accounts, meters, err := newAccounts(opts.Meters)
	b.accounts, b.meters = accounts, meters
	if err := errors.Join(append(wrong, err)...); err != nil {
		return nil, fmt.Errorf("mqtt broker: %w", err)
	}
	if b.opts.MaxClients == 0 {
		b.opts.MaxClients = max(64, 4*len(b.meters))
	}
	if b.opts.AcceptWithin == 0 {
		b.opts.AcceptWithin = 10 * time.Second
	}
	if b.opts.Log == nil {
		b.opts.Log = slog.New(slog.DiscardHandler)
	}
	return b, nil
}

// Meters names the meters.
func (b *Broker) Meters() []string { return b.meters }

// Listen opens the sockets, so that an address that is in use is known at the
// start. Run does it where it was not done.
func (b *Broker) Listen() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := errors.Join(b.plain.open(), b.tls.open()); err != nil {
		b.plain.close()
		b.tls.close()
		return fmt.Errorf("mqtt broker: %w", err)
	}
	return nil
}

// Addr is the address of plain connections, nil when there are none or before Listen.
func (b *Broker) Addr() net.Addr { return b.addr(&b.plain) }

// TLSAddr is the address of TLS connections, nil when there are none or before Listen.
func (b *Broker) TLSAddr() net.Addr { return b.addr(&b.tls) }

func (b *Broker) addr(of *bound) net.Addr {
	b.mu.Lock()
	defer b.mu.Unlock()
	if of.socket == nil {
		return nil
	}
	return of.socket.Addr()
}

// open listens, and keeps the port that the system picked for the next time.
func (b *bound) open() error {
	if b.address == "" || b.socket != nil {
		return nil
	}
	socket, err := net.Listen("tcp", b.address)
	if err != nil {
		return err
	}
	b.socket, b.address = socket, socket.Addr().String()
	return nil
}

func (b *bound) close() {
	if b.socket != nil {
		_ = b.socket.Close()
		b.socket = nil
	}
}

// Run serves meters until ctx ends.
func (b *Broker) Run(outer context.Context, sink meter.Sink) error {
	if err := b.Listen(); err != nil {
		return err
	}
	defer func() {
		b.mu.Lock()
		defer b.mu.Unlock()
		b.plain.close()
		b.tls.close()
	}()
	ctx, cancel := context.WithCancelCause(outer)
	defer cancel(nil)
	server := mochi.New(b.serverOptions())
	hook := &hook{ctx: ctx, sink: sink, server: server, accounts: b.accounts, within: b.opts.AcceptWithin, log: b.opts.Log}
	if err := server.AddHook(hook, nil); err != nil {
		return fmt.Errorf("mqtt broker: %w", err)
	}
	for _, l := range b.listeners(hook, cancel) {
		if err := server.AddListener(l); err != nil {
			return fmt.Errorf("mqtt broker: %w", err)
		}
	}
	if err := server.Serve(); err != nil {
		return fmt.Errorf("mqtt broker: %w", err)
	}
	<-ctx.Done()
	err := context.Cause(ctx)
	cancel(nil) // Readings that wait for an inbox give up, so that Close need not wait for them.
	_ = server.Close()
	if outer.Err() != nil {
		return nil
	}
	return err
}

// listeners makes one for each open socket.
func (b *Broker) listeners(h *hook, broken func(error)) []*listener {
	b.mu.Lock()
	defer b.mu.Unlock()
	var out []*listener
	if b.plain.socket != nil {
		out = append(out, newListener("plain", b.plain.socket, h, b.opts.MaxClients, broken))
	}
	if b.tls.socket != nil {
		out = append(out, newListener("tls", tls.NewListener(b.tls.socket, b.opts.TLS), h, b.opts.MaxClients, broken))
	}
	return out
}

// serverOptions narrows the broker down to what meters need. The library's own
// log is discarded because it may write whole packets, passwords included.
func (b *Broker) serverOptions() *mochi.Options {
	limits := mochi.NewDefaultServerCapabilities()
	limits.MaximumClients = int64(b.opts.MaxClients)
	limits.MaximumPacketSize = 16 << 10
	limits.MaximumInflight = 64
	limits.ReceiveMaximum = 64
	limits.MaximumClientWritesPending = 16
	limits.MaximumSessionExpiryInterval = 0
	limits.MaximumMessageExpiryInterval = 3600
	limits.TopicAliasMaximum = 0
	limits.SharedSubAvailable = 0
	limits.WildcardSubAvailable = 0
	limits.SubIDAvailable = 0
	limits.Compatibilities.NoInheritedPropertiesOnAck = true
	return &mochi.Options{
		Capabilities:           limits,
		Logger:                 slog.New(slog.DiscardHandler),
		SysTopicResendInterval: 24 * 3600,
	}
}
