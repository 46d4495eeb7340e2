package ui

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
)

// House is the building as pages need it. Reads are free of locks and of the
// store; Do and DoPeople return after the commit.
type House interface {
	// Rooms lists the rooms in the building's order.
	Rooms() []coordinator.RoomID
	// Snapshot is a room's newest picture; nil when there is no such room.
	Snapshot(room coordinator.RoomID) *coordinator.Snapshot
	// Watch wakes its reader after each change of a room. Wakes that are not
	// taken melt into one. stop releases it.
	Watch(room coordinator.RoomID) (changed <-chan struct{}, stop func())
	// Do gives an event to a room and waits until what it changed is stored.
	Do(ctx context.Context, room coordinator.RoomID, ev coordinator.Event) (coordinator.Reply, error)
	// People is the newest picture of the building's people.
	People() *coordinator.People
	// DoPeople is Do for the building's people.
	DoPeople(ctx context.Context, ev coordinator.PeopleEvent) error
	// Now is the loops' clock.
	Now() time.Time
}

// Advice is something about this installation that its manager should know:
// what is so, and what to do about it.
type Advice struct {
	// Level is "good", "note" or "bad".
	Level    string
	Text, Do string
}

// Options are what New needs. House, Building and PublicURL must be set; what
// else is zero has a default or leaves its part of the pages out.
type Options struct {
	House House
	// Building is the building's name.
	Building string
	// PublicURL is where browsers reach the server, such as
	// "https://laundry.example" or "http://localhost:8080". A path in it is the
	// prefix under which a reverse proxy shows the pages.
	PublicURL string
	// VAPIDKey is the public key for subscriptions, base64url; empty: no notices.
	VAPIDKey string
	// ValidateSubscription says whether notices may be sent to a device, and
	// may complete the subscription (its ID, for one).
	ValidateSubscription func(*coordinator.Subscription) error
	// SubscriptionID is the ID that ValidateSubscription gives for an endpoint, for
	// a browser that has another one now.
	SubscriptionID func(endpoint string) string
	// Advice lists what the manager should know about notices and wiring, in the
	// language with the tag lang as far as there are words.
	Advice func(lang string) []Advice
	// Report makes a report of the use of these rooms, as they are named in it; a
	// bad query is a *usage.QueryError. nil: there are no figures.
	Report func(ctx context.Context, q usage.Query, rooms []usage.HouseRoom) (*usage.Report, error)
	// Reports lists the months that have a report, newest first; StoredReport is the
	// report of a month, of a room or with none of the building, and fs.ErrNotExist
	// when there is none. What it answers with may be changed. nil: there are none.
	Reports      func(ctx context.Context) ([]usage.ReportedMonth, error)
	StoredReport func(ctx context.Context, m usage.Month, room coordinator.RoomID) (*usage.Report, error)
	// Past is what is kept of machines; nil: nothing.
	Past Past
	// Worn tells what goes wrong slowly; nil: nothing is measured.
	Worn Worn
	// Capacity says whether a room has enough machines; nil: nobody knows.
	Capacity func(ctx context.Context, room coordinator.RoomID) ([]usage.Capacity, error)
	// Deliveries lists the newest notices and what became of them.
	Deliveries func(ctx context.Context, limit int) ([]coordinator.Delivery, error)
	// Facts gives what happened in a room from one instant until another, oldest
	// first, to each until it answers false; nil: nothing is kept.
	Facts func(ctx context.Context, room coordinator.RoomID, from, to time.Time, each func(coordinator.Fact) bool) error
	// History lists what is kept of a person's past, oldest first; nil: nothing.
	History func(ctx context.Context, person coordinator.PersonID) ([]RoomFact, error)
	// DeliveriesTo lists the newest about one person.
	DeliveriesTo func(ctx context.Context, who coordinator.PersonID, limit int) ([]coordinator.Delivery, error)
	// TryNotice sends a notice to a person's devices now, and says what came of it,
	// in the words of the language with the tag lang; nil: there are no notices.
	TryNotice func(ctx context.Context, who coordinator.PersonID, lang string) []string
	// Letters sends letters; nil: there is no mail server.
	Letters Letters
	// NoWayToManager says, in a sentence for everybody, that the manager cannot be
	// told of anything just now, and in one for the manager what to do; both are
	// empty while some way works. nil: nobody knows.
	NoWayToManager func(lang string) (everybody, manager string)
	// CheckHook says whether events may be posted to an address; nil: none are.
	CheckHook func(address string) error
	// TryHook posts a trial to a webhook and gives what was answered, or why nothing
	// was; nil: it cannot be tried. The error may be a *coordinator.Error.
	TryHook func(ctx context.Context, id string) (status int, why string, err error)
	// Ready is asked by /readyz; nil: whoever answers is ready. What it says holds
	// no secrets.
	Ready func(ctx context.Context) (parts map[string]string, ok bool)
	// Metrics answers /metrics, and itself sees to who may ask; nil: nobody.
	Metrics http.Handler
	// Took is told of every answer but streams: method, route template ("" for no
	// route), status, and how long it took; nil: nobody is.
	Took func(method, route string, status int, d time.Duration)
	// Healthy is asked by /healthz; nil or no error means well.
	Healthy func(ctx context.Context) error
	// Mounts are foreign handlers by path prefix, such as "/meter/".
	Mounts map[string]http.Handler
	// Languages are what the wall page, which nobody signs in to, and the sheets on
	// paper are written in: codes such as "de", the wall in the first. Empty: the
	// language of the browser that asks.
	Languages []string
	// WallKey opens the wall pages that show the invitation code:
	// /r/{room}/wall?key=… . Empty: wall pages show no code.
	WallKey string
	// PlainCookies names cookies as over plain http even on this very computer:
	// some browsers take no secure cookie from it. For demonstrations.
	PlainCookies bool
	// TrustedProxies may say in X-Forwarded-For who asks; nobody else may.
	TrustedProxies []netip.Prefix
	// StreamsPerIP and Streams limit open event streams; 0: 400 and 20,000. A
	// whole building may sit behind one address.
	StreamsPerIP, Streams int
	// Random is the source of secrets; nil: the system's.
	Random io.Reader
	// Log takes what no visitor may see; nil: the default logger.
	Log *slog.Logger
}

