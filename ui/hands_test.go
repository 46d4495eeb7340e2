package ui

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// switchEngine runs above 10 W. It knows no more than these tests need: a cycle
// under a quarter of an hour was stopped, one over three hours stalls.
type switchEngine struct {
	s   cycle.Status
	now time.Time
}

func (e *switchEngine) Read(now time.Time, r cycle.Reading) (out []cycle.Event) {
	if e.s.Silent {
		out = append(out, cycle.Event{Kind: cycle.Heard, At: now})
	}
	e.now, e.s.Last, e.s.Silent = now, r, false
	switch works := r.Watts > 10; {
	case works && !e.s.Running:
		e.s.Running, e.s.Start = true, now
		out = append(out, cycle.Event{Kind: cycle.Started, At: now, Start: now})
	case !works && e.s.Running:
		e.s.Running = false
		kind := cycle.Finished
		if now.Sub(e.s.Start) < 15*time.Minute {
			kind = cycle.StoppedEarly
		}
		out = append(out, cycle.Event{Kind: kind, At: now, Start: e.s.Start, End: now, EnergyWh: 500, PeakW: 2000})
	}
	e.s.Stalled = e.s.Running && now.Sub(e.s.Start) > 3*time.Hour
	return out
}

func (e *switchEngine) Tick(now time.Time) []cycle.Event {
	e.now = now
	e.s.Stalled = e.s.Running && now.Sub(e.s.Start) > 3*time.Hour
	if due := e.Next(); due.IsZero() || due.After(now) {
		return nil
	}
	e.s.Silent = true
	return []cycle.Event{{Kind: cycle.Silent, At: now, Start: e.s.Last.At}}
}

func (e *switchEngine) Next() time.Time {
	if e.s.Silent || e.s.Last.At.IsZero() {
		return time.Time{}
	}
	return e.s.Last.At.Add(10 * time.Minute)
}

func (e *switchEngine) Status() cycle.Status                       { return e.s }
func (e *switchEngine) Remaining(time.Time) (cycle.Estimate, bool) { return cycle.Estimate{}, false }
func (e *switchEngine) Checkpoint() (cycle.Checkpoint, error) {
	return cycle.Checkpoint{At: e.now}, nil
}
func (e *switchEngine) Restore(cycle.Checkpoint) error { return cycle.ErrVersion }

// cellarToday is a real room with a washer that has been heard, and its manager.
type cellarToday struct {
	*testing.T
	*fakeHouse
	room   *coordinator.Room
	server *Server
}

func openToday(t *testing.T) *cellarToday {
	rules := coordinator.DefaultRules()
	rules.NightFrom, rules.NightTo, rules.WalkUps = queue.NoClock, queue.NoClock, coordinator.Reported
	room := coordinator.NewRoom(coordinator.Plan{
		ID: "cellar", Name: "Cellar", Zone: time.UTC, Seed: rules,
		Machines: []coordinator.Machine{{Machine: queue.Machine{ID: "w1", Number: 1, Kind: queue.Washer}, Meter: "m", Power: cycle.DefaultSettings()}},
	}, func(cycle.Settings) cycle.Engine { return &switchEngine{} })
	c := &cellarToday{T: t, room: room, fakeHouse: newFakeHouse(room.Snapshot(noon))}
	c.enrol(coordinator.Person{ID: "boss", Manager: true})
	c.react = func(s *coordinator.Snapshot, ev coordinator.Event) {
		seq := s.Seq
		if _, _, err := c.room.Step(c.now, ev); err != nil {
			t.Fatalf("the room refuses %#v: %v", ev, err)
		}
		*s = *c.room.Snapshot(c.now)
		s.Seq = seq
	}
	c.server = newTestServer(t, c.fakeHouse, func(o *Options) { o.Deliveries = nil })
	c.watts(1)
	return c
}

// pass lets time pass; the meter is heard each minute when w is not negative.
func (c *cellarToday) pass(d time.Duration, w float64) {
	for end := c.now.Add(d); c.now.Before(end); {
		c.now = c.now.Add(time.Minute)
		if w >= 0 {
			c.watts(w)
		}
		if _, _, err := c.room.Step(c.now, coordinator.Tick{}); err != nil {
			c.Fatal(err)
		}
	}
	c.change("cellar", func(s *coordinator.Snapshot) { seq := s.Seq; *s = *c.room.Snapshot(c.now); s.Seq = seq })
}

func (c *cellarToday) watts(w float64) { c.room.Measure(c.now, "w1", cycle.Power(c.now, w)) }

// does is what happens in the room besides its meter.
func (c *cellarToday) does(ev coordinator.Event) {
	c.Helper()
	if _, _, err := c.room.Step(c.now, ev); err != nil {
		c.Fatal(err)
	}
	c.pass(time.Minute, -1)
}

