package ui

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// TestHopelessIsSaid: whoever waits for what no day is long enough for, or no machine
// can do, reads why, and the manager what to change.
func TestHopelessIsSaid(t *testing.T) {
	too := []coordinator.TooLong{{Need: queue.Dry, Length: 130 * time.Minute, Longest: 90 * time.Minute}}
	for _, c := range []struct {
		lang, who    string
		tooLong, out bool
		want, never  string
	}{
		{"en", "eve", false, false, "Your turn comes", "opening hours"},
		{"en", "eve", true, false, "Drying takes 2 h 10 min here as a rule, and the opening hours leave 1 h 30 min at most. So your turn cannot be called.", "Your turn comes"},
		{"de", "eve", true, false, "Trocknen dauert hier meist 2 ", "Your turn comes"},
		{"en", "fay", true, false, "Your turn comes", "opening hours leave"},
		{"en", "fay", false, true, "No machine that can do this can be used just now.", "Your turn comes"},
	} {
		room := fullRoom()
		if c.tooLong {
			room.TooLong = too
		}
		for i := range room.Machines {
			if m := &room.Machines[i]; c.out && m.Kind == queue.Washer {
				m.Status = coordinator.Out
			}
		}
		h := newFakeHouse(room)
		h.resident("eve", "h7")
		h.resident("fay", "h8")
		a := get("/r/cellar").as("secret-of-"+c.who, "")
		a.header = http.Header{"Accept-Language": {c.lang}}
		page := a.of(newTestServer(t, h, nil)).Body.String()
		_, mine, _ := strings.Cut(page, `<section class="mine"`)
		if mine, _, _ = strings.Cut(mine, "</section>"); !strings.Contains(mine, c.want) || strings.Contains(mine, c.never) {
			t.Errorf("%s of %s reads, too long %v, out %v: %s; want %q", c.who, c.lang, c.tooLong, c.out, mine, c.want)
		}
	}
}

// TestHopelessNeedsAHand: the manager reads what is too long for the opening hours, and
// what to change, once for the room.
func TestHopelessNeedsAHand(t *testing.T) {
	room := fullRoom()
	h := newFakeHouse(room)
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, h, nil)
	want := "A wash takes 1 h 40 min here as a rule, and the opening hours leave 1 h 30 min at most. Nobody can be called for it: change the opening hours in the house rules."
	for n, list := range [][]coordinator.TooLong{nil, {{Need: queue.Wash, Length: 100 * time.Minute, Longest: 90 * time.Minute}}} {
		room.TooLong = list
		if page := get("/manager").as("", "secret-of-boss").of(s).Body.String(); strings.Count(page, want) != n {
			t.Errorf("with %+v the manager reads it %d times", list, strings.Count(page, want))
		}
	}
}