// complete fills in defaults and refuses what cannot work.
func (o *Options) complete() (*url.URL, error) {
	if o.House == nil {
		return nil, errors.New("ui: no house to show: set Options.House")
	}
	public, err := url.Parse(o.PublicURL)
	if err != nil || (public.Scheme != "http" && public.Scheme != "https") || public.Host == "" {
		return nil, fmt.Errorf("ui: public URL %q is none: write it like https://laundry.example", o.PublicURL)
	}
	for prefix := range o.Mounts {
		if !strings.HasPrefix(prefix, "/") || !strings.HasSuffix(prefix, "/") || prefix == "/" {
			return nil, fmt.Errorf("ui: mount %q: write it like /meter/", prefix)
		}
	}
	if o.ValidateSubscription == nil {
		o.VAPIDKey = ""
	}
	if o.StreamsPerIP == 0 {
		o.StreamsPerIP = 400
	}
	if o.Streams == 0 {
		o.Streams = 20_000
	}
	if o.Random == nil {
		o.Random = rand.Reader
	}
	if o.Log == nil {
		o.Log = slog.Default()
	}
	return public, nil
}

// loopback reports whether host (with or without port) is this very computer.
// Browsers treat it as a secure place even over plain http.
func loopback(host string) bool {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.Trim(host, "[]")
	if host == "localhost" || strings.HasSuffix(host, ".localhost") {
		return true
	}
	addr, err := netip.ParseAddr(host)
	return err == nil && addr.IsLoopback()
}
