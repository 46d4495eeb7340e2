package ui

import (
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"drumturn/coordinator"
	"drumturn/queue"
)

// ears notes what a page plays and says, in place of a loudspeaker.
const ears = `window.tones = []; window.said = [];
window.AudioContext = class {
  currentTime = 0; destination = {};
  resume() {}
  createOscillator() { return { frequency: {}, connect: (to) => to, start() { tones.push(this.frequency.value); }, stop() {} }; }
  createGain() { return { gain: { setValueAtTime() {}, exponentialRampToValueAtTime() {} }, connect: (to) => to }; }
};
window.SpeechSynthesisUtterance = class { constructor(text) { this.text = text; } };
Object.defineProperty(window, 'speechSynthesis', { value: { speak: (u) => said.push(u.text + ' ' + u.lang) } });`

func openWall(t *testing.T, h *fakeHouse, query string) *browser {
	t.Helper()
	b := openBrowser(t)
	_, address := serveReal(t, h, nil)
	b.media(t, 1920, 1080, "light")
	if _, err := chromedp.Call(b.ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: ears}); err != nil {
		t.Fatal(err)
	}
	b.do(t, chromedp.Navigate(address+"/r/cellar/wall?key=wallkey"+query), chromedp.WaitVisible("#sound"))
	return b
}

// callDan calls the turn of dan to washer 1.
func callDan(s *coordinator.Snapshot) {
	turn := &s.Turns[1]
	turn.State, turn.Machine, turn.HoldUntil = queue.Called, "w1", in(10)
}

// TestACallIsHeard where the screen was told to: two tones and a sentence with
// nothing personal in it; not for the calls of when the page was opened, and
// not twice.
func TestACallIsHeard(t *testing.T) {
	h := newFakeHouse(fullRoom())
	b := openWall(t, h, "&sound=voice")
	h.change("cellar", callDan)
	b.until(t, "said.length === 1 && tones.length === 2")
	if got, want := b.value(t, "said[0]"), callWord(6)+": Washer 1 is yours. en"; got != want {
		t.Errorf("said %q, want %q", got, want)
	}
	h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[1].Since = in(-38) })
	b.until(t, "document.querySelector('#wall').innerText.includes('13:09')")
	if got := b.value(t, "said.length + ' ' + tones.length"); got != "1 2" {
		t.Errorf("heard again: %s", got)
	}
}

// TestAScreenIsSilentUntilItIsTold: by its own button, for which it stays so.
func TestAScreenIsSilentUntilItIsTold(t *testing.T) {
	h := newFakeHouse(fullRoom())
	b := openWall(t, h, "")
	h.change("cellar", callDan)
	b.until(t, "document.querySelectorAll('[data-call]').length === 2")
	if got := b.value(t, "said.length + ' ' + tones.length"); got != "0 0" {
		t.Errorf("nobody asked for sound, and heard %s", got)
	}
	b.do(t, chromedp.Click("#sound"))
	b.until(t, "document.querySelector('#sound').innerText === 'Sound: chime'")
	h.change("cellar", func(s *coordinator.Snapshot) {
		s.Turns[3].State, s.Turns[3].Machine, s.Turns[3].HoldUntil = queue.Called, "w2", in(12)
	})
	b.until(t, "tones.length === 2")
	if got := b.value(t, "String(said.length)"); got != "0" {
		t.Error("it speaks although only the chime was asked for")
	}
	b.do(t, chromedp.Reload(), chromedp.WaitVisible("#sound"))
	b.until(t, "document.querySelector('#sound').innerText === 'Sound: chime'")
}

// TestTheScreenIsDarkAndNeverStill: dark outside opening hours; a step aside each minute.
func TestTheScreenIsDarkAndNeverStill(t *testing.T) {
	room := smallRoom()
	room.Room = "cellar"
	h := newFakeHouse(room)
	b := openWall(t, h, "")
	if b.value(t, "String(document.body.classList.contains('is-shut'))") != "false" {
		t.Error("dark in opening hours")
	}
	h.change("cellar", func(s *coordinator.Snapshot) {
		for i := range s.Rules.Hours {
			s.Rules.Hours[i].Closed = true
		}
	})
	b.until(t, "document.body.classList.contains('is-shut')")
	seen := map[string]bool{}
	for range 12 {
		at := b.value(t, "import(document.querySelector('script[src*=wall]').src).then((w) => { w.shift(); return document.getElementById('main').style.translate; })")
		seen[at] = true
	}
	if len(seen) < 8 {
		t.Errorf("the picture stands at %v", seen)
	}
}

// TestTheScreenSaysWhatIsSilent: a meter, in words above the board.
func TestTheScreenSaysWhatIsSilent(t *testing.T) {
	h := newFakeHouse(fullRoom())
	b := openWall(t, h, "")
	if got := b.value(t, "document.querySelector('.silent').innerText"); !strings.Contains(got, "The meter of Dryer 3 is silent") {
		t.Errorf("says %q", got)
	}
}

// TestWithoutAPhone joins at the screen in a real browser; whoever then walks
// away leaves nothing open.
func TestWithoutAPhone(t *testing.T) {
	h := touchRoom()
	b := openWall(t, h, "")
	b.do(t, chromedp.Evaluate[chromedp.Void]("undefined"), chromedp.Click(".wall-touch a"), chromedp.WaitVisible("input[name=home]"),
		chromedp.SendKeys("input[name=home]", "12"), chromedp.Click("form button.main"), chromedp.WaitVisible(".wants button"),
		chromedp.Click(".wants button"), chromedp.WaitVisible(".touch-word"))
	if got := b.value(t, "document.querySelector('.touch-word strong').innerText"); got != callWord(23) {
		t.Errorf("the word is %q", got)
	}
	_, err := chromedp.Call(b.ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{
		Source: "const wait = setTimeout; window.setTimeout = (f, ms) => wait(f, ms === 60000 ? 50 : ms);", // a minute passes
	})
	if err != nil {
		t.Fatal(err)
	}
	b.do(t, chromedp.Reload())
	b.until(t, "location.pathname === '/r/cellar/wall' && document.querySelector('#sound') !== null")
	b.do(t, chromedp.Navigate(strings.Replace(b.value(t, "location.href"), "/wall", "/touch", 1)))
	b.until(t, "document.querySelector('h1')?.innerText === 'Without a phone'")
}
