package tracestory

import (
	"fmt"
	"io"
	"reflect"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
)

// clockwork is an engine that wants a tick every 25 seconds, runs from its second
// reading on, and writes down what it is asked.
type clockwork struct {
	cycle.Engine
	log  []string
	next time.Time
	n    int
	idle bool // It says nothing at ticks, and does not move on either.
}

func (c *clockwork) note(what string, now time.Time) {
	c.log = append(c.log, fmt.Sprintf("%s %d", what, int(now.Sub(epoch).Seconds())))
}

func (c *clockwork) Read(now time.Time, r cycle.Reading) []cycle.Event {
	c.note("read", now)
	if c.n++; c.n == 1 {
		c.next = now.Add(25 * time.Second)
	}
	return nil
}

func (c *clockwork) Tick(now time.Time) []cycle.Event {
	c.note("tick", now)
	if !c.idle {
		c.next = c.next.Add(25 * time.Second)
	}
	return nil
}

func (c *clockwork) Next() time.Time      { return c.next }
func (c *clockwork) Status() cycle.Status { return cycle.Status{Running: c.n >= 2, Start: epoch} }
func (c *clockwork) Remaining(now time.Time) (cycle.Estimate, bool) {
	c.note("asked", now)
	return cycle.Estimate{}, c.n >= 2
}

// replayed plays readings at these seconds.
func replayed(t *testing.T, e cycle.Engine, seconds ...int) *story {
	t.Helper()
	i := 0
	next := func() (cycle.Reading, error) {
		if i++; i > len(seconds) {
			return cycle.Reading{}, io.EOF
		}
		return cycle.Power(epoch.Add(time.Duration(seconds[i-1])*time.Second), 5), nil
	}
	s := newStory("x", "washer", true)
	if err := play(e, next, s); err != nil {
		t.Fatal(err)
	}
	return s
}

func TestPlayTicksAndAsks(t *testing.T) {
	c := &clockwork{}
	replayed(t, c, 0, 60, 200)
	want := []string{
		"read 0", "tick 25", "tick 50", "read 60", "asked 60",
		"tick 75", "tick 100", "asked 120", "tick 125", "tick 150", "tick 175", "read 200", "asked 200",
	}
	if !reflect.DeepEqual(c.log, want) {
		t.Errorf("got  %v\nwant %v", c.log, want)
	}
}

func TestPlayGoesOn(t *testing.T) {
	c := &clockwork{idle: true}
	replayed(t, c, 0, 60, 61)
	if want := []string{"read 0", "tick 25", "read 60", "asked 60", "tick 60", "read 61"}; !reflect.DeepEqual(c.log, want) {
		t.Errorf("an engine that does not move on: %v, want %v", c.log, want)
	}
	// A recording that goes back: the clock does not.
	c = &clockwork{}
	s := replayed(t, c, 10, 5, 12)
	if want := []string{"read 10", "read 10", "asked 10", "read 12"}; !reflect.DeepEqual(c.log, want) {
		t.Errorf("a reading out of order: %v, want %v", c.log, want)
	}
	if s.readings != 3 || !s.last.Equal(epoch.Add(12*time.Second)) {
		t.Errorf("%d readings to %v", s.readings, s.last)
	}
}

func TestStoryTakesBackAnEnd(t *testing.T) {
	s := newStory("x", "washer", false)
	at := func(m int) time.Time { return epoch.Add(time.Duration(m) * time.Minute) }
	s.said(cycle.Event{Kind: cycle.Started, At: at(1), Start: at(0)})
	s.said(cycle.Event{Kind: cycle.Finished, At: at(33), Start: at(0), End: at(30), EnergyWh: 400})
	s.said(cycle.Event{Kind: cycle.Resumed, At: at(40), Start: at(0)})
	s.said(cycle.Event{Kind: cycle.Stalled, At: at(55), Start: at(0)})
	s.said(cycle.Event{Kind: cycle.StoppedEarly, At: at(63), Start: at(0), End: at(60), EnergyWh: 700})
	if len(s.runs) != 1 || !s.runs[0].end.Equal(at(60)) || s.runs[0].energyWh != 700 || !s.runs[0].stalled || s.open {
		t.Errorf("%+v", s.runs)
	}
	if got := s.runs[0].how(); got != "stopped early" {
		t.Errorf("how: %s", got)
	}
}

func TestAnswersAge(t *testing.T) {
	r := run{asks: []ask{{epoch, cycle.Estimate{Low: time.Minute, Median: 20 * time.Minute, High: time.Hour}}}}
	e, ok := r.answer(epoch.Add(90 * time.Second))
	if !ok || e.Low != 0 || e.Median != 18*time.Minute+30*time.Second {
		t.Errorf("aged: %+v, %v", e, ok)
	}
	for _, at := range []time.Time{epoch.Add(-time.Second), epoch.Add(121 * time.Second)} {
		if _, ok := r.answer(at); ok {
			t.Errorf("an answer at %v", at)
		}
	}
}
