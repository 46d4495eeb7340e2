package push

import (
	"context"
	"errors"
	"reflect"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
)

// killed runs the worker until its n-th record, which does not happen: the
// program dies between the send and its record.
func killed(t *testing.T, h *house, n int) {
	t.Helper()
	ctx, kill := context.WithCancel(t.Context())
	defer kill()
	h.box.onWrite = func() error {
		if n--; n <= 0 {
			kill()
			return errors.New("killed")
		}
		return nil
	}
	if err := h.Run(ctx); err == nil {
		t.Error("Run does not say that the last record failed")
	}
	h.box.onWrite = nil
}

func TestKilledBetweenSendAndRecord(t *testing.T) {
	devices := []coordinator.Subscription{device("d1", "a", "push.example"), device("d2", "a", "other.example")}
	bubble(t, devices, func(t *testing.T, h *house) {
		n := called(1, time.Now())
		h.box.put(n)
		h.post.answer = func(_ context.Context, m Message, _ int) Result {
			if m.To.ID == "d2" {
				time.Sleep(time.Second) // so that d1's record is one of its own
			}
			return Result{Status: 201}
		}
		killed(t, h, 2)
		again := newHouse(h.box, h.people)
		defer again.start(t)()
		time.Sleep(time.Hour)
		before, after := h.post.to("d2"), again.post.to("d2")
		if len(h.post.to("d1")) != 1 || len(again.post.to("d1")) != 0 {
			t.Error("the device whose send was recorded was told twice")
		}
		if len(before) != 1 || len(after) != 1 {
			t.Fatalf("the send under way: %d before, %d after", len(before), len(after))
		}
		if before[0].Topic != after[0].Topic || !reflect.DeepEqual(before[0].Payload, after[0].Payload) {
			t.Errorf("repeated as another message: %+v, %+v", before[0], after[0])
		}
		if row := h.box.row(n); row.State != coordinator.Done || row.Key != n.Key() {
			t.Errorf("%+v", row)
		}
	})
}

func TestStopLetsSendsUnderWayEnd(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		n := called(1, time.Now())
		h.box.put(n)
		h.post.answer = func(context.Context, Message, int) Result {
			time.Sleep(3 * time.Second)
			return Result{Status: 201}
		}
		stop := h.start(t)
		synctest.Wait()
		stop()
		if row := h.box.row(n); row.State != coordinator.Done {
			t.Errorf("%+v", row)
		}
	})
}

func TestStopDoesNotWaitForADeadService(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		n, start := called(1, time.Now()), time.Now()
		h.box.put(n)
		h.post.answer = func(ctx context.Context, _ Message, _ int) Result { return stall(ctx) }
		stop := h.start(t)
		synctest.Wait()
		stop()
		if took := time.Since(start); took != h.StopGrace {
			t.Errorf("took %v", took)
		}
		if row := h.box.row(n); row.State != coordinator.Pending || len(row.Devices) != 0 {
			t.Errorf("nobody knows what became of it, but the row says %+v", row)
		}
	})
}

func TestRecordFailsForAWhile(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		first, second := called(1, time.Now()), called(2, time.Now().Add(time.Minute))
		h.box.put(first)
		h.box.put(second)
		h.box.fail(nil, errors.New("disk full"))
		defer h.start(t)()
		time.Sleep(5 * time.Minute)
		if n := len(h.post.to("")); n != 1 {
			t.Errorf("sent %d while nothing could be recorded, want the one that was under way", n)
		}
		if h.Health().Trouble == "" {
			t.Error("the trouble does not show")
		}
		h.box.fail(nil, nil)
		time.Sleep(time.Minute)
		if n := len(h.post.to("")); n != 2 || h.box.row(first).State != coordinator.Done || h.box.row(second).State != coordinator.Done {
			t.Errorf("sent %d, %+v, %+v", n, h.box.row(first), h.box.row(second))
		}
		if got := h.Health().Trouble; got != "" {
			t.Errorf("trouble is still %q", got)
		}
	})
}

func TestReadFailsForAWhile(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		h.box.put(called(1, time.Now()))
		h.box.fail(errors.New("no such device"), nil)
		defer h.start(t)()
		time.Sleep(time.Minute)
		if h.box.looks() > 70 {
			t.Errorf("read %d times in a minute", h.box.looks())
		}
		h.box.fail(nil, nil)
		time.Sleep(2 * time.Second)
		if len(h.post.to("d1")) != 1 || h.Health().Trouble != "" {
			t.Errorf("sent %d, trouble %q", len(h.post.to("d1")), h.Health().Trouble)
		}
	})
}

// A store that is at odds with itself must not make the worker spin.
func TestNextDeliveryThatIsNotDue(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		odd := &oddBox{box: h.box}
		h.Outbox = odd
		defer h.start(t)()
		time.Sleep(time.Minute)
		if n := h.box.looks(); n < 50 || n > 70 {
			t.Errorf("read %d times in a minute", n)
		}
	})
}

// oddBox says that something was due long ago, and does not have it.
type oddBox struct{ *box }

func (oddBox) NextDelivery(context.Context) (time.Time, error) { return time.Unix(1, 0), nil }

func TestPeopleNotLoadedYet(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		people := h.people
		h.people = nil
		n := called(1, time.Now())
		h.box.put(n)
		defer h.start(t)()
		time.Sleep(time.Minute)
		if row := h.box.row(n); row.State != coordinator.Pending {
			t.Errorf("decided without knowing the people: %+v", row)
		}
		h.mu.Lock()
		h.people = people
		h.mu.Unlock()
		time.Sleep(2 * time.Second)
		if len(h.post.to("d1")) != 1 {
			t.Error("not sent after they were loaded")
		}
	})
}

