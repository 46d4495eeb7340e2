package push

import (
	"context"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
)

func TestStalledServiceDelaysNobodyElse(t *testing.T) {
	devices := []coordinator.Subscription{device("slow", "a", "dead.example"), device("fast", "c", "push.example")}
	bubble(t, devices, func(t *testing.T, h *house) {
		start := time.Now()
		for i := range 1000 {
			h.box.put(called(i+1, start.Add(-time.Second)))
		}
		other := called(2000, start)
		other.To = "c"
		h.box.put(other)
		h.post.answer = func(ctx context.Context, m Message, _ int) Result {
			if m.To.ID == "slow" {
				return stall(ctx)
			}
			return Result{Status: 201}
		}
		defer h.start(t)()
		synctest.Wait()
		if fast := h.post.to("fast"); len(fast) != 1 || !fast[0].At.Equal(start) {
			t.Errorf("the other service got %+v", fast)
		}
		if slow := len(h.post.to("slow")); slow != 1 {
			t.Errorf("%d sends under way at a service that has not answered yet, want 1", slow)
		}
		time.Sleep(gatherFor) // for others to share its record with
		synctest.Wait()
		if row := h.box.row(other); row.State != coordinator.Done {
			t.Errorf("its row: %+v", row)
		}
	})
}

// TestOutcomesShareRecords: while there is more to send, what has come waits for
// half of what may be unrecorded, and for no longer than gatherFor; the last is
// recorded at once.
func TestOutcomesShareRecords(t *testing.T) {
	for _, c := range []struct {
		name        string
		notices     int
		answersIn   time.Duration
		most, least int // records
	}{
		{"many, quick", 960, time.Microsecond, 60, 30},
		{"many, slow", 40, gatherFor * 2 / 5, 10, 4},
		{"each longer than an outcome waits", 12, gatherFor * 6 / 5, 12, 3},
		{"one", 1, time.Millisecond, 1, 1},
	} {
		bubble(t, one(), func(t *testing.T, h *house) {
			var counted atomic.Int64
			h.box.onWrite = func() error { counted.Add(1); return nil }
			for i := range c.notices {
				h.box.put(called(i+1, time.Now()))
			}
			h.post.answer = func(context.Context, Message, int) Result {
				time.Sleep(c.answersIn)
				return Result{Status: 201}
			}
			defer h.start(t)()
			time.Sleep(lookAgain / 2)
			synctest.Wait()
			records := int(counted.Load())
			if records < c.least || records > c.most || len(h.post.to("")) != c.notices {
				t.Errorf("%s: %d records of %d sends, want %d to %d", c.name, records, len(h.post.to("")), c.least, c.most)
			}
			if n := h.Health().Sent; n != c.notices {
				t.Errorf("%s: %d sent", c.name, n)
			}
		})
	}
}

func TestSendsUnderWayAreBounded(t *testing.T) {
	var devices []coordinator.Subscription
	for i := range 100 {
		devices = append(devices, device(fmt.Sprintf("d%d", i), "a", fmt.Sprintf("push%d.example", i)))
	}
	bubble(t, devices, func(t *testing.T, h *house) {
		h.box.put(called(1, time.Now()))
		h.post.answer = func(ctx context.Context, _ Message, _ int) Result { return stall(ctx) }
		defer h.start(t)()
		synctest.Wait()
		if n := len(h.post.to("")); n != h.Parallel {
			t.Errorf("%d under way, want %d", n, h.Parallel)
		}
	})
}

func TestTooLateWhileQueuedIsNotSent(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		h.PerHost = 1
		first, second := called(1, time.Now()), called(2, time.Now())
		second.UsefulUntil = time.Now().Add(5 * time.Second)
		h.box.put(first)
		h.box.put(second)
		h.post.answer = func(ctx context.Context, _ Message, _ int) Result {
			time.Sleep(6 * time.Second)
			return Result{Status: 201}
		}
		defer h.start(t)()
		time.Sleep(time.Minute)
		if row := h.box.row(second); len(h.post.to("")) != 1 || row.State != coordinator.Dropped || row.Why != coordinator.Why(coordinator.ReasonLate) {
			t.Errorf("%d sends, %+v", len(h.post.to("")), row)
		}
	})
}

// What is in hand must not be taken for withdrawn because a flood of older rows
// fills the list of due ones.
func TestAFloodDoesNotWithdraw(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		h.PerHost = 1
		h.post.answer = func(context.Context, Message, int) Result {
			time.Sleep(10 * time.Millisecond)
			return Result{Status: 201}
		}
		for i := range 10 {
			h.box.put(called(i+1, time.Now()))
		}
		defer h.start(t)()
		synctest.Wait()
		for i := range 1000 {
			h.box.put(called(i+100, time.Now().Add(-time.Minute)))
		}
		h.Wake()
		time.Sleep(time.Minute)
		if n := len(h.post.to("d1")); n != 1010 {
			t.Errorf("%d sent, want 1010", n)
		}
	})
}

