package loop

import (
	"context"
	"errors"
	"testing"
	"time"
)

// TestWhyALoopEnded: who comes too late is told what failed, in the loop or beside
// it; where nothing did, only that it has stopped.
func TestWhyALoopEnded(t *testing.T) {
	beside := errors.New("the attic's disk is full")
	for name, c := range map[string]struct {
		cancel  func(context.CancelCauseFunc)
		failed  error
		want    string
		because error
	}{
		"it failed":               {nil, errDisk, "the loop has stopped: no space left on the disk", errDisk},
		"another failed":          {func(stop context.CancelCauseFunc) { stop(beside) }, nil, "the loop has stopped: the attic's disk is full", beside},
		"both, its own counts":    {func(stop context.CancelCauseFunc) { stop(beside) }, errDisk, "the loop has stopped: no space left on the disk", errDisk},
		"it was told to":          {func(stop context.CancelCauseFunc) { stop(nil) }, nil, "the loop has stopped", nil},
		"nobody told it anything": {nil, nil, "the loop has stopped", nil},
	} {
		ctx, stop := context.WithCancelCause(t.Context())
		if c.cancel != nil {
			c.cancel(stop)
		}
		end := newEnding()
		end.now(ctx, c.failed)
		stop(nil)
		_, err := await(t.Context(), make(chan int), &end)
		if !errors.Is(err, ErrStopped) || err.Error() != c.want || c.because != nil && !errors.Is(err, c.because) {
			t.Errorf("%s: told %q, want %q", name, err, c.want)
		}
	}
	// A time limit that passed is no failure either.
	ctx, stop := context.WithDeadline(t.Context(), time.Unix(0, 0))
	defer stop()
	end := newEnding()
	if end.now(ctx, nil); end.err() != ErrStopped {
		t.Errorf("at its time limit: %v", end.err())
	}
}