func TestASenderThatPanics(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		first, second := called(1, time.Now()), called(2, time.Now().Add(time.Minute))
		h.box.put(first)
		h.box.put(second)
		h.post.answer = func(_ context.Context, _ Message, try int) Result {
			if try == 1 {
				panic("index out of range")
			}
			return Result{Status: 201}
		}
		defer h.start(t)()
		time.Sleep(time.Hour)
		if a, b := h.box.row(first).State, h.box.row(second).State; a != coordinator.Dropped || b != coordinator.Done {
			t.Errorf("first %v, second %v", a, b)
		}
	})
}

func TestThousandsDueAtOnce(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		for i := range 3_000 {
			h.box.put(called(i+1, time.Now()))
		}
		defer h.start(t)()
		time.Sleep(time.Minute)
		if n := len(h.post.to("")); n != 3_000 {
			t.Errorf("%d sent", n)
		}
		if h.box.looks() > 15 { // 3,000 in batches of 256 are 12, and a few looks more
			t.Errorf("the outbox was read %d times", h.box.looks())
		}
		if next, _ := h.box.NextDelivery(t.Context()); !next.IsZero() {
			t.Error("some are pending still")
		}
	})
}

// standing is a clock that stands still until it is set.
type standing struct {
	mu   sync.Mutex
	now  time.Time
	wait map[chan struct{}]time.Time
}

func (s *standing) Now() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now
}

func (s *standing) At(t time.Time) (<-chan struct{}, func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	ch := make(chan struct{})
	if !t.After(s.now) {
		close(ch)
	} else {
		s.wait[ch] = t
	}
	return ch, func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		delete(s.wait, ch)
	}
}

func (s *standing) set(t time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now = t
	for ch, at := range s.wait {
		if !at.After(t) {
			close(ch)
			delete(s.wait, ch)
		}
	}
}

func TestFollowsAClockThatIsSet(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		start := time.Now()
		clock := &standing{now: start, wait: map[chan struct{}]time.Time{}}
		h.Clock = clock
		h.box.put(called(1, start.Add(time.Hour)))
		h.post.answer = answers(Result{Status: 503, RetryAfter: 5 * time.Minute})
		defer h.start(t)()
		for _, c := range []struct {
			minute, sent int
		}{{0, 0}, {59, 0}, {60, 1}, {64, 1}, {65, 2}, {90, 2}} {
			clock.set(start.Add(time.Duration(c.minute) * time.Minute))
			synctest.Wait()
			if n := len(h.post.to("d1")); n != c.sent {
				t.Errorf("at minute %d: sent %d, want %d", c.minute, n, c.sent)
			}
		}
	})
}

// Whatever the services answer and however often the program is killed: every
// row is settled in the end, no device accepts a notice more often than once
// plus the number of kills, and one that some try would have reached is told.
func TestModel(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		kills := rapid.SliceOfN(rapid.IntRange(1, 6), 0, 3).Draw(rt, "kills at records")
		notices := rapid.IntRange(1, 5).Draw(rt, "notices")
		script := rapid.SliceOfN(rapid.SampledFrom([]Result{
			{Status: 201}, {Status: 404}, {Status: 413}, {Status: 429, RetryAfter: 3 * time.Second},
			{Status: 500}, {Status: 403}, {Status: 302}, {Err: errors.New("broken pipe")},
		}), 1, 12).Draw(rt, "answers")
		synctest.Test(t, func(t *testing.T) { model(t, rt, kills, notices, script) })
	})
}

func model(t *testing.T, rt *rapid.T, kills []int, notices int, script []Result) {
	devices := []coordinator.Subscription{device("d1", "a", "push.example"), device("d2", "a", "other.example")}
	b, people := newBox(), peopleWith(devices...)
	for i := range notices {
		b.put(called(i+1, time.Now().Add(time.Duration(i)*time.Second)))
	}
	accepted := map[string]int{}
	step := 0
	var mu sync.Mutex
	answer := func(_ context.Context, m Message, _ int) Result {
		mu.Lock()
		defer mu.Unlock()
		r := script[step%len(script)]
		step++
		if r.Status == 201 {
			accepted[m.To.ID+m.Topic]++
		}
		return r
	}
	for _, at := range append(kills, 0) {
		h := newHouse(b, people)
		h.post.answer = answer
		if at > 0 {
			life, cancel := context.WithTimeout(t.Context(), time.Hour)
			records := at
			b.onWrite = func() error {
				if records--; records <= 0 {
					cancel()
					return errors.New("killed")
				}
				return nil
			}
			_ = h.Run(life) // fails when it was killed
			cancel()
			b.onWrite = nil
		} else {
			stop := h.start(t)
			time.Sleep(time.Hour)
			stop()
		}
		people = h.people
	}
	for key, n := range accepted {
		if n > 1+len(kills) {
			rt.Fatalf("%s accepted %d times with %d kills", key, n, len(kills))
		}
	}
	for key, row := range b.rows {
		told := accepted["d1"+Topic(&row.Notice, "a")]+accepted["d2"+Topic(&row.Notice, "a")] > 0
		if row.State == coordinator.Pending || (row.State == coordinator.Done && !told) || !row.Why.Known() {
			rt.Fatalf("%s ended as %v %q, told %v", key, row.State, row.Why, told)
		}
		if told && row.State != coordinator.Done && len(kills) == 0 {
			rt.Fatalf("%s was told, and ended as %v", key, row.State)
		}
	}
}
