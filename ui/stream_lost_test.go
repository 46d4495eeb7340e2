package ui

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
)

// TestNoUpdateIsLost: a page loses its stream again and again at random moments
// while the room changes, and comes back with the id of what it last saw. In
// the end it shows what the room is, and never was a picture older than one
// before it.
func TestNoUpdateIsLost(t *testing.T) {
	for seed := range uint64(20) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) { loseStreams(t, rand.New(rand.NewPCG(seed, 6))) })
		})
	}
}

func loseStreams(t *testing.T, random *rand.Rand) {
	h := newFakeHouse(fullRoom())
	s := newTestServer(t, h, nil)
	ln := newPipes()
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- s.Serve(ctx, ln) }()
	client := &http.Client{Transport: &http.Transport{DialContext: ln.dial, DisableKeepAlives: true}}
	last, seen, changes := "", -1, 0
	look := func(stay time.Duration, act func()) {
		resp, err := client.Get("http://localhost/r/cellar/events?last=" + last)
		if err != nil {
			t.Fatal(err)
		}
		from := messages(resp.Body)
		act()
		time.Sleep(stay)
		synctest.Wait()
		resp.Body.Close()
		for m := range from {
			last = m.id
			got := shownChange(t, m.data)
			if got < seen {
				t.Errorf("picture %d came after %d", got, seen)
			}
			seen = got
		}
	}
	change := func() {
		for range random.IntN(4) {
			changes++
			h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[7].OutText = fmt.Sprintf("change %d.", changes) })
			time.Sleep(time.Duration(random.IntN(700)) * time.Millisecond)
		}
	}
	h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[7].OutText = "change 0." })
	for range 30 {
		look(time.Duration(random.IntN(1500))*time.Millisecond, change)
		change() // while nobody looks
	}
	look(3*time.Second, func() {})
	if seen != changes {
		t.Errorf("the page shows change %d of %d", seen, changes)
	}
	cancel()
	if err := <-served; err != nil {
		t.Error(err)
	}
}

// shownChange reads the number of the change that a picture shows.
func shownChange(t *testing.T, html string) int {
	t.Helper()
	_, after, ok := strings.Cut(html, "change ")
	if !ok {
		t.Fatalf("no change in %s", html)
	}
	n := 0
	if _, err := fmt.Sscanf(after, "%d.", &n); err != nil {
		t.Fatal(err)
	}
	return n
}