// A row in hand hides from NextDelivery those that become due after it.
func TestDueWhileOthersAreUnderWay(t *testing.T) {
	devices := []coordinator.Subscription{device("slow", "a", "dead.example"), device("fast", "c", "push.example")}
	bubble(t, devices, func(t *testing.T, h *house) {
		h.box.put(called(1, time.Now()))
		other := called(2, time.Now().Add(3*time.Second))
		other.To = "c"
		h.box.put(other)
		h.post.answer = func(ctx context.Context, m Message, _ int) Result {
			if m.To.ID == "slow" {
				return stall(ctx)
			}
			return Result{Status: 201}
		}
		defer h.start(t)()
		time.Sleep(30 * time.Second)
		if fast := h.post.to("fast"); len(fast) != 1 || fast[0].At.Sub(other.Made) > lookAgain {
			t.Errorf("%+v", fast)
		}
	})
}

func TestWithdrawnWhileQueuedIsNotSent(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		h.PerHost = 1
		first, second := called(1, time.Now()), called(2, time.Now())
		h.box.put(first)
		h.box.put(second)
		h.post.answer = func(ctx context.Context, _ Message, try int) Result {
			if try == 1 {
				return stall(ctx)
			}
			return Result{Status: 201}
		}
		defer h.start(t)()
		synctest.Wait()
		h.box.withdraw(second.Key())
		h.Wake()
		time.Sleep(time.Hour)
		for _, s := range h.post.to("") {
			if s.Payload.Tag == Tag(&second) {
				t.Error("it was sent all the same")
			}
		}
		if row := h.box.row(second); row.State != coordinator.Withdrawn {
			t.Errorf("%+v", row)
		}
		if row := h.box.row(first); row.State != coordinator.Done || row.Devices[0].Tries != 2 {
			t.Errorf("%+v", row)
		}
	})
}

// TestWithdrawnFarBackIsNotSent: a look takes several batches, and what is found
// due in any of them is not taken for withdrawn.
func TestWithdrawnFarBackIsNotSent(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		var all []coordinator.Notice
		for i := range 3*batch + 7 {
			all = append(all, called(i+1, time.Now()))
			h.box.put(all[i])
		}
		h.post.answer = func(context.Context, Message, int) Result {
			time.Sleep(time.Second)
			return Result{Status: 201}
		}
		defer h.start(t)()
		time.Sleep(5500 * time.Millisecond)
		gone := all[len(all)-2]
		h.box.withdraw(gone.Key())
		h.Wake()
		time.Sleep(time.Hour)
		sent := map[string]int{}
		for _, s := range h.post.to("") {
			sent[s.Payload.Tag]++
		}
		for i := range all {
			if want := 1 - btoi(all[i].Key() == gone.Key()); sent[Tag(&all[i])] != want {
				t.Errorf("%s was sent %d times, want %d", all[i].Key(), sent[Tag(&all[i])], want)
			}
		}
	})
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func TestWithdrawnWhileUnderWayIsNotRetried(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		n := called(1, time.Now())
		h.box.put(n)
		h.post.answer = func(context.Context, Message, int) Result {
			time.Sleep(2 * time.Second)
			return Result{Status: 503}
		}
		defer h.start(t)()
		time.Sleep(time.Second)
		h.box.withdraw(n.Key())
		time.Sleep(time.Hour)
		row := h.box.row(n)
		if row.State != coordinator.Withdrawn || len(row.Devices) != 1 || len(h.post.to("")) != 1 {
			t.Errorf("%+v after %d sends", row, len(h.post.to("")))
		}
	})
}

func TestUnsubscribedWhileQueuedIsNotSent(t *testing.T) {
	devices := []coordinator.Subscription{device("d1", "a", "push.example"), device("d2", "a", "push.example")}
	bubble(t, devices, func(t *testing.T, h *house) {
		h.PerHost = 1
		n := called(1, time.Now())
		h.box.put(n)
		h.post.answer = func(context.Context, Message, int) Result {
			time.Sleep(5 * time.Second)
			return Result{Status: 201}
		}
		defer h.start(t)()
		synctest.Wait()
		_ = h.forget(t.Context(), "d2")
		time.Sleep(time.Hour)
		if row := h.box.row(n); len(h.post.to("d2")) != 0 || row.State != coordinator.Done || whyOf(row) != "sent 1 0" {
			t.Errorf("%+v", row)
		}
	})
}

// TestAShortFormWaitsForNobody: after a 413 the short form is the next message to
// that service, so that a kill has the long one repeated as rarely as can be.
func TestAShortFormWaitsForNobody(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		for i := range 3 {
			h.box.put(called(i+1, time.Now().Add(time.Duration(i)*time.Millisecond-time.Second)))
		}
		h.post.answer = answers(Result{Status: 413})
		h.PerHost = 1
		defer h.start(t)()
		synctest.Wait()
		var order []string
		for _, s := range h.post.to("d1") {
			order = append(order, strings.TrimPrefix(s.Payload.Tag, "cellar/turn/")+map[bool]string{true: " short"}[s.Payload.Body == ""])
		}
		if got := strings.Join(order, ", "); got != "1, 1 short, 2, 3" {
			t.Errorf("sent %s", got)
		}
	})
}
