package ui

import (
	"context"
	"encoding/json"
	"iter"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/serviceworker"
	"github.com/chromedp/chromedp"
)

// stubSubscribe stands in for the browser's push service, which a test cannot
// reach: it answers with a device of the test's.
const stubSubscribe = `PushManager.prototype.subscribe = async function (options) {
  window.asked = options.userVisibleOnly + ' ' + options.applicationServerKey.length;
  return { toJSON: () => ({ endpoint: 'https://push.example/abc', keys: { p256dh: 'key-of-device', auth: 'secret-of-device' } }) };
}; undefined`

// listening makes the page keep what the worker says it has shown.
const listening = `window.shown = []; window.channel = new BroadcastChannel('drumturn');
channel.onmessage = (e) => shown.push(e.data.shown); undefined`

// TestBeingTold switches notices on in a real browser, and hands the worker
// messages as the push service would.
func TestBeingTold(t *testing.T) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	h.resident("fay", "h8")
	_, address := serveReal(t, h, nil)
	workers := chromedp.Events(b.ctx, serviceworker.WorkerRegistrationUpdated)
	if _, err := chromedp.Call(b.ctx, serviceworker.Enable, cdp.Empty{}); err != nil {
		t.Fatal(err)
	}
	b.mayNotify(t, address)
	b.media(t, 390, 844, "light")
	b.cookie(t, address, "__Host-drumturn", "secret-of-fay")
	b.do(t, chromedp.Navigate(address+"/r/cellar"), chromedp.WaitVisible(".ask button"),
		chromedp.Evaluate[chromedp.Void](stubSubscribe), chromedp.Evaluate[chromedp.Void](listening), chromedp.Click(".ask button"))
	b.until(t, "document.querySelector('.push-say').textContent.includes('will be told')")
	if got := b.value(t, "window.asked"); got != "true 65" { // a P-256 point, uncompressed
		t.Errorf("subscribed with %q", got)
	}
	devices := h.People().Devices("fay")
	if len(devices) != 1 || devices[0].Endpoint != "https://push.example/abc" || devices[0].Auth != "secret-of-device" {
		t.Fatalf("stored %+v", devices)
	}

	id := registration(t, workers)
	push := func(data string) {
		_, err := chromedp.Call(b.ctx, serviceworker.DeliverPushMessage,
			serviceworker.DeliverPushMessageParams{Origin: address, RegistrationID: id, Data: data})
		if err != nil {
			t.Fatal(err)
		}
	}
	push(`{"title":"Your turn","body":"Washer 3 is held for you until 13:55","tag":"turn-5","url":"/r/cellar","at":"1"}`)
	b.until(t, "shown.length === 1")
	push(`{"title":"Your turn","body":"Washer 3 is still held","tag":"turn-5","url":"https://evil.example/","at":"2"}`)
	b.until(t, "shown.length === 2")
	push(`not what we send`)
	b.until(t, "shown.length === 3")
	got := b.value(t, `navigator.serviceWorker.ready.then(async (r) => JSON.stringify((await r.getNotifications())
		.map((n) => [n.title, n.body, n.tag, n.data.url]).sort((a, b) => a[2] < b[2] ? -1 : 1)))`)
	var notices [][]string
	if err := json.Unmarshal([]byte(got), &notices); err != nil {
		t.Fatal(err)
	}
	if len(notices) != 2 {
		t.Fatalf("the phone shows %v, want the newer of one tag, and the general sentence", notices)
	}
	if n := notices[0]; n[0] != "Laundry" || !strings.HasPrefix(n[3], address) {
		t.Errorf("garbled message shown as %v", n)
	}
	if n := notices[1]; n[1] != "Washer 3 is still held" || n[3] != address+"/" {
		t.Errorf("shown %v: it must replace the older and stay on this site", n)
	}
	if bad := b.complaints(); len(bad) > 0 {
		t.Errorf("the console complains: %q", bad)
	}
}

// registration waits for the worker to be known to the browser.
func registration(t *testing.T, workers iter.Seq2[serviceworker.EventWorkerRegistrationUpdated, error]) serviceworker.RegistrationID {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	found := make(chan serviceworker.RegistrationID, 1)
	go func() {
		for ev, err := range workers {
			if err != nil {
				return
			}
			for _, r := range ev.Registrations {
				if !r.IsDeleted {
					found <- r.RegistrationID
					return
				}
			}
		}
	}()
	select {
	case id := <-found:
		return id
	case <-ctx.Done():
		t.Fatal("no worker was registered")
		return ""
	}
}
