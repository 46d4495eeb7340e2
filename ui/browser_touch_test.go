package ui

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"drumturn/coordinator"
	"drumturn/queue"
)

// touchReacts makes the fake house do what is tapped at the screen.
func touchReacts(snap *coordinator.Snapshot, ev coordinator.Event) {
	joinReacts(snap, ev)
	switch ev := ev.(type) {
	case coordinator.Claim:
		m := snap.Machine(ev.Machine)
		load := *m.Load
		load.Owner, load.Home = ev.Person, ev.Home
		m.Load = &load
	case coordinator.Collect:
		m := snap.Machine(ev.Machine)
		m.Status, m.Load, m.Since = coordinator.Free, nil, noon
	}
}

// hidden lists controls that one would have to scroll to, or miss with a finger:
// at a wall nobody looks below the edge.
const hidden = `JSON.stringify([...document.querySelectorAll('a[href], button, input:not([type=hidden])')].filter((e) => {
	if (!e.checkVisibility() || e.closest('.rows')) return false;
	const box = e.getBoundingClientRect();
	return box.bottom > innerHeight || box.right > innerWidth || box.top < 0 || box.height < 44 || box.width < 44;
}).map((e) => e.outerHTML.slice(0, 90)))`

// TestTheTouchScreen walks what somebody without a phone does, on a large screen
// and on a small old tablet: from the wall, with the home's code, join and get a
// word; be called by it; claim a load, collect it; go. Nothing is out of sight.
func TestTheTouchScreen(t *testing.T) {
	for _, size := range [][2]int64{{1920, 1080}, {1024, 600}} {
		t.Run(fmt.Sprintf("%dx%d", size[0], size[1]), func(t *testing.T) {
			h := touchRoom()
			h.react = touchReacts
			h.rooms["cellar"].Rules.OpenHomes = false
			h.people.Homes["h12"] = coordinator.Home{ID: "h12", Name: "12", Code: "KLMN-2345"}
			b := openBrowser(t)
			_, address := serveReal(t, h, nil)
			b.media(t, size[0], size[1], "light")
			inSight := func(where string) {
				t.Helper()
				if got := b.value(t, hidden); got != "[]" {
					t.Errorf("%s: out of sight, or too small: %s", where, got)
				}
			}
			b.do(t, chromedp.Navigate(address+"/r/cellar/wall?key=wallkey"), chromedp.WaitVisible(".wall-touch a"))
			inSight("the wall")
			b.tap(t, ".wall-touch a")
			b.do(t, chromedp.WaitVisible("input[name=home-code]"), chromedp.SendKeys("input[name=home-code]", "klmn2345"))
			inSight("entering")
			b.tap(t, button("Go on"))
			b.tap(t, button("Wash"))
			b.until(t, "document.querySelector('.touch-word strong')?.innerText === '"+callWord(23)+"'")
			inSight("with a word")
			b.tap(t, button("This is my load"))
			b.tap(t, button("I have collected it"))
			b.until(t, "document.querySelector('.touch-machine') === null && document.querySelector('.thanks') !== null")
			inSight("after collecting")
			b.tap(t, button("Done"))
			b.until(t, "location.pathname === '/r/cellar/wall'")
			want := []string{"Join", "Claim", "Collect"}
			for i, ev := range h.events() {
				if got := fmt.Sprintf("%T", ev); i >= len(want) || !strings.HasSuffix(got, want[i]) {
					t.Errorf("told %s, want %v", got, want)
				}
			}
			h.change("cellar", func(s *coordinator.Snapshot) {
				turn := &s.Turns[len(s.Turns)-1]
				turn.State, turn.Machine, turn.HoldUntil = queue.Called, "w1", in(10)
			})
			b.until(t, "document.querySelector('.called').innerText.includes('"+callWord(23)+" to Washer 1')")
			if text := b.value(t, "document.body.innerText"); strings.Contains(text, "Home 12") || strings.Contains(text, "Secretname") {
				t.Error("the wall says who is called")
			}
		})
	}
}
