package push

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
)

func TestSendsWhatIsDue(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		defer h.start(t)()
		synctest.Wait()
		n := called(3, time.Now())
		h.box.put(n)
		time.Sleep(time.Hour / 60) // without a wake it sleeps on
		if len(h.post.to("")) != 0 {
			t.Fatal("it looked without being woken")
		}
		h.Wake()
		synctest.Wait()
		sent := h.post.to("d1")
		if len(sent) != 1 {
			t.Fatalf("%d sends", len(sent))
		}
		m := sent[0]
		if m.TTL != 9*time.Minute || m.Urgency != UrgencyHigh || m.Topic != Topic(&n, "a") {
			t.Errorf("message %+v", m)
		}
		want := Payload{
			Title: "It's your turn", Body: "Washer 2 (Cellar) is kept for you until 00:10.", Tag: "cellar/turn/3", URL: "/r/cellar",
			Kind: coordinator.TurnCalled, At: n.Made.UTC(), Post: "/r/cellar/turns/3", Buttons: []Button{{"on-my-way", "I am on my way"}, {"let-next", "Let the next go first"}},
		}
		if !reflect.DeepEqual(m.Payload, want) {
			t.Errorf("payload %+v", m.Payload)
		}
		row := h.box.row(n)
		if row.State != coordinator.Done || whyOf(row) != "sent 1 0" || row.Tries != 1 ||
			len(row.Devices) != 1 || !row.Devices[0].Sent || row.Devices[0].Status != 201 {
			t.Errorf("row %+v", row)
		}
		h.Wake()
		time.Sleep(time.Hour)
		if n := len(h.post.to("")); n != 1 {
			t.Errorf("sent %d times", n)
		}
	})
}

func TestWaitsForWhatIsDueLater(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		at := time.Now().Add(20 * time.Minute)
		h.box.put(called(1, at))
		defer h.start(t)()
		time.Sleep(time.Hour)
		if sent := h.post.to("d1"); len(sent) != 1 || !sent[0].At.Equal(at) {
			t.Errorf("sent %+v", sent)
		}
	})
}

func TestBacksOffAndDoubles(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		n := called(1, time.Now())
		h.box.put(n)
		h.post.answer = answers(Result{Status: 500}, Result{Err: errors.New("connection reset")}, Result{Status: 429}, Result{Status: 503})
		defer h.start(t)()
		time.Sleep(time.Hour)
		sent := h.post.to("d1")
		if len(sent) != 5 {
			t.Fatalf("%d sends, want 5", len(sent))
		}
		for i := 1; i < len(sent); i++ {
			gap, least := sent[i].At.Sub(sent[i-1].At), firstRetry<<(i-1)
			if gap < least || gap > least*5/4 {
				t.Errorf("gap %d is %v, want %v to %v", i, gap, least, least*5/4)
			}
			if sent[i].TTL > sent[i-1].TTL-least {
				t.Errorf("try %d: TTL %v after %v", i, sent[i].TTL, sent[i-1].TTL)
			}
			if sent[i].Topic != sent[0].Topic || !reflect.DeepEqual(sent[i].Payload, sent[0].Payload) {
				t.Errorf("try %d is another message", i)
			}
		}
		if row := h.box.row(n); row.State != coordinator.Done || row.Tries != 5 {
			t.Errorf("row %+v", row)
		}
	})
}

func TestKeepsToRetryAfter(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		start := time.Now()
		h.box.put(called(1, start))
		h.post.answer = answers(Result{Status: 429, RetryAfter: 7 * time.Minute})
		defer h.start(t)()
		time.Sleep(time.Minute)
		row := h.box.row(called(1, start))
		if row.State != coordinator.Pending || whyOf(row) != "retry 0 0 answered" || !row.NextAt.Equal(start.Add(7*time.Minute)) {
			t.Errorf("meanwhile: %v %q", row.State, row.Why)
		}
		time.Sleep(time.Hour)
		sent := h.post.to("d1")
		if len(sent) != 2 || sent[1].At.Sub(start) != 7*time.Minute || sent[1].TTL != 3*time.Minute {
			t.Errorf("sent %+v", sent)
		}
	})
}

func TestGivesUpWhenTooLate(t *testing.T) {
	for name, answer := range map[string]Result{
		"no service":           {Err: errors.New("no route to host")},
		"overloaded":           {Status: 503},
		"asks to wait an hour": {Status: 429, RetryAfter: time.Hour},
	} {
		bubble(t, one(), func(t *testing.T, h *house) {
			n := called(1, time.Now())
			h.box.put(n)
			h.post.answer = func(context.Context, Message, int) Result { return answer }
			defer h.start(t)()
			time.Sleep(3 * time.Hour)
			sent := h.post.to("d1")
			if last := sent[len(sent)-1]; !last.At.Before(n.UsefulUntil) || last.TTL < time.Second {
				t.Errorf("%s: last sent at %v with TTL %v", name, last.At, last.TTL)
			}
			row := h.box.row(n)
			if row.State != coordinator.Dropped || row.Why != coordinator.WhyUnreached {
				t.Errorf("%s: %v %q", name, row.State, row.Why)
			}
			if answer.RetryAfter > 0 && len(sent) != 1 {
				t.Errorf("%s: sent %d times", name, len(sent))
			}
		})
	}
}

