package loop

import (
	"context"
	"errors"
	"fmt"
)

// ErrStopped is answered to callers of a loop that does not run (any more); the
// error that they get has what made it stop too, where something failed.
var ErrStopped = errors.New("the loop has stopped")

// ending is the end of a loop: that it has come, and what brought it.
type ending struct {
	done chan struct{}
	why  error // written before done is closed, read after it
}

func newEnding() ending { return ending{done: make(chan struct{})} }

// now ends: by what failed in the loop itself, or else in whatever made its context end.
func (e *ending) now(ctx context.Context, failed error) {
	if e.why = failed; failed == nil {
		if cause := context.Cause(ctx); cause != ctx.Err() {
			e.why = cause
		}
	}
	close(e.done)
}

// err is what callers are told once done is closed.
func (e *ending) err() error {
	if e.why == nil {
		return ErrStopped
	}
	return fmt.Errorf("%w: %w", ErrStopped, e.why)
}

// await waits for an answer. One given before the loop stopped counts although it
// has stopped since: what it tells of is stored.
func await[T any](ctx context.Context, to <-chan T, end *ending) (a T, err error) {
	select {
	case a = <-to:
		return a, nil
	case <-ctx.Done():
		return a, ctx.Err()
	case <-end.done:
	}
	select {
	case a = <-to:
		return a, nil
	default:
		return a, end.err()
	}
}
