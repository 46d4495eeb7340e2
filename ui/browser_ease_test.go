package ui

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"drumturn/coordinator"
	"drumturn/ui/specimen"
)

// tabTo presses the tabulator until the focus is on an element, which shows it.
func (b *browser) tabTo(t *testing.T, selector string) {
	t.Helper()
	for range 60 {
		if b.value(t, "String(document.activeElement?.matches("+quote(selector)+"))") == "true" {
			if at := b.value(t, focused); strings.HasSuffix(at, " unseen") {
				t.Errorf("the focus cannot be seen on %s", at)
			}
			return
		}
		b.do(t, chromedp.KeyEvent("\t"))
	}
	t.Fatalf("the tabulator does not come to %s: %s", selector, b.value(t, "document.body.innerText"))
}

// TestByKeyboardAlone walks from the code on the wall into the queue, says on my
// way, and leaves, with nothing but the tabulator, letters and the enter key
// (WCAG 2.2, 2.1.1 and 2.4.7).
func TestByKeyboardAlone(t *testing.T) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	h.react = joinReacts
	_, address := serveReal(t, h, nil)
	b.media(t, 390, 844, "light")
	b.do(t, chromedp.Navigate(address+"/r/cellar?code=tidewater"), chromedp.WaitVisible("#take"))
	enter := func(selector string) {
		t.Helper()
		b.tabTo(t, selector)
		b.do(t, chromedp.KeyEvent("\r"))
	}
	enter(".skip")
	if got := b.value(t, "location.hash"); got != "#main" {
		t.Errorf("the first stop leads to %q", got)
	}
	b.tabTo(t, "input[name=home]")
	b.do(t, chromedp.KeyEvent("12"))
	enter("#take button.main")
	b.until(t, "document.querySelector('.wants') !== null")
	enter(".wants button")
	b.until(t, "document.querySelector('#mine .card') !== null")
	h.change("cellar", func(s *coordinator.Snapshot) {
		callDan(s)
		turn := &s.Turns[len(s.Turns)-1]
		turn.State, turn.Machine, turn.HoldUntil = 2, "w1", in(10)
	})
	b.until(t, "document.querySelector('#mine').innerText.includes('I am on my way')")
	enter("[value=on-my-way] + button")
	b.until(t, "document.querySelector('.thanks') !== null")
	enter("#mine [value=leave] + button")
	b.until(t, "document.querySelector('.thanks')?.innerText === 'You left the queue.'")
	want := []string{"Join", "OnMyWay", "Leave"}
	for i, ev := range h.events() {
		if got := fmt.Sprintf("%T", ev); i >= len(want) || !strings.HasSuffix(got, want[i]) {
			t.Errorf("told %s, want %v", got, want)
		}
	}
}

// eased is a way of showing pages, and what must be true of each then.
type eased struct {
	name, media, value string
	text               string // size of the root's text
	fine, why          string
}

// moving lists what would move; faint what has the colour of what is behind it.
const (
	moving = `[...document.querySelectorAll('*')].filter((e) => { const s = getComputedStyle(e);
	return s.animationName !== 'none' || parseFloat(s.transitionDuration) > 0; }).map((e) => e.outerHTML.slice(0, 60)).join()`
	faint = `[...document.querySelectorAll('button, .button, a, h1, h2, p, label')].filter((e) => e.checkVisibility() && e.innerText &&
	getComputedStyle(e).color === getComputedStyle(e).backgroundColor).map((e) => e.outerHTML.slice(0, 60)).join()`
	wide = `document.documentElement.scrollWidth <= innerWidth ? '' : [...document.querySelectorAll('main *')].filter((e) => e.checkVisibility() && !e.closest('svg, .scroll, .unseen') &&
	e.getBoundingClientRect().right > innerWidth + 1).map((e) => e.outerHTML.slice(0, 70)).slice(0, 3).join(' ') || 'too wide'`
)

// eased: the page does not move where that is unwanted, nor lose words to the
// system's own colours or the dark, nor run out of a phone at twice the size of
// text (WCAG 2.2, 1.4.4; 2.3.3).
func (v *visit) eased() {
	v.Helper()
	for _, e := range []eased{
		{"reduced motion", "prefers-reduced-motion", "reduce", "", moving, "moves"},
		{"forced colours", "forced-colors", "active", "", faint, "cannot be read"},
		{"dark", "prefers-color-scheme", "dark", "", faint, "cannot be read"},
		{"large text", "prefers-color-scheme", "light", "200%", wide, "runs out of the screen"},
	} {
		if e.text != "" && v.s.Wall {
			continue // a screen is as large as it is
		}
		v.b.feature(v.T, e.media, e.value)
		v.b.textSize(v.T, e.text)
		if got := v.b.value(v.T, e.fine); got != "" {
			v.says("%s: %s: %s", e.name, e.why, got)
		}
	}
	v.b.textSize(v.T, "")
}

// feature is what a page can ask of the system it is on, such as a scheme of colours.
func (b *browser) feature(t testing.TB, name, value string) {
	t.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: name, Value: value}}})
	if err != nil {
		t.Fatal(err)
	}
}

// textSize makes text larger, as a browser's settings do; empty for as it was.
func (b *browser) textSize(t testing.TB, size string) {
	t.Helper()
	b.do(t, chromedp.Evaluate[chromedp.Void]("document.documentElement.style.fontSize = '"+size+"'; undefined"))
}

// TestOnPaper: what is printed is the board, without buttons, on white; the
// sheets with the codes are all of it.
func TestOnPaper(t *testing.T) {
	onlyLooks(t)
	address := specimens(t)
	b := openBrowser(t)
	for _, s := range specimen.States() {
		if s.Name != "room-waiting" && s.Name != "manager-sheets" {
			continue
		}
		b.show(t, address, s, "dark")
		if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"}); err != nil {
			t.Fatal(err)
		}
		if got := b.value(t, "getComputedStyle(document.body).backgroundColor"); got != "rgb(255, 255, 255)" {
			t.Errorf("%s is printed on %s", s.Name, got)
		}
		if got := b.value(t, "[...document.querySelectorAll('button, nav, footer')].filter((e) => e.checkVisibility()).map((e) => e.outerHTML.slice(0, 60)).join()"); got != "" {
			t.Errorf("%s: printed: %s", s.Name, got)
		}
		if got := b.value(t, "String([...document.querySelectorAll('#board .row, .sheet img')].filter((e) => e.checkVisibility()).length > 7)"); got != "true" {
			t.Errorf("%s: the paper lacks what it is for", s.Name)
		}
	}
}