func TestDropsWithAReason(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		now := time.Now()
		late, noDevice, movedOut := called(1, now.Add(-10*time.Minute)), called(2, now), called(3, now)
		noDevice.To, movedOut.To = "c", "z"
		for _, n := range []coordinator.Notice{late, noDevice, movedOut} {
			h.box.put(n)
		}
		defer h.start(t)()
		synctest.Wait()
		for n, want := range map[*coordinator.Notice]coordinator.Reason{&late: coordinator.ReasonLate, &noDevice: coordinator.ReasonNoWay, &movedOut: coordinator.ReasonMovedOut} {
			if row := h.box.row(*n); row.State != coordinator.Dropped || row.Why != coordinator.Why(want) || len(row.Told) != 1 || row.Told[0].Reason != want {
				t.Errorf("%v: %v %q", want, row.State, row.Why)
			}
		}
		if len(h.post.to("")) != 0 {
			t.Error("something was sent")
		}
	})
}

func TestRetriesOnlyTheDeviceThatFailed(t *testing.T) {
	devices := []coordinator.Subscription{device("good", "a", "push.example"), device("bad", "a", "push.example")}
	bubble(t, devices, func(t *testing.T, h *house) {
		n := called(1, time.Now())
		h.box.put(n)
		h.post.answer = func(_ context.Context, m Message, try int) Result {
			if m.To.ID == "bad" && try < 4 {
				return Result{Status: 502}
			}
			return Result{Status: 201}
		}
		defer h.start(t)()
		time.Sleep(time.Hour)
		if good, bad := len(h.post.to("good")), len(h.post.to("bad")); good != 1 || bad != 4 {
			t.Errorf("good %d, bad %d", good, bad)
		}
		if row := h.box.row(n); row.State != coordinator.Done || whyOf(row) != "sent 2 0" {
			t.Errorf("%v %q", row.State, row.Why)
		}
	})
}

func TestForgetsWhatIsGone(t *testing.T) {
	for _, status := range []int{404, 410} {
		devices := []coordinator.Subscription{device("old", "a", "push.example"), device("new", "a", "push.example")}
		bubble(t, devices, func(t *testing.T, h *house) {
			n := called(1, time.Now())
			h.box.put(n)
			h.post.answer = func(_ context.Context, m Message, _ int) Result {
				if m.To.ID == "old" {
					return Result{Status: status}
				}
				return Result{Status: 201}
			}
			defer h.start(t)()
			time.Sleep(time.Hour)
			if h.forgotten() != "old" || len(h.post.to("old")) != 1 {
				t.Errorf("%d: forgot %v, sent %d", status, h.forgotten(), len(h.post.to("old")))
			}
			row := h.box.row(n)
			if gone := findResult(row.Devices, "old"); row.State != coordinator.Done || gone == nil || !gone.Gone {
				t.Errorf("%d: %+v", status, row)
			}
		})
	}
}

func TestShortensThenGivesUp(t *testing.T) {
	for _, c := range []struct {
		answers []Result
		state   coordinator.DeliveryState
	}{
		{[]Result{{Status: 413}}, coordinator.Done},
		{[]Result{{Status: 413}, {Status: 413}}, coordinator.Dropped},
	} {
		bubble(t, one(), func(t *testing.T, h *house) {
			n := called(1, time.Now())
			h.box.put(n)
			h.post.answer = answers(c.answers...)
			defer h.start(t)()
			time.Sleep(time.Hour)
			sent := h.post.to("d1")
			if len(sent) != 2 || sent[0].Payload.Body == "" || sent[1].Payload.Body != "" || sent[1].Payload.Title != "It's your turn" {
				t.Errorf("sent %+v", sent)
			}
			if row := h.box.row(n); row.State != c.state || row.Devices[0].Tries != 1 {
				t.Errorf("%+v", row)
			}
		})
	}
}

func TestStopsAndAlarmsWhenRefused(t *testing.T) {
	for _, status := range []int{400, 401, 403, 405} {
		bubble(t, one(), func(t *testing.T, h *house) {
			first, second := called(1, time.Now()), called(2, time.Now().Add(time.Hour))
			h.box.put(first)
			h.box.put(second)
			h.post.answer = answers(Result{Status: status})
			defer h.start(t)()
			time.Sleep(30 * time.Minute)
			health := h.Health()
			if len(health.Alarms) != 1 || health.Alarms[0].Host != "push.example" || health.Alarms[0].Status != status {
				t.Fatalf("%d: %+v", status, health)
			}
			if text := health.Alarms[0].Text(words.English()); !strings.Contains(text, fmt.Sprint(status)) {
				t.Errorf("%q", text)
			}
			if len(h.post.to("")) != 1 || h.box.row(first).State != coordinator.Dropped || h.forgotten() != "" {
				t.Errorf("%d: sent %d, %+v, forgot %v", status, len(h.post.to("")), h.box.row(first), h.forgotten())
			}
			time.Sleep(time.Hour)
			if health := h.Health(); len(health.Alarms) != 0 || health.Sent != 1 {
				t.Errorf("%d: the alarm stays after a success: %+v", status, health)
			}
		})
	}
}

func TestRedirectsAndRefusedAddressesAreFinal(t *testing.T) {
	for _, r := range []Result{{Status: 301}, {Status: 307}, {Err: fmt.Errorf("dialling: %w", ErrAddress)}, {Err: ErrUnsendable}} {
		bubble(t, one(), func(t *testing.T, h *house) {
			n := called(1, time.Now())
			h.box.put(n)
			h.post.answer = func(context.Context, Message, int) Result { return r }
			defer h.start(t)()
			time.Sleep(time.Hour)
			if row := h.box.row(n); len(h.post.to("")) != 1 || row.State != coordinator.Dropped || h.Health().Failed != 1 {
				t.Errorf("%+v: %+v", r, row)
			}
		})
	}
}
