package main

import (
	"context"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"drumturn/ui/specimen"
)

// TestPageStates starts the specimen pages as DEVELOPERS.md says, and opens
// every state: each as who is to look at it, none as anybody else.
func TestPageStates(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	var out lockedBuffer
	ended := make(chan int, 1)
	go func() { ended <- run(ctx, []string{"demo", "--page-states", "--listen", "127.0.0.1:0"}, &out, &out) }()
	defer func() {
		cancel()
		if code := <-ended; code != 0 {
			t.Errorf("it ended with %d:\n%s", code, out.String())
		}
	}()
	for !strings.Contains(out.String(), "Ctrl-C") {
		select {
		case code := <-ended:
			ended <- code
			t.Fatalf("it does not start:\n%s", out.String())
		case <-time.After(10 * time.Millisecond): // waits for another goroutine's text, not for a duration
		}
	}
	list := regexp.MustCompile(`http://\S+/states/`).FindString(out.String())
	page := open(t, list)
	for _, s := range specimen.States() {
		if !strings.Contains(page, `href="/states/`+s.Name+`"`) {
			t.Errorf("%s is not in the list", s.Name)
		}
		if s.Name == "not-found" {
			continue
		}
		got := open(t, list+s.Name)
		if known := strings.Contains(got, `href="/me"`); known != (s.Who != "" && !s.Managed() && !s.Wall) {
			t.Errorf("%s is shown to a resident: %v", s.Name, known)
		}
	}
	if resp, err := http.Get(list + "none"); err != nil || resp.StatusCode != http.StatusNotFound {
		t.Errorf("an unknown state gives %v %v", resp, err)
	}
}
