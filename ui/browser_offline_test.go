package ui

import (
	"maps"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"drumturn/coordinator"
)

// cutOff is network.EmulateNetworkConditionsByRule for older browsers (Chromium 148) and
// newer ones, which are told in different places that they are offline.
var cutOff = cdp.Command[cutOffParams, cdp.Empty]{Method: network.CommandEmulateNetworkConditionsByRule}

type cutOffParams struct {
	Offline bool `json:"offline"`
	network.EmulateNetworkConditionsByRuleParams
}

// offline cuts the browser off, or lets it on again: its pages and its worker.
func (b *browser) offline(t *testing.T, off bool) {
	t.Helper()
	conditions := []*network.Conditions{}
	if off {
		conditions = append(conditions, &network.Conditions{Offline: true, DownloadThroughput: -1, UploadThroughput: -1})
	}
	_, err := chromedp.Call(b.ctx, cutOff, cutOffParams{off, network.EmulateNetworkConditionsByRuleParams{
		EmulateOfflineServiceWorker: new(off), MatchedNetworkConditions: conditions,
	}})
	if err != nil {
		t.Fatal(err)
	}
}

// workerReady waits until the page's worker is at work and has kept the page.
func (b *browser) workerReady(t *testing.T, path string) {
	t.Helper()
	b.until(t, "navigator.serviceWorker.controller !== null")
	b.until(t, `(async () => {
		const cache = await caches.open('pages-' + document.body.dataset.sum);
		return await cache.match('`+path+`') !== undefined;
	})()`)
}

// TestTheLastBoardIsShownOffline: a page that was seen comes back without a
// connection with its age; one that was not shows the last board; a tap is said
// to have done nothing; and with the connection everything is current again.
func TestTheLastBoardIsShownOffline(t *testing.T) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	h.resident("fay", "h8")
	ln := listen(t, "127.0.0.1:0")
	address, stop := "http://"+ln.Addr().String(), serveOn(t, h, ln)
	b.media(t, 390, 844, "light")
	b.cookie(t, address, "__Host-drumturn", "secret-of-fay")
	b.do(t, chromedp.Navigate(address+"/r/cellar"), chromedp.WaitVisible("#board"))
	b.workerReady(t, "/r/cellar")

	// What came by the stream is newer than the page as it was loaded.
	h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[0].Since = in(-1) })
	b.until(t, "document.querySelector('#board').innerText.includes('since 13:46')")
	b.do(t, chromedp.Navigate(address+"/me"), chromedp.WaitVisible("main"))

	b.offline(t, true)
	stop() // The browser's emulation lets a worker's own requests through.
	b.do(t, chromedp.Navigate(address+"/r/cellar"), chromedp.WaitVisible("#lost"))
	b.until(t, "/Not connected since .+ [(].+[)]/.test(document.querySelector('#lost').innerText)")
	b.until(t, "document.querySelector('#board').innerText.includes('since 13:46')")
	b.do(t, chromedp.Navigate(address+"/me"), chromedp.WaitVisible("#last-board .row"))
	for _, want := range []string{"No connection", "Nothing was sent", "Laundry room, cellar", "Washer 1"} {
		if text := b.value(t, "document.body.innerText"); !strings.Contains(text, want) {
			t.Errorf("the page without a connection does not say %q: %s", want, text)
		}
	}
	b.do(t, chromedp.Navigate(address+"/r/cellar"), chromedp.WaitVisible("#lost"))
	b.until(t, "document.querySelector('#board').innerText.includes('since 13:46')")
	b.do(t, chromedp.Click("#mine .acts > form:last-child button"))
	b.until(t, "document.querySelector('h1').innerText === 'No connection'")
	if len(h.events()) != 0 {
		t.Errorf("told %v without a connection", h.events())
	}

	b.do(t, chromedp.Navigate(address+"/r/cellar"), chromedp.WaitVisible("#lost"))
	h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[0].Since = in(-2) })
	ln = listen(t, ln.Addr().String())
	defer serveOn(t, h, ln)()
	b.offline(t, false)
	b.until(t, "document.querySelector('#lost').hidden && document.querySelector('#board').innerText.includes('since 13:45')")
}

