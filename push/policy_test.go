package push

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
)

// The statuses are those of RFC 8030 (201, 404, 410, 413, 429) and RFC 9110.
func TestJudge(t *testing.T) {
	for want, results := range map[verdict][]Result{
		served:   {{Status: 200}, {Status: 201}, {Status: 202}, {Status: 204}},
		gone:     {{Status: 404}, {Status: 410}},
		tooLarge: {{Status: 413}},
		again:    {{Status: 429}, {Status: 408}, {Status: 500}, {Status: 502}, {Status: 503}, {Status: 504}, {Err: errors.New("reset")}, {}},
		refused:  {{Status: 400}, {Status: 401}, {Status: 403}, {Status: 405}, {Status: 415}, {Status: 422}},
		hopeless: {{Status: 301}, {Status: 302}, {Status: 307}, {Status: 308}, {Err: fmt.Errorf("x: %w", ErrUnsendable)}, {Err: fmt.Errorf("x: %w", ErrAddress)}},
	} {
		for _, r := range results {
			if got := judge(r); got != want {
				t.Errorf("%+v: %d, want %d", r, got, want)
			}
		}
	}
}

func TestBackOff(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tries := rapid.IntRange(0, 1000).Draw(t, "tries")
		salt := rapid.String().Draw(t, "salt")
		wait := backOff(tries, salt)
		least := longestRetry
		if tries < 9 {
			least = min(firstRetry<<max(tries-1, 0), longestRetry)
		}
		if wait < least || wait > least*5/4 || wait != backOff(tries, salt) {
			t.Fatalf("%v after %d tries", wait, tries)
		}
	})
	if backOff(3, "a") == backOff(3, "b") {
		t.Error("different rows come back together")
	}
}

func TestNextTry(t *testing.T) {
	until := noon.Add(time.Minute)
	if at := nextTry(Result{RetryAfter: 30 * time.Second}, 1, "", noon, until); !at.Equal(noon.Add(30 * time.Second)) {
		t.Errorf("Retry-After of 30 s: %v", at)
	}
	if at := nextTry(Result{RetryAfter: time.Second}, 4, "", noon, until); at.Sub(noon) < 16*time.Second {
		t.Errorf("a short Retry-After for the fourth time: %v", at)
	}
	if at := nextTry(Result{RetryAfter: time.Minute}, 1, "", noon, until); !at.IsZero() {
		t.Errorf("at the end of its use: %v", at)
	}
}

// RFC 9110 section 10.2.3 has both forms; the date is that of its example in section 5.6.7.
func TestRetryAfter(t *testing.T) {
	base := time.Date(1994, 11, 6, 8, 49, 37, 0, time.UTC)
	for _, c := range []struct {
		value, date string
		now         time.Time
		want        time.Duration
	}{
		{"120", "", base, 2 * time.Minute},
		{" 5 ", "", base, 5 * time.Second},
		{"0", "", base, 0},
		{"-5", "", base, 0},
		{"1.5", "", base, 0},
		{"soon", "", base, 0},
		{"", "", base, 0},
		{"99999999999999999999", "", base, 0},
		{"Sun, 06 Nov 1994 08:49:37 GMT", "", base.Add(-time.Minute), time.Minute},
		{"Sunday, 06-Nov-94 08:49:37 GMT", "", base.Add(-time.Minute), time.Minute},
		{"Sun, 06 Nov 1994 08:49:37 GMT", "", base.Add(time.Minute), 0},
		// Our clock is a day ahead of the service's: its own Date is what counts.
		{"Sun, 06 Nov 1994 08:49:37 GMT", "Sun, 06 Nov 1994 08:48:37 GMT", base.Add(24 * time.Hour), time.Minute},
	} {
		h := http.Header{}
		h.Set("Retry-After", c.value)
		h.Set("Date", c.date)
		if got := RetryAfter(h, c.now); got != c.want {
			t.Errorf("%q: %v, want %v", c.value, got, c.want)
		}
	}
}

