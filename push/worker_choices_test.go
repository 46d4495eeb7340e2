package push

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
)

// change puts another version of a person into the house's people.
func (h *house) change(id coordinator.PersonID, with func(*coordinator.Person)) {
	h.mu.Lock()
	defer h.mu.Unlock()
	next, persons := *h.people, map[coordinator.PersonID]coordinator.Person{}
	for k, p := range h.people.Persons {
		persons[k] = p
	}
	p := persons[id]
	with(&p)
	persons[id] = p
	next.Persons = persons
	h.people = &next
}

// nudge is a reminder to a about their load.
func nudge(load, step int, now time.Time) coordinator.Notice {
	n := called(1, now)
	n.Subject = coordinator.Subject{Room: "cellar", Load: coordinator.LoadID(load)}
	n.Kind, n.Step, n.UsefulUntil = coordinator.LoadNudge, step, now.Add(30*time.Minute)
	return n
}

// The bubble's clock begins at midnight UTC.
var nights = coordinator.Quiet{From: 22 * 60, To: 7 * 60}

func TestQuietHoursDelayANudgeOnly(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		h.change("a", func(p *coordinator.Person) { p.Quiet = nights })
		midnight := time.Now()
		call, first := called(1, midnight), nudge(7, 1, midnight)
		h.box.put(call)
		h.box.put(first)
		defer h.start(t)()
		time.Sleep(time.Hour)
		if sent := h.post.to("d1"); len(sent) != 1 || sent[0].Payload.Kind != coordinator.TurnCalled {
			t.Fatalf("in the night: %+v", sent)
		}
		row := h.box.row(first)
		if row.State != coordinator.Pending || !row.NextAt.Equal(midnight.Add(7*time.Hour)) || row.Why != coordinator.WhyQuiet ||
			len(row.Told) != 1 || row.Told[0].Reason != coordinator.ReasonLater || !row.Told[0].Until.Equal(row.NextAt) {
			t.Errorf("meanwhile: %+v", row)
		}
		time.Sleep(8 * time.Hour)
		sent := h.post.to("d1")
		if len(sent) != 2 || !sent[1].At.Equal(midnight.Add(7*time.Hour)) || sent[1].TTL != 30*time.Minute {
			t.Fatalf("in the morning: %+v", sent)
		}
		if row := h.box.row(first); row.State != coordinator.Done || row.Told[0].Reason != coordinator.ReasonNow {
			t.Errorf("after it: %+v", row)
		}
	})
}

func TestANightOfNudgesIsOneInTheMorning(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		h.change("a", func(p *coordinator.Person) { p.Quiet = nights })
		defer h.start(t)()
		start := time.Now()
		for i := range 4 {
			h.box.put(nudge(7, i+1, time.Now()))
			h.box.put(nudge(8, i+1, time.Now()))
			h.Wake()
			time.Sleep(20 * time.Minute)
		}
		time.Sleep(12 * time.Hour)
		if sent := h.post.to("d1"); len(sent) != 2 || sent[0].Payload.Tag == sent[1].Payload.Tag {
			t.Errorf("sent %+v", sent)
		}
		if row := h.box.row(nudge(7, 1, start)); row.State != coordinator.Dropped || row.Told[0].Reason != coordinator.ReasonReplaced {
			t.Errorf("the first of the night: %+v", row)
		}
	})
}

func TestCollectedInTheNightIsNeverTold(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		h.change("a", func(p *coordinator.Person) { p.Quiet = nights })
		n := nudge(7, 1, time.Now())
		h.box.put(n)
		defer h.start(t)()
		time.Sleep(time.Hour)
		h.box.withdraw(n.Key())
		time.Sleep(12 * time.Hour)
		if len(h.post.to("")) != 0 {
			t.Error("a nudge about a load that was collected")
		}
	})
}

