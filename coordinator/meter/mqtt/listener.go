package mqtt

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"runtime/debug"
	"sync"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
)

const (
	// signInWithin is how long a new connection may take to sign in.
	signInWithin = 10 * time.Second
	// writeWithin is how long a device may take to read what it is sent.
	writeWithin = 10 * time.Second
)

// listener takes the connections of one socket. The library's own listener
// ends for good on any error of Accept, and a panic while it reads a packet
// (a SUBSCRIBE of MQTT 5 without its options does that) would end the program;
// this one goes on, and a panic costs one connection.
type listener struct {
	id     string
	socket net.Listener
	hook   *hook
	limit  int
	log    *slog.Logger
	broken func(error)

	mu     sync.Mutex
	conns  map[*conn]struct{}
	closed bool
	wg     sync.WaitGroup
}

var _ listeners.Listener = (*listener)(nil)

func newListener(id string, socket net.Listener, h *hook, limit int, broken func(error)) *listener {
	return &listener{id: id, socket: socket, hook: h, limit: limit, log: h.log, broken: broken, conns: map[*conn]struct{}{}}
}

// Init has nothing to do: the socket is open.
func (l *listener) Init(*slog.Logger) error { return nil }

// ID names the listener.
func (l *listener) ID() string { return l.id }

// Address is the socket's.
func (l *listener) Address() string { return l.socket.Addr().String() }

// Protocol names what it speaks.
func (l *listener) Protocol() string { return l.id }

// Serve takes connections until Close.
func (l *listener) Serve(establish listeners.EstablishFn) {
	failures := 0
	for {
		nc, err := l.socket.Accept()
		if err == nil {
			failures = 0
			l.take(nc, establish)
			continue
		}
		if l.isClosed() {
			return
		}
		if errors.Is(err, net.ErrClosed) {
			l.broken(fmt.Errorf("mqtt broker: the socket %s was closed: %w", l.Address(), err))
			return
		}
		if failures++; failures == 1 {
			l.log.Warn("mqtt broker cannot take a connection; it goes on trying", "address", l.Address(), "err", err)
		}
		time.Sleep(min(5*time.Millisecond<<min(failures, 8), time.Second))
	}
}

// take serves a connection in a goroutine of its own.
func (l *listener) take(nc net.Conn, establish listeners.EstablishFn) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed || len(l.conns) >= l.limit {
		_ = nc.Close()
		return
	}
	c := &conn{Conn: nc}
	_ = nc.SetDeadline(time.Now().Add(signInWithin))
	l.conns[c] = struct{}{}
	l.wg.Go(func() { l.serve(c, establish) })
}

// serve runs one connection to its end.
func (l *listener) serve(c *conn, establish listeners.EstablishFn) {
	defer l.forget(c)
	defer func() {
		if p := recover(); p != nil {
			l.log.Error("mqtt broker: a packet made the library panic; its connection was closed",
				"remote", c.RemoteAddr().String(), "user", c.user(), "panic", p, "stack", string(debug.Stack()))
			l.hook.dropClient(c.client)
		}
	}()
	if err := establish(l.id, c); err != nil {
		l.log.Debug("mqtt connection ended", "remote", c.RemoteAddr().String(), "user", c.user(), "err", err)
	}
}

func (l *listener) forget(c *conn) {
	_ = c.Close()
	if c.account != nil {
		c.account.closed(c)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.conns, c)
}

func (l *listener) isClosed() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.closed
}

// Close closes the socket and all connections, those that never signed in
// included, and waits until each has ended. No goodbye is sent: writing to a
// device that no longer reads would hold up the end of the program.
func (l *listener) Close(listeners.CloseFn) {
	l.mu.Lock()
	l.closed = true
	_ = l.socket.Close()
	for c := range l.conns {
		_ = c.Close()
	}
	l.mu.Unlock()
	l.wg.Wait()
}

// conn is a connection with what is known about who is behind it. They are
// set by the one goroutine that serves it, before others may see them.
type conn struct {
	net.Conn
	account  *account
	client   *mochi.Client
	clientID string // as the device names itself
}

// Write gives up on a device that does not read.
func (c *conn) Write(b []byte) (int, error) {
	_ = c.SetWriteDeadline(time.Now().Add(writeWithin))
	return c.Conn.Write(b)
}

// user is who signed in; empty for nobody.
func (c *conn) user() string {
	if c.account == nil {
		return ""
	}
	return c.account.user
}
