package mail

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/push"
	"drumturn/push/words"
)

// fixed is a sender with one answer.
type fixed struct{ push.Result }

func (f fixed) Send(context.Context, push.Message) push.Result { return f.Result }

// running starts a post in a bubble, with what it delivers.
func running(t *testing.T, log *slog.Logger, deliver func(try int) push.Result) (p *Post, tried func() int, stop func()) {
	t.Helper()
	var mu sync.Mutex
	tries := 0
	p = newPost(func(context.Context, Letter) push.Result {
		mu.Lock()
		defer mu.Unlock()
		tries++
		return deliver(tries)
	}, log)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { defer close(done); p.Run(ctx) }()
	return p, func() int { mu.Lock(); defer mu.Unlock(); return tries }, func() { cancel(); <-done }
}

var quietLog = slog.New(slog.NewTextHandler(io.Discard, nil))

// TestPostTriesAgain: a server that asks to come again gets the letter some minutes later.
func TestPostTriesAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p, tried, stop := running(t, quietLog, func(try int) push.Result {
			if try < 4 {
				return push.Result{Class: push.Again, Status: 450}
			}
			return push.Result{Class: push.Taken}
		})
		defer stop()
		p.Send(plainLetter, 15*time.Minute)
		synctest.Wait()
		if tried() != 1 {
			t.Fatalf("%d tries at once", tried())
		}
		time.Sleep(time.Hour)
		if tried() != 4 || len(p.open) != 0 {
			t.Errorf("%d tries, %d letters in hand", tried(), len(p.open))
		}
	})
}

// TestPostGivesUp: in time where it is of no more use, at once where it is hopeless; and says so without the address.
func TestPostGivesUp(t *testing.T) {
	for _, c := range []struct {
		r        push.Result
		fewest   int
		most     int
		complain bool
	}{
		{push.Result{Class: push.Again, Err: errors.New("no route")}, 5, 9, true},
		{push.Result{Class: push.Never, Status: 550, Err: errors.New("no such mailbox")}, 1, 1, true},
		{push.Result{Class: push.Refused, Status: 535, Err: errors.New("wrong password")}, 1, 1, true},
		{push.Result{Class: push.Taken}, 1, 1, false},
	} {
		synctest.Test(t, func(t *testing.T) {
			var log bytes.Buffer
			p, tried, stop := running(t, slog.New(slog.NewTextHandler(&log, nil)), func(int) push.Result { return c.r })
			p.Send(plainLetter, 15*time.Minute)
			time.Sleep(15 * time.Minute)
			synctest.Wait()
			n := tried()
			stop()
			if n < c.fewest || n > c.most || len(p.open) != 0 {
				t.Errorf("%+v: %d tries, %d in hand", c.r, n, len(p.open))
			}
			if said := log.String(); (said != "") != c.complain || strings.Contains(said, "anna@") {
				t.Errorf("%+v: the log says %q", c.r, said)
			}
		})
	}
}

// TestPostIsBounded: too many letters are refused, and none waits for another.
func TestPostIsBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		release := make(chan struct{})
		p := newPost(func(ctx context.Context, _ Letter) push.Result { <-release; return push.Result{Class: push.Taken} }, quietLog)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan struct{})
		go func() { defer close(done); p.Run(ctx) }()
		for i := range mostOpen {
			if !p.Send(plainLetter, time.Minute) {
				t.Fatalf("letter %d was refused", i)
			}
		}
		if p.Send(plainLetter, time.Minute) {
			t.Error("one too many was taken")
		}
		close(release)
		synctest.Wait()
		if !p.Send(plainLetter, time.Minute) {
			t.Error("none is taken any more")
		}
		cancel()
		<-done
	})
}

// TestOnceLetters: each language, with link and code, each on what can be clicked and copied.
func TestOnceLetters(t *testing.T) {
	s, err := New(Settings{Host: "localhost", Port: 25, Security: Plain, From: "laundry@example.org", Building: "Plover\r\nYard"})
	if err != nil {
		t.Fatal(err)
	}
	const link = "https://laundry.example.org/code?code=ABCD-EFGH-2345"
	seen := map[string]bool{}
	for _, lang := range words.All() {
		for _, l := range []Letter{s.Confirm("a@example.org", lang.Code(), link, "ABCD-EFGH-2345", time.Hour), s.Return("a@example.org", lang.Code(), "12", link, "ABCD-EFGH-2345", 15*time.Minute)} {
			if !strings.Contains(l.Text, "\n"+link+"\n") || strings.Count(l.Text, "ABCD-EFGH-2345") != 2 || strings.ContainsAny(l.Subject+l.Text, "{}\r") || l.Lang != lang.Code() || l.Off != "" {
				t.Errorf("%+v", l)
			}
			if seen[l.Subject] || seen[l.Text] {
				t.Errorf("twice: %q", l.Subject)
			}
			seen[l.Subject], seen[l.Text] = true, true
		}
	}
	if l := s.Return("a@example.org", "de", "12", link, "X", 15*time.Minute); !strings.Contains(l.Text, "Plover Yard") || !strings.Contains(l.Text, "12") || !strings.Contains(l.Text, "15 Minuten") {
		t.Error(l.Text)
	}
}