// Each of a home's people is decided about alone, and remembered.
func TestEachOfAHomeIsTold(t *testing.T) {
	devices := []coordinator.Subscription{device("d1", "a", "push.example"), device("d2", "b", "push.example"), device("d3", "b2", "push.example")}
	bubble(t, devices, func(t *testing.T, h *house) {
		h.change("b", func(p *coordinator.Person) { p.Quiet = nights })
		n := called(1, time.Now())
		n.Kind = coordinator.LoadReady
		h.box.put(n)
		defer h.start(t)()
		time.Sleep(time.Hour)
		if len(h.post.to("d1")) != 1 || len(h.post.to("d2")) != 0 {
			t.Fatal("not the owner at once and the other later")
		}
		time.Sleep(12 * time.Hour)
		if len(h.post.to("d1")) != 1 || len(h.post.to("d2")) != 1 || len(h.post.to("d3")) != 0 {
			t.Errorf("told %d, %d and %d times", len(h.post.to("d1")), len(h.post.to("d2")), len(h.post.to("d3")))
		}
		row := h.box.row(n)
		want := map[coordinator.PersonID]coordinator.Reason{"a": coordinator.ReasonNow, "b": coordinator.ReasonNow, "b2": coordinator.ReasonUnwanted}
		for _, told := range row.Told {
			if want[told.Person] != told.Reason || told.ForHome != (told.Person != "a") {
				t.Errorf("%+v", told)
			}
		}
		if len(row.Told) != 3 || row.State != coordinator.Done {
			t.Errorf("%+v", row)
		}
	})
}

// A choice made while a notice waits for its next try counts.
func TestChoiceWhileItIsRetried(t *testing.T) {
	for want, with := range map[coordinator.Reason]func(*coordinator.Person){
		coordinator.ReasonUnwanted: func(p *coordinator.Person) { p.Off = []coordinator.NoticeKind{coordinator.TurnCalled} },
		coordinator.ReasonMuted:    func(p *coordinator.Person) { p.MutedUntil = time.Now().Add(time.Hour) },
	} {
		bubble(t, one(), func(t *testing.T, h *house) {
			n := called(1, time.Now())
			h.box.put(n)
			h.post.answer = answers(Result{Status: 500})
			defer h.start(t)()
			time.Sleep(time.Second)
			h.change("a", with)
			time.Sleep(time.Hour)
			row := h.box.row(n)
			if len(h.post.to("d1")) != 1 || row.State != coordinator.Dropped || row.Told[0].Reason != want {
				t.Errorf("%s: %d sends, %+v", want, len(h.post.to("d1")), row)
			}
		})
	}
}

// What nobody of the managers could be told of is not given up while it is of
// use: they may switch notices on.
func TestManagersAreTriedAgain(t *testing.T) {
	bubble(t, nil, func(t *testing.T, h *house) {
		n := called(1, time.Now())
		n.Kind, n.To, n.Role, n.UsefulUntil = coordinator.FaultTold, "", coordinator.Managers, time.Now().Add(2*time.Hour)
		h.box.put(n)
		defer h.start(t)()
		time.Sleep(30 * time.Minute)
		if row := h.box.row(n); row.State != coordinator.Pending || row.Why != coordinator.Why(coordinator.ReasonNoWay) || row.NextAt.Before(time.Now()) {
			t.Fatalf("%+v", row)
		}
		h.mu.Lock()
		next := *h.people
		next.Subscriptions = map[string]coordinator.Subscription{"d9": device("d9", "n", "push.example")}
		h.people = &next
		h.mu.Unlock()
		time.Sleep(2 * managerRetry)
		if row := h.box.row(n); len(h.post.to("d9")) != 1 || row.State != coordinator.Done {
			t.Errorf("%+v", row)
		}
	})
}