// TestSigningOutLeavesNothingBehind: the kept pages show what was one's own.
func TestSigningOutLeavesNothingBehind(t *testing.T) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	h.resident("fay", "h8")
	_, address := serveReal(t, h, nil)
	b.media(t, 390, 844, "light")
	b.cookie(t, address, "__Host-drumturn", "secret-of-fay")
	b.do(t, chromedp.Navigate(address+"/r/cellar"), chromedp.WaitVisible("#board"))
	b.workerReady(t, "/r/cellar")
	b.do(t, chromedp.Navigate(address+"/me"), chromedp.WaitVisible("main"), chromedp.Click("form[action='/me/sign-out'] button"))
	b.until(t, `(async () => {
		const cache = await caches.open('pages-' + document.body.dataset.sum);
		return (await Promise.all((await cache.keys()).map(async (k) => (await (await cache.match(k)).text()).includes('Your turn')))).every((own) => !own);
	})()`)
}

// withOtherScripts gives a server another set of styles and scripts, as the
// next version of the program has.
func withOtherScripts(s *Server) {
	next := &assets{sum: "00000000000000ff", files: maps.Clone(s.assets.files)}
	css := next.files["app.css"]
	css.plain = append(css.plain, []byte("\nbody { --edition: second; }\n")...)
	css.zipped = zip(css.plain)
	next.files["app.css"] = css
	s.assets = next
}

// TestAnUpdateShowsNoStalePage: the program comes back with other styles and
// scripts. A page that is open loads itself anew, and what the worker kept for
// the earlier ones is gone; offline it shows the page of the new edition.
func TestAnUpdateShowsNoStalePage(t *testing.T) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	ln := listen(t, "127.0.0.1:0")
	address := ln.Addr().String()
	stop := serveOn(t, h, ln)
	b.media(t, 390, 844, "light")
	b.do(t, chromedp.Navigate("http://"+address+"/r/cellar"), chromedp.WaitVisible("#board"))
	b.workerReady(t, "/r/cellar")
	first := b.value(t, "document.body.dataset.sum")
	stop()

	ln = listen(t, address)
	next := newTestServer(t, h, nil)
	withOtherScripts(next)
	stop = serve(t, next, ln)
	edition := "getComputedStyle(document.body).getPropertyValue('--edition').trim() === 'second'"
	b.until(t, edition) // without anybody's doing
	b.until(t, `(async () => (await caches.keys()).join())().then((names) =>
		names.includes('pages-00000000000000ff') && !names.includes('`+first+`'))`)
	b.workerReady(t, "/r/cellar")
	stop()
	b.do(t, chromedp.Navigate("http://"+address+"/r/cellar"), chromedp.WaitVisible("#lost"))
	b.until(t, edition)
}

// TestTheHomeScreenHintIsOnlyWhereItHelps: a phone that takes notices from the
// home screen only says so by what its pages have and lack (from memory: no
// PushManager in a tab, and navigator.standalone).
func TestTheHomeScreenHintIsOnlyWhereItHelps(t *testing.T) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	h.resident("dan", "h6")
	_, address := serveReal(t, h, nil)
	b.media(t, 390, 844, "light")
	b.cookie(t, address, "__Host-drumturn", "secret-of-dan")
	for _, path := range []string{"/r/cellar", "/me"} {
		b.do(t, chromedp.Navigate(address+path), chromedp.WaitVisible("main"), chromedp.WaitVisible("[data-push]"))
		if b.value(t, "String(document.querySelector('[data-home-screen]').hidden)") != "true" {
			t.Errorf("%s hints at the home screen where a tap on the button is enough", path)
		}
	}
	_, err := chromedp.Call(b.ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{
		Source: "delete window.PushManager; Object.defineProperty(navigator, 'standalone', { value: false });",
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{"/r/cellar", "/me"} {
		b.do(t, chromedp.Navigate(address+path), chromedp.WaitVisible("[data-home-screen]"))
		if b.value(t, "String(document.querySelector('[data-push]').hidden)") != "true" {
			t.Errorf("%s offers a button that cannot work", path)
		}
	}
}