func FuzzRetryAfter(f *testing.F) {
	f.Add("120", "")
	f.Add("Sun, 06 Nov 1994 08:49:37 GMT", "Sun, 06 Nov 1994 08:48:37 GMT")
	f.Fuzz(func(t *testing.T, value, date string) {
		h := http.Header{"Retry-After": {value}, "Date": {date}}
		if got := RetryAfter(h, noon); got < 0 {
			t.Fatalf("%v", got)
		}
	})
}

func TestWithResult(t *testing.T) {
	row := delivery(called(1, noon))
	to := target{Recipient{Person: coordinator.Person{ID: "a"}}, coordinator.Subscription{ID: "d"}, noon.Add(time.Hour)}
	if same, v := withResult(row, answerOf{to, Result{Status: 413}, false}, noon); v != tooLarge || len(same.Devices) != 0 {
		t.Errorf("a first 413 changed the row: %+v", same)
	}
	failed, v := withResult(row, answerOf{to, Result{Err: errors.New(strings.Repeat("long ", 100) + "\nline")}, false}, noon)
	d := failed.Devices[0]
	if v != again || d.Tries != 1 || d.Status != 0 || len(d.Error) > longestError || strings.Contains(d.Error, "\n") || d.Next.IsZero() {
		t.Errorf("%+v", d)
	}
	ok, _ := withResult(failed, answerOf{to, Result{Status: 201}, false}, noon.Add(time.Minute))
	want := coordinator.DeviceResult{Device: "d", Person: "a", Sent: true, Status: 201, At: noon.Add(time.Minute), Tries: 2}
	if len(ok.Devices) != 1 || ok.Devices[0] != want {
		t.Errorf("%+v", ok.Devices)
	}
	if failed.Devices[0] != d {
		t.Error("the earlier row has changed")
	}
}

// RFC 8030 section 5.4: no more than 32 characters of the base64url alphabet.
func TestTopic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := coordinator.Notice{Subject: coordinator.Subject{
			Room: coordinator.RoomID(rapid.String().Draw(t, "room")), Load: coordinator.LoadID(rapid.Uint64Min(1).Draw(t, "load")),
		}, Kind: coordinator.LoadReady}
		nudge := n
		nudge.Kind, nudge.Step = coordinator.LoadNudge, 3
		other := n
		other.Subject.Load++
		topic := Topic(&n, "a")
		if len(topic) != 32 || strings.Trim(topic, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_") != "" {
			t.Fatalf("%q", topic)
		}
		if Topic(&nudge, "a") != topic || Tag(&nudge) != Tag(&n) {
			t.Fatal("a newer notice about the load would not replace the older")
		}
		if other.Subject.Load != 0 && Topic(&other, "a") == topic || Topic(&n, "b") == topic {
			t.Fatal("another load or person would be replaced")
		}
	})
}

func TestTTL(t *testing.T) {
	n := called(1, noon)
	for after, want := range map[time.Duration]time.Duration{
		0: 10 * time.Minute, 1: 10*time.Minute - time.Second, 9*time.Minute + 59*time.Second + 1: time.Second, time.Hour: time.Second,
	} {
		if got := TTL(usefulUntil(&n), noon.Add(after)); got != want {
			t.Errorf("after %v: %v, want %v", after, got, want)
		}
	}
	n.UsefulUntil = noon.AddDate(1, 0, 0)
	if got := TTL(usefulUntil(&n), noon); got != longestTTL {
		t.Errorf("a year: %v", got)
	}
}

func TestUrgency(t *testing.T) {
	for kind := range told {
		want := UrgencyNormal
		if kind == coordinator.TurnCalled || kind == coordinator.LoadReady {
			want = UrgencyHigh
		}
		if got := UrgencyOf(kind); got != want {
			t.Errorf("%s: %s", kind, got)
		}
	}
}
