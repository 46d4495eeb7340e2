package ui

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// TestLogPage: the manager reads a day newest first, with homes and the reason of
// each overtaking; a failing store is no empty day.
func TestLogPage(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	h.resident("dan", "h6")
	s := newTestServer(t, h, nil)
	var failure error
	s.o.Facts = func(_ context.Context, room coordinator.RoomID, from, to time.Time, each func(coordinator.Fact) bool) error {
		if room != "cellar" || to.Sub(from) < 23*time.Hour {
			t.Errorf("asked for %s from %s to %s", room, from, to)
		}
		each(coordinator.Fact{At: from.Add(9 * time.Hour), Kind: coordinator.FactJoined, Home: "h6", Turn: 4, Note: "wash"})
		each(coordinator.Fact{At: from.Add(10 * time.Hour), Kind: coordinator.FactOvertaken, Machine: "w4", Turn: 4, By: 5, Why: queue.OverReserved})
		return failure
	}
	page := get("/manager/r/cellar/log?day=2026-06-10").as("", "secret-of-boss").of(s)
	body := page.Body.String()
	joined, over := strings.Index(body, "Joined the queue"), strings.Index(body, "was called before "+callWord(4)+": the machine is for other homes")
	if page.Code != http.StatusOK || joined < 0 || over < 0 || over > joined || !strings.Contains(body, "Wednesday 10 June 2026") {
		t.Errorf("%d: joined at %d, overtaken at %d\n%s", page.Code, joined, over, body)
	}
	failure = errors.New("disk")
	if page := get("/manager/r/cellar/log").as("", "secret-of-boss").of(s); page.Code != http.StatusInternalServerError {
		t.Errorf("a store that fails gives %d", page.Code)
	}
	if page := get("/manager/r/cellar/log").as("secret-of-dan", "").of(s); page.Code != http.StatusForbidden {
		t.Errorf("a resident gets %d", page.Code)
	}
}

// TestEveryOvertakingHasWords: no reason is shown as nothing.
func TestEveryOvertakingHasWords(t *testing.T) {
	for _, why := range queue.Overtakings() {
		if overtakingWords[why] == "" {
			t.Errorf("%s has no words", why)
		}
	}
}
