package ui

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"drumturn/coordinator"
	"drumturn/queue"
)

// lifecycle freezes a page as a phone does that is put away, or thaws it.
func (b *browser) lifecycle(t *testing.T, state page.SetWebLifecycleStateState) {
	t.Helper()
	if _, err := chromedp.Call(b.ctx, page.SetWebLifecycleState, page.SetWebLifecycleStateParams{State: state}); err != nil {
		t.Fatal(err)
	}
}

// openAsDan opens the room as dan, who waits, and has had one update.
func openAsDan(t *testing.T) (*browser, *fakeHouse, string) {
	t.Helper()
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	h.resident("dan", "h6")
	_, address := serveReal(t, h, nil)
	b.media(t, 390, 844, "light")
	b.cookie(t, address, "__Host-drumturn", "secret-of-dan")
	b.do(t, chromedp.Navigate(address+"/r/cellar"), chromedp.WaitVisible("#mine .card"))
	h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[0].Since = in(-1) })
	b.until(t, "document.querySelector('#board').innerText.includes('since 13:46')")
	return b, h, address
}

// callsDan is what happens while the phone sleeps: his call comes, and much else.
func callsDan(h *fakeHouse) {
	for i := range 5 {
		h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[7].Since = in(-100 - i) })
	}
	h.change("cellar", func(s *coordinator.Snapshot) {
		turn := &s.Turns[1]
		turn.State, turn.Machine, turn.HoldUntil = queue.Called, "w1", in(10)
		s.Machines[0].Hold = &coordinator.Hold{Turn: turn.ID, Since: noon, Until: in(10)}
	})
}

// TestAFrozenPhoneCatchesUp: the browser stops the page altogether (the frozen
// state of the Page Lifecycle draft, W3C WICG). When it goes on, the call of
// meanwhile is there, without being loaded anew.
func TestAFrozenPhoneCatchesUp(t *testing.T) {
	b, h, _ := openAsDan(t)
	b.do(t, chromedp.Evaluate[chromedp.Void]("window.before = true; window.froze = 0; document.addEventListener('freeze', () => { froze += 1; }); undefined"))
	b.lifecycle(t, page.SetWebLifecycleStateStateFrozen)
	callsDan(h)
	b.lifecycle(t, page.SetWebLifecycleStateStateActive)
	b.value(t, `new Promise((done) => {
		const look = () => document.title.startsWith('(1) It is your turn') ? done('') : setTimeout(look, 50); // A page that no screen shows draws nothing.
		look();
	})`)
	if got := b.value(t, "document.querySelector('#mine').innerText"); !strings.Contains(got, "Held for you until 13:57") {
		t.Errorf("it shows %q", got)
	}
	if got := b.value(t, "froze + ' ' + window.before"); got != "1 true" {
		t.Errorf("frozen and kept: %s", got)
	}
}

// TestAPhoneWithoutANetworkCatchesUp: in the lift there is none; what happened
// meanwhile is shown as soon as it is back.
func TestAPhoneWithoutANetworkCatchesUp(t *testing.T) {
	b, h, _ := openAsDan(t)
	b.offline(t, true)
	// The emulation leaves streams alone that are open; a real network does not.
	b.do(t, chromedp.Evaluate[chromedp.Void]("dispatchEvent(new Event('pagehide')); dispatchEvent(new PageTransitionEvent('pageshow', { persisted: true })); undefined"))
	b.until(t, "!document.querySelector('#lost').hidden")
	callsDan(h)
	b.offline(t, false)
	b.until(t, "document.querySelector('#mine').innerText.includes('Held for you until 13:57')")
	b.until(t, "document.querySelector('#lost').hidden")
}

// noStreams stands in for a network on which every stream fails at once, and
// notes how long the page then waits. Time passes a hundredfold.
const noStreams = `window.waits = [];
window.EventSource = class {
  static CLOSED = 2; readyState = 0;
  constructor() { waits.push(0); queueMicrotask(() => { this.readyState = 2; this.onerror?.(); }); }
  addEventListener() {} close() { this.readyState = 2; }
};
const later = window.setTimeout;
window.setTimeout = (f, ms, ...rest) => {
  if (f.name !== 'open') return later(f, ms, ...rest);
  waits[waits.length - 1] ||= Math.round(ms);
  return later(f, ms / 100);
};`

// TestReconnectingBacksOff: each attempt waits twice as long as the one before,
// up to half a minute, and no two phones in step: a program that comes back is
// not overrun by those who wait for it.
func TestReconnectingBacksOff(t *testing.T) {
	b := openBrowser(t)
	_, address := serveReal(t, newFakeHouse(fullRoom()), nil)
	if _, err := chromedp.Call(b.ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: noStreams}); err != nil {
		t.Fatal(err)
	}
	var runs [2][]float64
	for i := range runs {
		b.do(t, chromedp.Navigate(address+"/r/cellar"), chromedp.WaitVisible("#board"))
		b.until(t, "waits.length > 10")
		if err := json.Unmarshal([]byte(b.value(t, "JSON.stringify(waits.slice(0, 10))")), &runs[i]); err != nil {
			t.Fatal(err)
		}
		for n, ms := range runs[i] {
			if mean := min(30000, 500*float64(int(2)<<n)); ms < 0.74*mean || ms > 1.26*mean {
				t.Errorf("attempt %d waits %v ms, want about %v", n, ms, mean)
			}
		}
	}
	same := 0
	for n := range runs[0] {
		if runs[0][n] == runs[1][n] {
			same++
		}
	}
	if same > 5 {
		t.Errorf("two phones wait alike: %v, %v", runs[0], runs[1])
	}
}
