// Package meter is what every meter driver has in common: the contract between
// a driver and the rooms, the check that every reading passes, a registry of
// names, and the supervision that keeps drivers running. Each driver has a
// folder of its own below this one, and only that folder knows its protocol.
package meter

import (
	"context"
	"errors"
	"net/http"
	"time"
)

// Sink takes what drivers hear from their meters. It may be used by many
// goroutines at once.
type Sink interface {
	// Deliver hands over one reading of a meter. It returns nil once the reading
	// is in its room's inbox: only then may a driver acknowledge it to the meter.
	// A *Refusal means that this reading will never be taken, and says why; any
	// other error (ErrBusy, a context that ended) means that it may be tried again.
	Deliver(ctx context.Context, meter string, s Sample) error
	// Fail reports a read that failed, or a message that is no reading. It is
	// shown beside the meter and is never taken for 0 W.
	Fail(meter string, err error)
}

// Driver watches one meter or several, often over one connection.
type Driver interface {
	// Meters names the meters that it delivers for. The answer never changes.
	Meters() []string
	// Run delivers readings until ctx ends, or until there is nothing more to
	// come (a recording is over), and then returns nil. An error asks for a
	// restart after a pause, unless it is marked by Permanent. Run may be called
	// again after it has returned, never while it runs.
	Run(ctx context.Context, sink Sink) error
}

// HTTPDriver is a Driver whose meters come to it by HTTP. Its handler is to be
// mounted by whoever runs the web server, and answers 503 while Run is not running.
type HTTPDriver interface {
	Driver
	Handler() http.Handler
}

// Clock is the one clock above the drivers: the wall's, or a recording's.
type Clock interface {
	Now() time.Time
	// At returns a channel that is closed once the clock has reached t, and a
	// function that releases it earlier.
	At(t time.Time) (reached <-chan struct{}, release func())
}

// Accept puts a checked reading into its room's inbox. It is what a Supervisor
// needs from the rooms.
type Accept func(ctx context.Context, meter string, s Sample) error

// ErrBusy is returned by an Accept whose inbox is full: the meter may send again.
var ErrBusy = errors.New("the room's inbox is full; send the reading again in a moment")

// SinkFunc is a Sink that checks nothing and drops failures, for tests and commands.
type SinkFunc func(ctx context.Context, meter string, s Sample) error

// Deliver calls f.
func (f SinkFunc) Deliver(ctx context.Context, meter string, s Sample) error {
	return f(ctx, meter, s)
}

// Fail does nothing.
func (SinkFunc) Fail(string, error) {}

// permanent marks an error that a restart cannot mend.
type permanent struct{ error }

func (p permanent) Unwrap() error { return p.error }

// Permanent marks an error of Run that a restart cannot mend, such as a broken file.
func Permanent(err error) error {
	if err == nil {
		return nil
	}
	return permanent{err}
}

// IsPermanent reports whether err was marked by Permanent.
func IsPermanent(err error) bool {
	var p permanent
	return errors.As(err, &p)
}
