package ui

import (
	"bytes"
	"image/png"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	go_qr "github.com/piglig/go-qr"

	"drumturn/coordinator"
	"drumturn/queue"
)

// joinReacts makes the fake house put a turn into the queue.
func joinReacts(snap *coordinator.Snapshot, ev coordinator.Event) {
	if join, ok := ev.(coordinator.Join); ok {
		snap.Turns = append(snap.Turns, queue.Turn{ID: 23, Person: join.Person, Home: join.Home, Need: join.Need,
			State: queue.Waiting, Joined: noon})
		snap.Forecasts = append(snap.Forecasts, coordinator.Forecast{Turn: 23, Median: in(80), Low: in(62), High: in(104), Known: true})
	}
}

// TestAResidentsFirstMinutes walks through the room in a real browser of a
// phone's size: see, join, wait, be called, with the page current all along.
func TestAResidentsFirstMinutes(t *testing.T) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	h.react = joinReacts
	_, address := serveReal(t, h, nil)
	b.media(t, 390, 844, "light")

	b.do(t, chromedp.Navigate(address+"/r/cellar"), chromedp.WaitVisible("#board"))
	page := b.value(t, "document.body.innerText")
	for _, want := range []string{"Washer 1", "free", "overdue", "meter silent since 13:32", "out of service", "Join with the code"} {
		if !strings.Contains(page, want) {
			t.Errorf("the room does not say %q", want)
		}
	}
	if got := b.value(t, "String(document.documentElement.scrollWidth)"); got != "390" {
		t.Errorf("the page is %s px wide on a phone of 390", got)
	}

	b.do(t, chromedp.Navigate(address+"/r/cellar?code=tidewater"), chromedp.WaitVisible("input[name=home]"),
		chromedp.SendKeys("input[name=home]", "12"), chromedp.Click("#take form.stack button"), chromedp.WaitVisible(".wants"))
	b.do(t, chromedp.Click("#take .wants button"), chromedp.WaitVisible("#mine .card"))
	if got := b.value(t, "document.querySelector('#mine').innerText"); !strings.Contains(got, "about 15:07") {
		t.Errorf("my turn says %q", got)
	}
	b.until(t, "document.querySelector('.row.own') !== null")

	b.do(t, chromedp.Evaluate[chromedp.Void]("window.before = document.body; undefined"))
	h.change("cellar", func(s *coordinator.Snapshot) {
		turn := &s.Turns[len(s.Turns)-1]
		turn.State, turn.Machine, turn.HoldUntil = queue.Called, "w1", in(10)
		m := s.Machine("w1")
		m.Status, m.Since, m.Until = coordinator.Held, noon, in(10)
		m.Hold = &coordinator.Hold{Turn: turn.ID, Since: noon, Until: in(10)}
	})
	b.until(t, "document.querySelector('#mine').innerText.includes('Held for you until 13:57')")
	b.until(t, "document.querySelector('#board').innerText.includes('held for you')")
	if b.value(t, "String(window.before === document.body)") != "true" {
		t.Error("the page was loaded anew instead of being kept current")
	}
	if got := b.value(t, "document.querySelector('#say').textContent"); !strings.Contains(got, "It is your turn") {
		t.Errorf("a screen reader hears %q", got)
	}
	if bad := b.complaints(); len(bad) > 0 {
		t.Errorf("the console complains: %q", bad)
	}
}

// TestTheCodeOnTheWallCanBeRead: the picture, as a browser paints it, leads to
// the page to join.
func TestTheCodeOnTheWallCanBeRead(t *testing.T) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	_, address := serveReal(t, h, nil)
	b.media(t, 600, 600, "dark")
	b.do(t, chromedp.Navigate(address+"/r/cellar/join.svg?key=wallkey"))
	data, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	got, err := go_qr.Decode(img)
	if err != nil {
		t.Fatal(err)
	}
	if want := address + "/r/cellar?code=tidewater"; got != want {
		t.Errorf("it reads %s, want %s", got, want)
	}
}

// TestWithoutScripts: joining, waiting and leaving work with forms alone.
func TestWithoutScripts(t *testing.T) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	h.react = func(snap *coordinator.Snapshot, ev coordinator.Event) {
		joinReacts(snap, ev)
		if leave, ok := ev.(coordinator.Leave); ok {
			snap.Turns = slices.DeleteFunc(snap.Turns, func(t queue.Turn) bool { return t.ID == leave.Turn })
		}
	}
	_, address := serveReal(t, h, nil)
	b.media(t, 390, 844, "dark")
	_, err := chromedp.Call(b.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	if err != nil {
		t.Fatal(err)
	}
	b.do(t, chromedp.Navigate(address+"/r/cellar?code=tidewater"), chromedp.WaitVisible("input[name=home]"),
		chromedp.SendKeys("input[name=home]", "12"), chromedp.Click("#take form.stack button"), chromedp.WaitVisible(".wants"),
		chromedp.Click("#take .wants button"), chromedp.WaitVisible("#mine .card"),
		chromedp.Click("#mine .acts > form:last-child button"), chromedp.WaitVisible(".thanks"))
	text, err := chromedp.Run(b.ctx, chromedp.Text(".thanks"))
	if err != nil || text != "You left the queue." {
		t.Errorf("%q %v", text, err)
	}
	if got := h.events(); len(got) != 2 {
		t.Errorf("told %v", got)
	}
}

// TestALostConnectionIsSaidAndMended: the page says since when it may be old,
// and catches up by itself when the program is back.
func TestALostConnectionIsSaidAndMended(t *testing.T) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	ln := listen(t, "127.0.0.1:0")
	address := ln.Addr().String()
	stop := serveOn(t, h, ln)
	b.media(t, 1920, 1080, "light")
	b.do(t, chromedp.Navigate("http://"+address+"/r/cellar/wall"), chromedp.WaitVisible("main"))
	b.until(t, "document.querySelector('#wall').innerText.includes('held until')")
	stop()
	b.until(t, "!document.querySelector('#lost').hidden && document.querySelector('#lost').textContent.includes('may be old')")
	h.change("cellar", func(s *coordinator.Snapshot) { s.Turns = nil })
	ln = listen(t, address)
	defer serveOn(t, h, ln)()
	b.until(t, "document.querySelector('#lost').hidden && document.querySelector('#wall').innerText.includes('Nobody is being called')")
}
