package api

import (
	"fmt"
	"testing"
	"time"

	"golang.org/x/time/rate"
)

// TestAllowancesStayBounded: however many addresses ask, the map does not grow
// without end, and nobody gets less than the allowance.
func TestAllowancesStayBounded(t *testing.T) {
	l := newLimits()
	for i := range 3 * mostKeys {
		if !l.allow(fmt.Sprint("from ", i), 1, 1) {
			t.Fatalf("address %d is refused its first request", i)
		}
		if len(l.rates) > mostKeys {
			t.Fatalf("%d allowances are kept", len(l.rates))
		}
	}
	if l.allow(fmt.Sprint("from ", 3*mostKeys-1), rate.Every(time.Hour), 1) {
		t.Error("a second request within an allowance of one")
	}
}

// TestOnce: a use is noted once a minute for each token, on its own.
func TestOnce(t *testing.T) {
	l := newLimits()
	for _, c := range []struct {
		id    string
		after time.Duration
		want  bool
	}{{"a", 0, true}, {"a", 59 * time.Second, false}, {"b", 59 * time.Second, true}, {"a", time.Minute, true}, {"a", 61 * time.Second, false}} {
		if got := l.once(c.id, noon.Add(c.after)); got != c.want {
			t.Errorf("%s after %v: %v", c.id, c.after, got)
		}
	}
}

// TestStreamsAreCountedOut: who leaves makes room, and what nobody holds is forgotten.
func TestStreamsAreCountedOut(t *testing.T) {
	l := newLimits()
	for i := range streamsPerToken {
		if !l.enter("a") {
			t.Fatalf("stream %d is refused", i)
		}
	}
	if l.enter("a") || !l.enter("b") {
		t.Error("the tokens' streams are not counted each on its own")
	}
	l.leave("a")
	if !l.enter("a") {
		t.Error("who left made no room")
	}
	for range streamsPerToken {
		l.leave("a")
	}
	l.leave("b")
	if len(l.streams) != 0 {
		t.Errorf("kept: %v", l.streams)
	}
}
