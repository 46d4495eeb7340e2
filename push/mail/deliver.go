package mail

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"sync"

	"drumturn/push"
)

// ErrSend is wrapped by the errors of Send.
var ErrSend = errors.New("the letter was not sent")

// Deliver hands one letter to the server, and says what came of it. It comes
// back soon after ctx ends.
func (s *Server) Deliver(ctx context.Context, l Letter) push.Result {
	m, err := s.message(l)
	if err != nil {
		return push.Result{Class: push.Never, OnlyThis: true, Err: err}
	}
	c := s.call(ctx)
	defer c.hangUp()
	client, err := s.client(c.dial)
	if err != nil {
		return push.Result{Class: push.Refused, Err: err}
	}
	err = client.DialAndSendWithContext(ctx, m)
	switch {
	case m.IsDelivered(): // what went wrong after that is of no account
		return push.Result{Class: push.Taken, Status: 250}
	case err == nil:
		err = errors.New("the server said nothing of it")
	case ctx.Err() != nil:
		err = fmt.Errorf("it took too long: %w", ctx.Err())
	}
	r := classify(err)
	r.Err = s.inWords(err, l.To)
	return r
}

// Probe finds whether the server can be reached, is safe, and takes the login.
// It sends nothing.
func (s *Server) Probe(ctx context.Context) error {
	c := s.call(ctx)
	defer c.hangUp()
	client, err := s.client(c.dial)
	if err == nil {
		err = client.DialWithContext(ctx)
	}
	if err != nil {
		return s.inWords(err, "")
	}
	_ = client.Close() // what can be wrong with a good-bye
	return nil
}

// Send delivers a letter and answers with an error where it was not taken.
func (s *Server) Send(ctx context.Context, l Letter) error {
	if r := s.Deliver(ctx, l); r.Class != push.Taken {
		return fmt.Errorf("%w: %w", ErrSend, r.Err)
	}
	return nil
}

// SendAll delivers the same letter to each address by itself, so that none shows
// another. The error names how many got none, and why.
func (s *Server) SendAll(ctx context.Context, addresses []string, l Letter) error {
	var errs []error
	for _, to := range addresses {
		l.To = to
		if err := s.Send(ctx, l); err != nil {
			errs = append(errs, err)
		}
	}
	if len(errs) == 0 {
		return nil
	}
	return fmt.Errorf("%d of %d letters: %w", len(errs), len(addresses), errors.Join(errs...))
}

// call is the one connection of a delivery. It closes it when the context ends,
// and in any case at the end: the library leaves some open.
type call struct {
	server *Server
	mu     sync.Mutex
	conn   net.Conn
	over   bool
}

func (s *Server) call(ctx context.Context) *call {
	c := &call{server: s}
	context.AfterFunc(ctx, c.hangUp)
	return c
}

func (c *call) dial(ctx context.Context, network, address string) (net.Conn, error) {
	var conn net.Conn
	var err error
	if plain := (&net.Dialer{Timeout: c.server.Timeout}); c.server.Security == TLS {
		conn, err = (&tls.Dialer{NetDialer: plain, Config: c.server.tlsConfig()}).DialContext(ctx, network, address)
	} else {
		conn, err = plain.DialContext(ctx, network, address)
	}
	if err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.over {
		_ = conn.Close()
	}
	c.conn = conn
	return conn, nil
}

// hangUp closes what is open.
func (c *call) hangUp() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.over = true
	if c.conn != nil {
		_ = c.conn.Close()
	}
}
