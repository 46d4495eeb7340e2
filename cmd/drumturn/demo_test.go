package main

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"net/http/cookiejar"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
)

// lockedBuffer is a buffer that may be read while it is written.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

// Write appends.
func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

// String is what was written.
func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// TestDemo starts the demonstration as the README says, and opens the pages
// whose addresses it prints: the resident's first, without signing in.
func TestDemo(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	var out lockedBuffer
	ended := make(chan int, 1)
	days := "28"
	if testing.Short() {
		days = "7"
	}
	go func() {
		ended <- run(ctx, []string{"demo", "--listen", "127.0.0.1:0", "--speed", "30", "--days", days}, &out, &out)
	}()
	defer func() {
		cancel()
		if code := <-ended; code != 0 {
			t.Errorf("demo ended with %d:\n%s", code, out.String())
		}
	}()
	for !strings.Contains(out.String(), "Ctrl-C") {
		select {
		case code := <-ended:
			ended <- code
			t.Fatalf("the demonstration does not start:\n%s", out.String())
		case <-time.After(20 * time.Millisecond): // waits for another goroutine's text, not for a duration
		}
	}
	text := out.String()
	addresses := regexp.MustCompile(`http://\S+`).FindAllString(text, -1)
	if len(addresses) != 3 || !strings.Contains(addresses[0], "resident") || !strings.Contains(addresses[1], "wall") || !strings.Contains(addresses[2], "manager") {
		t.Fatalf("the addresses are %v in\n%s", addresses, text)
	}
	for i, want := range [][]string{
		{"Your load", "Your turn", "held", "running", "overdue", "finished"},
		{"Cellar", "until"},
		{"Needs a hand", "unknown", "out of service", "free"},
	} {
		page := open(t, addresses[i])
		for _, w := range want {
			if !strings.Contains(page, w) {
				t.Errorf("%s does not show %q", addresses[i], w)
			}
		}
	}
	folder := regexp.MustCompile(`kept in (\S+) `).FindStringSubmatch(text)
	if folder == nil {
		t.Errorf("the temporary folder is not named:\n%s", text)
	}
}

// open loads a page as a browser with cookies does.
func open(t *testing.T, address string) string {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Jar: jar, Timeout: patience}
	resp, err := client.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK {
		t.Fatalf("%s: %s, %v", address, resp.Status, err)
	}
	return string(body)
}
