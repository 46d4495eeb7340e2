package ui

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/ui/passkey"
)

// Time-outs of the server. Event streams clear theirs.
const (
	headerTimeout   = 10 * time.Second
	readTimeout     = 30 * time.Second
	writeTimeout    = 60 * time.Second
	idleTimeout     = 2 * time.Minute
	shutdownTimeout = 10 * time.Second
)

// Server serves the pages of one building.
type Server struct {
	o       Options
	base    string // path prefix of every address, without a slash at its end
	origin  string // scheme and host of the public URL
	cookies cookieKind
	echo    *echo.Echo
	tongues tongues
	assets  *assets
	scenes  *scenes
	hubs    map[coordinator.RoomID]*hub
	streams *streamLimit
	limits  *limits
	hashing chan struct{}
	queued  atomic.Int32  // who wait for a place to hash
	door    *passkey.Door // nil where there can be no passkeys, for noDoor
	noDoor  passkey.Trouble
	handles sync.Map // user handles of managers who have no passkey yet, by id

	accepted acceptMemo

	closeOnce sync.Once
	closing   chan struct{} // closed: streams end
	hearings  hearings      // of the meters, for the manager
}

// New builds the server: every template is parsed and every asset summed now,
// so that a mistake in one is found at start.
func New(o Options) (*Server, error) {
	public, err := o.complete()
	if err != nil {
		return nil, err
	}
	s := &Server{
		o:       o,
		base:    strings.TrimRight(public.Path, "/"),
		origin:  public.Scheme + "://" + public.Host,
		cookies: cookiesFor(public, o.PlainCookies),
		hubs:    map[coordinator.RoomID]*hub{},
		streams: newStreamLimit(o.StreamsPerIP, o.Streams),
		limits:  newLimits(),
		hashing: make(chan struct{}, hashesAtOnce),
		closing: make(chan struct{}),
		noDoor:  passkey.TroubleWith(public),
	}
	if s.noDoor == "" {
		if s.door, err = passkey.New(public, o.Building); err != nil {
			return nil, fmt.Errorf("ui: %w", err)
		}
	}
	if s.assets, err = loadAssets(); err != nil {
		return nil, fmt.Errorf("ui: assets: %w", err)
	}
	if s.tongues, err = s.newTongues(); err != nil {
		return nil, fmt.Errorf("ui: templates: %w", err)
	}
	s.scenes = newScenes(o.House, s.tongues)
	for _, room := range o.House.Rooms() {
		s.hubs[room] = newHub(o.House, room)
	}
	s.echo = s.newEcho()
	return s, nil
}

// Handler serves everything, below the public URL's path and without it: some
// proxies cut the prefix off, some do not.
func (s *Server) Handler() http.Handler {
	if s.base == "" {
		return s.echo
	}
	below := http.StripPrefix(s.base, s.echo)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasPrefix(r.URL.Path, s.base+"/") {
			below.ServeHTTP(w, r)
			return
		}
		s.echo.ServeHTTP(w, r)
	})
}

// Serve answers on ln until ctx ends, then closes in order: streams first,
// because they would hold up the rest, then requests under way.
func (s *Server) Serve(ctx context.Context, ln net.Listener) error {
	srv := &http.Server{
		Handler:           s.Handler(),
		ReadHeaderTimeout: headerTimeout,
		ReadTimeout:       readTimeout,
		WriteTimeout:      writeTimeout,
		IdleTimeout:       idleTimeout,
		MaxHeaderBytes:    32 << 10,
		ErrorLog:          serverLog(s.o.Log),
	}
	ended := make(chan error, 1)
	go func() { ended <- srv.Serve(ln) }()
	select {
	case err := <-ended:
		s.Close()
		return fmt.Errorf("serve pages: %w", err)
	case <-ctx.Done():
	}
	s.Close()
	grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), shutdownTimeout)
	defer cancel()
	err := srv.Shutdown(grace)
	if err != nil {
		err = errors.Join(err, srv.Close())
	}
	<-ended
	return err
}

// Close ends the event streams. Serve calls it; whoever uses Handler with a
// server of its own calls it before that server's Shutdown.
func (s *Server) Close() { s.closeOnce.Do(func() { close(s.closing) }) }
