package ui

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/serviceworker"
	"github.com/chromedp/chromedp"

	"drumturn/coordinator"
)

// TestEverythingBehindAProxy walks with a real browser through what a page is
// made of, below a path of another server that leaves the path as it is or cuts
// it off: joining, files, stream, manifest, worker, a device to be told, a
// notice. Nothing may be asked for outside that path.
func TestEverythingBehindAProxy(t *testing.T) {
	for _, cuts := range []bool{false, true} {
		t.Run(fmt.Sprintf("cuts %v", cuts), func(t *testing.T) {
			const base = "/house/laundry"
			b := openBrowser(t)
			h := newFakeHouse(fullRoom())
			h.react = joinReacts
			address := behindProxy(t, h, cuts)
			origin := strings.TrimSuffix(address, base)
			workers := chromedp.Events(b.ctx, serviceworker.WorkerRegistrationUpdated)
			if _, err := chromedp.Call(b.ctx, serviceworker.Enable, cdp.Empty{}); err != nil {
				t.Fatal(err)
			}
			b.mayNotify(t, origin)
			b.media(t, 390, 844, "light")

			b.do(t, chromedp.Navigate(address+"/r/cellar?code=tidewater"), chromedp.WaitVisible("input[name=home]"), chromedp.SendKeys("input[name=home]", "12"))
			b.tap(t, button("Join"))
			b.tap(t, button("Wash"))
			b.do(t, chromedp.WaitVisible("#mine .card"))
			b.until(t, "location.pathname === '"+base+"/r/cellar' && document.readyState === 'complete'")
			h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[0].Since = in(-1) })
			b.until(t, "document.querySelector('#board').innerText.includes('since 13:46')")

			var m struct {
				ID, Scope string
				Start     string `json:"start_url"`
				Icons     []struct{ Src string }
			}
			if err := json.Unmarshal([]byte(b.value(t, "fetch(document.querySelector('link[rel=manifest]').href).then((r) => r.text())")), &m); err != nil {
				t.Fatal(err)
			}
			if m.ID != base+"/" || m.Scope != base+"/" || m.Start != base+"/" || len(m.Icons) == 0 {
				t.Errorf("the manifest says %+v", m)
			}
			for _, icon := range m.Icons {
				if got := b.value(t, "fetch('"+icon.Src+"').then((r) => r.status + ' ' + r.headers.get('content-type'))"); got != "200 image/png" || !strings.HasPrefix(icon.Src, base) {
					t.Errorf("the icon %s gives %s", icon.Src, got)
				}
			}
			if got := b.value(t, "navigator.serviceWorker.ready.then((r) => r.scope)"); got != address+"/" {
				t.Errorf("the worker looks after %s", got)
			}

			b.do(t, chromedp.WaitVisible(".ask button"), chromedp.Evaluate[chromedp.Void](stubSubscribe), chromedp.Evaluate[chromedp.Void](listening), chromedp.Click(".ask button"))
			b.until(t, "document.querySelector('.push-say').textContent.includes('will be told')")
			if got := len(h.People().Subscriptions); got != 1 {
				t.Errorf("%d devices are to be told", got)
			}
			id := registration(t, workers)
			if _, err := chromedp.Call(b.ctx, serviceworker.DeliverPushMessage, serviceworker.DeliverPushMessageParams{
				Origin: origin, RegistrationID: id, Data: `{"title":"Your turn","body":"Washer 1","tag":"turn-5","url":"/r/cellar","at":"1"}`,
			}); err != nil {
				t.Fatal(err)
			}
			b.until(t, "shown.length === 1")
			if got := b.value(t, "navigator.serviceWorker.ready.then((r) => r.getNotifications()).then((l) => l.map((n) => n.data.url + ' ' + new URL(n.icon).pathname).join())"); got != address+"/r/cellar "+base+"/icons/icon-192.png" {
				t.Errorf("the notice leads to %s", got)
			}

			outside := b.value(t, `[...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]
				.map((e) => e.name).filter((name) => !name.startsWith('`+address+`/')).join(' ')`)
			if outside != "" {
				t.Errorf("asked for outside of its path: %s", outside)
			}
			if bad := b.complaints(); len(bad) > 0 {
				t.Errorf("the console complains: %q", bad)
			}
		})
	}
}