// hands is what today's page says needs a hand.
func (c *cellarToday) hands() string {
	page := get("/manager").as("", "secret-of-boss").of(c.server).Body.String()
	_, page, _ = strings.Cut(page, ">Needs a hand</h2>")
	page, _, _ = strings.Cut(page, "</section>")
	return page
}

// TestHandsAreDealtWith: whatever happens in a real room that needs a hand has one
// button, without any script, which really deals with it: the line goes, and what
// it leads to is there instead.
func TestHandsAreDealtWith(t *testing.T) {
	ran := func(c *cellarToday, d time.Duration) { c.pass(d, 500); c.pass(time.Minute, 1) }
	for name, h := range map[string]struct {
		happens func(*cellarToday)
		says    string
		button  string
		// then is what is said instead; empty for nothing about the machine.
		then string
	}{
		"a fault":        {func(c *cellarToday) { c.does(coordinator.ReportFault{Machine: "w1", Text: "It leaks."}) }, "A fault was reported at", "take-out", "Out of service since"},
		"out of service": {func(c *cellarToday) { c.does(coordinator.TakeOut{Machine: "w1", Text: "belt"}) }, "Out of service since", "put-back", ""},
		"stopped early":  {func(c *cellarToday) { ran(c, 10*time.Minute) }, "A cycle stopped early at", "take-out", "Out of service since"},
		"overdue":        {func(c *cellarToday) { ran(c, time.Hour); c.pass(40*time.Minute, 1) }, "A load has waited", "on-table", ""},
		"silent":         {func(c *cellarToday) { c.pass(20*time.Minute, -1) }, "The meter is silent since", "by-hand-on", ""},
		"heard again": {func(c *cellarToday) {
			c.pass(20*time.Minute, -1)
			c.does(coordinator.ByHand{Machine: "w1", Person: "boss", On: true})
			c.pass(5*time.Minute, 1)
		}, "Its meter is heard again", "by-hand-off", ""},
		"forgotten":    {func(c *cellarToday) { ran(c, time.Hour); c.pass(25*time.Hour, 1) }, "a load of", "empty", ""},
		"far too long": {func(c *cellarToday) { c.pass(4*time.Hour, 500) }, "far longer than usual", "take-out", "Out of service since"},
		"out of turn": {func(c *cellarToday) {
			c.does(coordinator.Join{Person: "dan", Home: "h6", Need: queue.Wash})
			c.pass(2*time.Minute, 500)
			c.does(coordinator.NotMe{Machine: "w1", Person: "dan", Home: "h6"})
			c.pass(15*time.Minute, 500)
		}, "although somebody waited for it", "seen", ""},
	} {
		t.Run(name, func(t *testing.T) {
			c := openToday(t)
			h.happens(c)
			before := c.hands()
			if !strings.Contains(before, h.says) {
				t.Fatalf("today says\n%s", before)
			}
			form := `action="/manager/r/cellar/m/w1"><input type="hidden" name="do" value="` + h.button + `"><button>`
			if strings.Count(before, "<form") != 1 || !strings.Contains(before, form) {
				t.Fatalf("its button is not %s:\n%s", h.button, before)
			}
			w := post("/manager/r/cellar/m/w1", "do", h.button).as("", "secret-of-boss").of(c.server)
			if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/manager" {
				t.Fatalf("answered %d to %s: %s", w.Code, w.Header().Get("Location"), w.Body)
			}
			after := c.hands()
			if strings.Contains(after, h.says) {
				t.Errorf("the hand stays:\n%s", after)
			}
			if h.then == "" && strings.Contains(after, "<li>") && !strings.Contains(after, "lies on the table") || !strings.Contains(after, h.then) {
				t.Errorf("then it says\n%s", after)
			}
		})
	}
}

// TestStoppedAndBack: a stopped machine that was taken out and put back is not said
// to be stopped for ever; its load waits as others do.
func TestStoppedAndBack(t *testing.T) {
	c := openToday(t)
	c.pass(10*time.Minute, 500)
	c.pass(time.Minute, 1)
	for _, button := range []string{"take-out", "put-back"} {
		post("/manager/r/cellar/m/w1", "do", button).as("", "secret-of-boss").of(c.server)
	}
	if after := c.hands(); strings.Contains(after, "stopped early") || strings.Contains(after, "Out of service") {
		t.Errorf("it says\n%s", after)
	}
	c.pass(time.Hour, 1)
	if after := c.hands(); !strings.Contains(after, "A load has waited") || !strings.Contains(after, `value="on-table"`) {
		t.Errorf("an hour later it says\n%s", after)
	}
}
