package ui

import (
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"drumturn/push/words"
	"drumturn/ui/specimen"
)

// speak chooses a language as the button does, by the cookie.
func (b *browser) speak(t *testing.T, address string, l *words.Language) {
	t.Helper()
	_, err := chromedp.Call(b.ctx, network.SetCookie, network.SetCookieParams{Name: languageCookie, Value: l.Code(), URL: address, Path: "/"})
	if err != nil {
		t.Fatal(err)
	}
}

// look opens a state in a language. It does not wait for anything to be painted.
func (b *browser) look(t *testing.T, address string, s specimen.State, l *words.Language, scheme string) {
	t.Helper()
	b.speak(t, address, l)
	b.become(t, address, s, scheme)
	b.do(t, chromedp.Navigate(address+inLanguage(s, l).Path))
	if s.Press != "" {
		b.do(t, chromedp.Evaluate[chromedp.Void]("window.before = true; document.querySelector("+strconv.Quote(s.Press)+").click(); undefined"))
		b.until(t, afterForm)
	}
}

// inLanguage is a state as its page is in a language: a screen's is in its address.
func inLanguage(s specimen.State, l *words.Language) specimen.State {
	if s.Wall {
		s.Path += "&lang=" + l.Code()
	}
	return s
}

// sticksOut names what sticks out of the page to either side, but for what scrolls in
// a box of its own.
const sticksOut = `(() => { const r = document.documentElement; if (r.scrollWidth <= innerWidth) return '';
	const over = [...document.querySelectorAll('body *')].filter((e) => { const b = e.getBoundingClientRect();
		return b.width > 0 && (b.right > innerWidth + 1 || b.left < -1) && !e.closest('.scroll, svg, .skip, .unseen'); });
	return r.scrollWidth + ' > ' + innerWidth + ': ' + over.slice(-3).map((e) => e.tagName + '.' + e.className + ' ' + e.innerText.slice(0, 60)).join(' | '); })()`

// cutWords names words of tables that are cut in two by a cell narrower than they are.
// Words of more than 12 letters may be.
const cutWords = `(() => { const pen = document.createElement('canvas').getContext('2d');
	const cut = (e) => { const s = getComputedStyle(e), room = e.clientWidth - parseFloat(s.paddingLeft) - parseFloat(s.paddingRight);
		pen.font = s.font;
		return e.innerText.split(/\s+/).filter((w) => w.length <= 12 && e.clientWidth > 0 && pen.measureText(w).width > room + 2).map((w) => w + ' in ' + Math.round(room) + ' px'); };
	return [...document.querySelectorAll('table :is(th, td)')].flatMap(cut).slice(0, 5).join(' | '); })()`

// narrowTable puts a table on the page that cuts its word in two.
const narrowTable = `(() => { const t = document.body.appendChild(document.createElement('table'));
	Object.assign(t.style, { tableLayout: 'fixed', width: '40px', minWidth: 0 });
	t.insertRow().insertCell().textContent = 'machines'; })(); undefined`

// fits: the page is in its language, no word of a table is cut at 390 px, and nothing sticks out at 390 px, at 320 px
// (WCAG 2.2, 1.4.10, from memory), and with text of twice the size (1.4.4) on a
// screen of 768 px.
func (v *visit) fits() {
	v.Helper()
	if got, want := v.b.value(v.T, "document.documentElement.lang + ' ' + getComputedStyle(document.body).direction"), v.l.Code()+" "+v.l.Dir(); got != want {
		v.says("it is in %s", got)
	}
	inside := func(where string) {
		v.Helper()
		if over := v.b.value(v.T, sticksOut); over != "" {
			v.says("%s: %s", where, over)
		}
	}
	inside("as it is")
	if v.s.Wall {
		return
	}
	if cut := v.b.value(v.T, cutWords); cut != "" {
		v.says("cut in two: %s", cut)
	}
	v.b.do(v.T, chromedp.EmulateViewport(320, 640))
	inside("320 px")
	v.b.do(v.T, chromedp.EmulateViewport(768, 1024))
	v.b.textSize(v.T, "200%")
	inside("large text")
}

