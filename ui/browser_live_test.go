package ui

import (
	"bytes"
	"io"
	"net"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"drumturn/coordinator"
	"drumturn/queue"
)

// relay stands between browser and server like a network: what goes through it
// can be held up, and nobody is told.
type relay struct {
	ln net.Listener
	to string
	mu sync.Mutex
	// streams are the connections that carry one, and whether they are dead.
	streams map[net.Conn]bool
}

func newRelay(t *testing.T, to string) *relay {
	t.Helper()
	ln := listen(t, "127.0.0.1:0")
	r := &relay{ln: ln, to: strings.TrimPrefix(to, "http://"), streams: map[net.Conn]bool{}}
	t.Cleanup(func() { ln.Close() })
	go func() {
		for {
			c, err := ln.Accept()
			if err != nil {
				return
			}
			go r.carry(c)
		}
	}()
	return r
}

func (r *relay) carry(c net.Conn) {
	defer c.Close()
	s, err := net.Dial("tcp", r.to)
	if err != nil {
		return
	}
	defer s.Close()
	go func() { _, _ = io.Copy(s, c); s.Close() }()
	buf := make([]byte, 32<<10)
	for {
		n, err := s.Read(buf)
		if r.dead(c, bytes.Contains(buf[:n], []byte("text/event-stream"))) {
			_, _ = io.Copy(io.Discard, s) // The browser still believes in it.
			return
		}
		if err != nil {
			return
		}
		if _, err := c.Write(buf[:n]); err != nil {
			return
		}
	}
}

// dead reports whether a connection is; begins says that a stream begins on it.
func (r *relay) dead(c net.Conn, begins bool) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	if begins {
		r.streams[c] = false
	}
	return r.streams[c]
}

// swallow makes every stream of now a dead one; later ones are well.
func (r *relay) swallow() {
	r.mu.Lock()
	defer r.mu.Unlock()
	for c := range r.streams {
		r.streams[c] = true
	}
}

// later makes the page believe that time has passed, as after a phone's sleep.
func (b *browser) later(t *testing.T, d time.Duration) {
	t.Helper()
	b.do(t, chromedp.Evaluate[chromedp.Void](`{ const now = Date.now; const ms = `+
		strconv.FormatInt(d.Milliseconds(), 10)+`; Date.now = () => now() + ms; } undefined`))
}

func openThroughRelay(t *testing.T) (*browser, *fakeHouse, *relay) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	h.resident("dan", "h6")
	s := listen(t, "127.0.0.1:0")
	t.Cleanup(serveOn(t, h, s))
	r := newRelay(t, s.Addr().String())
	address := "http://" + r.ln.Addr().String()
	b.media(t, 390, 844, "light")
	b.cookie(t, address, "__Host-drumturn", "secret-of-dan")
	b.do(t, chromedp.Navigate(address+"/r/cellar"), chromedp.WaitVisible("#mine .card"))
	h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[0].Since = in(-1) })
	b.until(t, "document.querySelector('#board').innerText.includes('since 13:46')")
	return b, h, r
}

// TestAStreamThatSaysNothingIsReplaced: the connection is dead and nobody told
// the browser. The page hears no beat, opens another, and has what it missed.
func TestAStreamThatSaysNothingIsReplaced(t *testing.T) {
	b, h, r := openThroughRelay(t)
	r.swallow()
	h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[0].Since = in(-2) })
	b.later(t, time.Minute)
	b.until(t, "document.querySelector('#board').innerText.includes('since 13:45')")
	b.until(t, "document.querySelector('#lost').hidden")
}

// TestAPhoneThatWakesCatchesUp: at once, without waiting for the next look at
// the stream; with the call that came meanwhile.
func TestAPhoneThatWakesCatchesUp(t *testing.T) {
	b, h, r := openThroughRelay(t)
	r.swallow()
	h.change("cellar", func(s *coordinator.Snapshot) {
		turn := &s.Turns[1]
		turn.State, turn.Machine, turn.HoldUntil = queue.Called, "w1", in(10)
		s.Machines[0].Hold = &coordinator.Hold{Turn: turn.ID, Since: noon, Until: in(10)}
	})
	b.later(t, 30*time.Second) // too short for the page to give the stream up
	b.do(t, chromedp.Evaluate[chromedp.Void]("document.dispatchEvent(new Event('visibilitychange')); undefined"))
	b.until(t, "document.querySelector('#mine').innerText.includes('Held for you until 13:57')")
	b.until(t, "document.title.startsWith('(1) It is your turn')")
}

// TestAPageThatComesBackIsCurrent: browsers keep pages as they were when one
// goes back to them.
func TestAPageThatComesBackIsCurrent(t *testing.T) {
	b, h, _ := openThroughRelay(t)
	b.do(t, chromedp.Evaluate[chromedp.Void]("window.dispatchEvent(new Event('pagehide')); undefined"))
	h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[0].Since = in(-3) })
	b.do(t, chromedp.Evaluate[chromedp.Void]("window.dispatchEvent(new PageTransitionEvent('pageshow', { persisted: true })); undefined"))
	b.until(t, "document.querySelector('#board').innerText.includes('since 13:44')")
}

// TestTheBadgeCounts: what waits for the visitor is in the title and on the
// icon of the installed page, and goes from both.
func TestTheBadgeCounts(t *testing.T) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	h.resident("bob", "h3") // has a load in washer 4 that is ready
	_, address := serveReal(t, h, nil)
	b.cookie(t, address, "__Host-drumturn", "secret-of-bob")
	b.do(t, chromedp.Navigate(address+"/r/cellar"), chromedp.WaitVisible("#mine .card"),
		chromedp.Evaluate[chromedp.Void]("window.badges = []; navigator.setAppBadge = async (n) => { badges.push(n); }; undefined"))
	if title := b.value(t, "document.title"); !strings.HasPrefix(title, "(1) Your load in Washer 4") {
		t.Errorf("the title is %q", title)
	}
	h.change("cellar", func(s *coordinator.Snapshot) {
		m := s.Machine("w4")
		m.Status, m.Load = coordinator.Free, nil
	})
	b.until(t, "document.title === 'Laundry room, cellar · Alder Court' && badges.at(-1) === 0")
}

// TestLiveBehindAProxy: below a path of another server the page is current, the
// worker looks after it, and its last board is there without a connection.
func TestLiveBehindAProxy(t *testing.T) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	h.resident("dan", "h6")
	address := behindProxy(t, h, true)
	b.media(t, 390, 844, "light")
	b.cookie(t, address, "__Host-drumturn", "secret-of-dan")
	b.do(t, chromedp.Navigate(address+"/r/cellar"), chromedp.WaitVisible("#mine .card"))
	h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[0].Since = in(-1) })
	b.until(t, "document.querySelector('#board').innerText.includes('since 13:46')")
	b.workerReady(t, "/house/laundry/r/cellar")
	b.do(t, chromedp.Reload(), chromedp.WaitVisible("#board")) // The worker has it from now on.
	b.offline(t, true)
	b.do(t, chromedp.Navigate(address+"/r/cellar"), chromedp.WaitVisible("#lost"), chromedp.WaitVisible("#board .row"))
}
