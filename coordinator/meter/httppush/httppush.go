// Package httppush takes readings that meters post by HTTP. Each meter has a
// bearer token (RFC 6750) of its own, which also says which meter it is.
package httppush

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"time"

	"drumturn/coordinator/meter"
)

// Path is where the handler is to be mounted, unless Options say otherwise.
// Meters post to it, or to it followed by their name.
const Path = "/readings/"

// MinToken is the shortest token that is taken, in characters: long enough that
// nobody finds a random one by trying.
const MinToken = 16

// Meter is one meter that posts its readings.
type Meter struct {
	Name string
	// Token is what it sends as "Authorization: Bearer TOKEN".
	Token string
	// Format says where the values are in what it posts. The zero Format takes
	// {"watts": ..., "wh": ..., "time": ...} or a bare number of watts.
	Format meter.Format
}

// Options set up a Push.
type Options struct {
	Meters []Meter
	// Path is where the handler is mounted; empty for the constant Path.
	Path string
	// MaxBody is the largest body that is read, in bytes; zero for 64 KiB.
	MaxBody int64
	// AcceptWithin is how long a reading waits for its room's inbox; zero for 10 seconds.
	AcceptWithin time.Duration
}

// Push is the driver: Run opens the handler, and its end closes it.
type Push struct {
	opts   Options
	meters []string
	// byToken is keyed by the hash of the token, so that how long a look-up takes
	// says nothing about how much of a guessed token is right.
	byToken map[[sha256.Size]byte]*source

	mu   sync.Mutex
	open *session // nil while Run does not run
}

var _ meter.HTTPDriver = (*Push)(nil)

// source is one meter.
type source struct {
	name    string
	decoder *meter.Decoder
}

// session is one run of Run.
type session struct {
	ctx  context.Context
	sink meter.Sink
	busy sync.WaitGroup // requests that are being served
}

// New checks the options and reports everything that is wrong with them.
func New(opts Options) (*Push, error) {
	p := &Push{opts: opts, byToken: map[[sha256.Size]byte]*source{}}
	if p.opts.Path == "" {
		p.opts.Path = Path
	}
	if p.opts.MaxBody == 0 {
		p.opts.MaxBody = 64 << 10
	}
	if p.opts.AcceptWithin == 0 {
		p.opts.AcceptWithin = 10 * time.Second
	}
	var wrong []error
	seen := map[string]bool{}
	for _, m := range opts.Meters {
		if seen[m.Name] {
			wrong = append(wrong, fmt.Errorf("meter %q is there twice", m.Name))
		}
		seen[m.Name] = true
		wrong = append(wrong, p.add(m))
	}
	if len(opts.Meters) == 0 {
		wrong = append(wrong, errors.New("it has no meters"))
	}
	if err := errors.Join(wrong...); err != nil {
		return nil, fmt.Errorf("meters by HTTP: %w", err)
	}
	return p, nil
}

// usual is the format of a meter that says nothing about it.
var usual = meter.Format{Watts: "/watts", Wh: "/wh", Time: "/time", Bare: true}

// add takes one meter.
func (p *Push) add(m Meter) error {
	switch {
	case m.Name == "" || strings.Contains(m.Name, "/"):
		return fmt.Errorf("%q cannot be a meter's name: it must not be empty, and have no slash", m.Name)
	case len(m.Token) < MinToken:
		return fmt.Errorf("meter %q: its token must have at least %d characters", m.Name, MinToken)
	case strings.ContainsFunc(m.Token, func(r rune) bool { return r <= ' ' || r > '~' }):
		return fmt.Errorf("meter %q: its token must be of plain letters, digits and signs, without spaces", m.Name)
	}
	if m.Format == (meter.Format{}) {
		m.Format = usual
	}
	decoder, err := meter.NewDecoder(m.Format)
	if err != nil {
		return fmt.Errorf("meter %q: %w", m.Name, err)
	}
	key := sha256.Sum256([]byte(m.Token))
	if other := p.byToken[key]; other != nil {
		return fmt.Errorf("meter %q has the token of meter %q: each needs its own", m.Name, other.name)
	}
	p.byToken[key] = &source{name: m.Name, decoder: decoder}
	p.meters = append(p.meters, m.Name)
	return nil
}

// Meters names the meters.
func (p *Push) Meters() []string { return p.meters }

// Handler answers the meters. It may be mounted before Run runs, and then says
// that they are to come again.
func (p *Push) Handler() http.Handler { return http.HandlerFunc(p.serve) }

// Run keeps the handler open until ctx ends, and until the requests under way are answered.
func (p *Push) Run(ctx context.Context, sink meter.Sink) error {
	s := &session{ctx: ctx, sink: sink}
	p.mu.Lock()
	p.open = s
	p.mu.Unlock()
	<-ctx.Done()
	p.mu.Lock()
	p.open = nil
	p.mu.Unlock()
	s.busy.Wait()
	return nil
}

// enter joins the session, if there is one; done must be called at the end.
func (p *Push) enter() (s *session, done func()) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.open == nil {
		return nil, nil
	}
	s = p.open
	s.busy.Add(1)
	return s, s.busy.Done
}