// TestBoardsBesideTheirWords: on a desk and on a wall, the drawing of a row is
// beside its words in every direction of writing, not below them.
func TestBoardsBesideTheirWords(t *testing.T) {
	onlyLooks(t)
	address := specimens(t)
	b := openBrowser(t)
	const over = `JSON.stringify([...document.querySelectorAll('.row')].map((r) => ({ words: r.querySelector('.who').getBoundingClientRect(), drawing: r.querySelector('.strip').getBoundingClientRect() }))
		.filter(({ words, drawing }) => words.left < drawing.right - 1 && drawing.left < words.right - 1 && words.top < drawing.bottom).map(({ words }) => words.left))`
	for _, s := range specimen.States() {
		if s.Name != "room-waiting" && s.Name != "wall" && s.Name != "manager" {
			continue
		}
		for _, l := range words.All() {
			b.look(t, address, s, l, "light")
			if !s.Wall {
				b.do(t, chromedp.EmulateViewport(1280, 900))
			}
			if b.value(t, "String(document.querySelectorAll('.row').length > 3)") != "true" {
				t.Errorf("%s in %s: no rows", s.Name, l.Code())
			}
			if got := b.value(t, over); got != "[]" {
				t.Errorf("%s in %s: drawings lie on words at %s", s.Name, l.Code(), got)
			}
		}
	}
}

// TestLanguageInABrowser: the page is in what the browser asks for; a button
// chooses another, which stays, and turns the page around where it is written
// from right to left.
func TestLanguageInABrowser(t *testing.T) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	_, address := serveReal(t, h, nil)
	b.media(t, 390, 844, "light")
	_, err := chromedp.Call(b.ctx, network.SetExtraHTTPHeaders, network.SetExtraHTTPHeadersParams{Headers: network.Headers{"Accept-Language": "de-AT,de;q=0.9,en;q=0.5"}})
	if err != nil {
		t.Fatal(err)
	}
	text := func() string { return b.value(t, "document.body.innerText") }
	b.do(t, chromedp.Navigate(address+"/r/cellar"), chromedp.WaitVisible("#board"))
	if got := text(); !strings.Contains(got, "Waschmaschine 1") || b.value(t, "document.documentElement.lang") != "de" {
		t.Errorf("a browser that asks for German gets %s", got)
	}
	const homeLeft = "String(Math.round(document.querySelector('.top .home').getBoundingClientRect().left) < 40)"
	if b.value(t, homeLeft) != "true" {
		t.Error("the way home is not at the left")
	}
	b.do(t, chromedp.Click(".languages button[value=ar]"))
	b.until(t, "document.documentElement?.lang === 'ar' && document.querySelector('#board') !== null")
	if got := text(); !strings.Contains(got, "الغسالة 1") {
		t.Errorf("after the button: %s", got)
	}
	if b.value(t, homeLeft) == "true" || b.value(t, "String(innerWidth - document.querySelector('h1').getBoundingClientRect().right < 40)") != "true" {
		t.Error("a page in Arabic does not begin at the right")
	}
	b.do(t, chromedp.Navigate(address+"/r/cellar/join"), chromedp.WaitVisible("form.stack"))
	if got := b.value(t, "document.documentElement.lang + getComputedStyle(document.querySelector('input[name=code]')).direction"); got != "arrtl" && got != "arltr" {
		t.Errorf("the next page: %s", got)
	}
	b.do(t, chromedp.Click(".languages button[value=fr]"))
	b.until(t, "document.documentElement?.lang === 'fr' && location.pathname === '/r/cellar/join'")
	if bad := b.complaints(); len(bad) > 0 {
		t.Errorf("the console complains: %q", bad)
	}
}
