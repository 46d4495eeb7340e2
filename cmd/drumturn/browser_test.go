package main

import (
	"context"
	"iter"
	"net/url"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	cdpbrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/serviceworker"
	"github.com/chromedp/chromedp"

	"drumturn/push/pushtest"
)

// handset is a real browser with a resident's session and the program's service
// worker, to which a test hands what a push service would.
type handset struct {
	*testing.T
	page, worker context.Context
	address      string
	registration serviceworker.RegistrationID
}

// chromium finds the browser. Without one the test is skipped, but not where CI
// says that everything is there.
func chromium(t *testing.T) string {
	t.Helper()
	if path, err := exec.LookPath("chromium"); err == nil {
		return path
	}
	if os.Getenv("CI") == "true" {
		t.Fatal("no Chromium here: install Debian's package chromium")
	}
	t.Skip("no Chromium here: install Debian's package chromium to run this test")
	return ""
}

// handset opens a browser as the visitor, on a page of theirs.
func (v *visitor) handset(t *testing.T) *handset {
	t.Helper()
	page := startBrowser(t)
	h := &handset{T: t, page: page, address: "http://" + v.app.address()}
	registered := chromedp.Events(page, serviceworker.WorkerRegistrationUpdated)
	_, err := chromedp.Call(page, serviceworker.Enable, cdp.Empty{})
	h.must(err)
	_, err = chromedp.CallBrowser(page, cdpbrowser.SetPermission, cdpbrowser.SetPermissionParams{
		Permission: &cdpbrowser.PermissionDescriptor{Name: "notifications"}, Setting: cdpbrowser.PermissionSettingGranted, Origin: h.address,
	})
	h.must(err)
	h.session(v)
	h.opens("/me")
	h.says(h.page, "navigator.serviceWorker.ready.then(() => 'ready')")
	h.registration = h.registered(registered)
	h.worker = h.attach()
	return h
}

// startBrowser starts a browser with an empty profile, which ends with the test. Once
// in some hundred starts a browser crashes by itself: it gets three tries.
func startBrowser(t *testing.T) (page context.Context) {
	t.Helper()
	path, err := chromium(t), error(nil)
	for range 3 {
		alloc, end := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:],
			chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(t.TempDir()),
			chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))...)
		t.Cleanup(end)
		page, closePage := chromedp.NewContext(alloc)
		t.Cleanup(closePage)
		if err = chromedp.Do(page); err == nil {
			return page
		}
		t.Logf("the browser does not start: %v", err)
	}
	t.Fatal(err)
	return nil
}

func (h *handset) must(err error) {
	h.Helper()
	if err != nil {
		h.Fatal(err)
	}
}

// session gives the browser the visitor's cookies.
func (h *handset) session(v *visitor) {
	h.Helper()
	at, err := url.Parse(h.address)
	h.must(err)
	for _, c := range v.client.Jar.Cookies(at) {
		_, err := chromedp.Call(h.page, network.SetCookie, network.SetCookieParams{Name: c.Name, Value: c.Value, URL: h.address, Path: "/", HTTPOnly: new(true),
			SameSite: network.CookieSameSiteLax})
		h.must(err)
	}
}

// opens loads a page of the building.
func (h *handset) opens(path string) {
	h.Helper()
	ctx, cancel := context.WithTimeout(h.page, patience)
	defer cancel()
	h.must(chromedp.Do(ctx, chromedp.Navigate(h.address+path)))
}

// registered waits for the worker's registration.
func (h *handset) registered(updates iter.Seq2[serviceworker.EventWorkerRegistrationUpdated, error]) serviceworker.RegistrationID {
	h.Helper()
	found := make(chan serviceworker.RegistrationID, 1)
	go func() {
		for update, err := range updates {
			for _, r := range update.Registrations {
				if err == nil && !r.IsDeleted {
					found <- r.RegistrationID
					return
				}
			}
		}
	}()
	select {
	case id := <-found:
		return id
	case <-time.After(patience):
		h.Fatal("no worker was registered")
		return ""
	}
}

// attach gives a way into the worker.
func (h *handset) attach() context.Context {
	h.Helper()
	infos, err := chromedp.Targets(h.page)
	h.must(err)
	for _, info := range infos {
		if info.Type == "service_worker" && strings.HasPrefix(info.URL, h.address) {
			worker, cancel := chromedp.NewContext(h.page, chromedp.WithTargetID(info.TargetID))
			h.Cleanup(cancel)
			h.must(chromedp.Do(worker)) // the first one lives as long as the way into it
			return worker
		}
	}
	h.Fatalf("no worker among %+v", infos)
	return nil
}

// says evaluates JavaScript, in the page or the worker, that makes a text.
func (h *handset) says(where context.Context, script string) string {
	h.Helper()
	ctx, cancel := context.WithTimeout(where, patience)
	defer cancel()
	got, err := chromedp.Run(ctx, chromedp.Evaluate[string](script, chromedp.EvalAwaitPromise))
	if err != nil {
		h.Fatalf("%s: %v", script, err)
	}
	return got
}

// gets hands the worker the newest message that the phone's push service has
// taken, once there are n, and waits until it shows.
func (h *handset) gets(phone *pushtest.Phone, n int) string {
	h.Helper()
	ctx, cancel := context.WithTimeout(h.Context(), patience)
	defer cancel()
	all, err := phone.Await(ctx, n)
	h.must(err)
	h.says(h.page, `window.heard = new Promise((done) => {
		const channel = new BroadcastChannel('drumturn');
		channel.onmessage = (e) => { channel.close(); done(e.data.shown); };
	}), 'listening'`)
	_, err = chromedp.Call(h.page, serviceworker.DeliverPushMessage, serviceworker.DeliverPushMessageParams{
		Origin: h.address, RegistrationID: h.registration, Data: string(all[n-1].Plain),
	})
	h.must(err)
	h.says(h.page, "window.heard")
	return h.shows()
}

// shows lists the notices on the screen: title, body and buttons of each.
func (h *handset) shows() string {
	h.Helper()
	return h.says(h.page, `navigator.serviceWorker.ready.then(async (r) => (await r.getNotifications())
		.map((n) => [n.title, n.body, ...n.actions.map((a) => '[' + a.title + ']')].join(' | ')).join('\n'))`)
}

// presses does what the browser does when somebody presses a button of the one
// notice on the screen, or the notice itself (empty), and waits until the worker
// is done. It answers with the pages that the worker asks to open, which a
// browser lets it do only for a finger.
func (h *handset) presses(action string) string {
	h.Helper()
	return h.says(h.worker, `(async () => {
		const [notification] = await registration.getNotifications();
		const opened = [], work = [];
		Object.defineProperty(clients, 'openWindow', { configurable: true, value: async (url) => { opened.push(url); return null; } });
		const event = new NotificationEvent('notificationclick', { notification, action: '`+action+`' });
		event.waitUntil = (promise) => work.push(promise);
		dispatchEvent(event);
		await Promise.all(work);
		return opened.join(' ');
	})()`)
}