// Refused for a wrong set-up, the manager is tried again, as nobody else is; and
// what they chose not to hear of is not.
func TestManagersAndRefusals(t *testing.T) {
	bubble(t, []coordinator.Subscription{device("d1", "m", "push.example"), device("d2", "n", "push.example")}, func(t *testing.T, h *house) {
		n := called(1, time.Now())
		n.Kind, n.To, n.Role, n.UsefulUntil = coordinator.FaultTold, "", coordinator.Managers, time.Now().Add(2*time.Hour)
		h.change("n", func(p *coordinator.Person) { p.Off = []coordinator.NoticeKind{coordinator.FaultTold} })
		h.box.put(n)
		h.post.answer = answers(Result{Status: 403})
		defer h.start(t)()
		time.Sleep(time.Hour)
		if row := h.box.row(n); len(h.post.to("d1")) != 2 || len(h.post.to("d2")) != 0 || row.State != coordinator.Done {
			t.Errorf("%d sends, %+v", len(h.post.to("d1")), row)
		}
	})
}

// A service that fails is left alone after a few failures, whatever waits for
// it; what waits is put off in the outbox, and goes out once it is back.
func TestACircuitForEachService(t *testing.T) {
	devices := []coordinator.Subscription{device("slow", "a", "dead.example"), device("fast", "c", "push.example")}
	bubble(t, devices, func(t *testing.T, h *house) {
		start := time.Now()
		back := start.Add(20 * time.Minute)
		for i := range 500 {
			n := called(i+1, start)
			n.UsefulUntil = start.Add(time.Hour)
			h.box.put(n)
		}
		h.post.answer = func(ctx context.Context, m Message, _ int) Result {
			if m.To.ID == "slow" && time.Now().Before(back) {
				return stall(ctx)
			}
			return Result{Status: 201}
		}
		defer h.start(t)()
		time.Sleep(19 * time.Minute)
		if n := len(h.post.to("slow")); n > 12 {
			t.Errorf("tried %d times while it was dead", n)
		}
		other := called(2000, time.Now())
		other.To = "c"
		h.box.put(other)
		h.Wake()
		synctest.Wait()
		if len(h.post.to("fast")) != 1 {
			t.Error("another service was held up")
		}
		time.Sleep(15 * time.Minute)
		tags := map[string]bool{}
		for _, s := range h.post.to("slow") {
			if s.At.After(back) {
				tags[s.Payload.Tag] = true
			}
		}
		if len(tags) != 500 {
			t.Errorf("%d of 500 went out once it was back", len(tags))
		}
		if row := h.box.row(called(250, start)); row.State != coordinator.Done {
			t.Errorf("%+v", row)
		}
	})
}

func TestCircuit(t *testing.T) {
	dead, busy := Result{Err: context.DeadlineExceeded}, Result{Status: 503, RetryAfter: 90 * time.Second}
	var c circuit
	if c.allows(noon, 4) != 1 {
		t.Error("a service that nobody knows gets more than one at a time")
	}
	if c.heard(Result{Status: 201}, "", noon) || c.allows(noon, 4) != 4 {
		t.Error("one that answered gets no more")
	}
	for i := range 2 {
		if c.heard(dead, "", noon) || c.allows(noon, 4) != 1 {
			t.Errorf("after %d failures: %+v", i+1, c)
		}
	}
	if !c.heard(dead, "", noon) || c.allows(noon.Add(firstRest-1), 4) != 0 || c.allows(noon.Add(firstRest*5/4), 4) != 1 {
		t.Errorf("after three: %+v", c)
	}
	for range 20 {
		c.heard(dead, "", noon)
	}
	if rest := c.until.Sub(noon); rest < longestRest || rest > longestRest*5/4 {
		t.Errorf("it rests for %v at most", rest)
	}
	if c.heard(Result{Err: ErrUnsendable}, "", noon); c.allows(noon, 4) != 0 {
		t.Error("a message that cannot be made says nothing about the service")
	}
	if c.heard(Result{Status: 429}, "", noon); c.allows(noon, 4) != 4 {
		t.Error("a service that limits one device works")
	}
	if !c.heard(busy, "", noon) || c.allows(noon.Add(90*time.Second-1), 4) != 0 || c.allows(noon.Add(90*time.Second), 4) != 1 {
		t.Errorf("asked to wait: %+v", c)
	}
}
