package ui

import (
	"encoding/json"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	cdpbrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/chromedp"

	"drumturn/coordinator"
)

// way is a flow that takes more than one browser, or more than a page.
type way struct {
	name string
	most int // taps, of all who take part
	walk func(w *walker)
}

// walker counts what is tapped and typed on the way.
type walker struct {
	*testing.T
	h            *fakeHouse
	letters      *lettersBox
	address      string
	taps, fields int
}

// phone is a browser with a fresh profile; who has a session in it, if anybody.
func (w *walker) phone(who, kind string) *browser {
	w.Helper()
	b := openBrowser(w.T)
	b.media(w.T, 390, 844, "light")
	if who != "" {
		b.cookie(w.T, w.address, kind, "secret-of-"+who)
	}
	return b
}

func (w *walker) resident(who string) *browser { return w.phone(who, "__Host-drumturn") }

func (w *walker) opens(b *browser, path string) {
	w.Helper()
	b.do(w.T, chromedp.Navigate(w.address+path), chromedp.WaitVisible("main"))
}

func (w *walker) tap(b *browser, at string) {
	w.Helper()
	w.taps++
	b.tap(w.T, at)
}

func (w *walker) typed(b *browser, into, text string) {
	w.Helper()
	w.fields++
	b.do(w.T, chromedp.WaitVisible(into), chromedp.SendKeys(into, text))
}

func (w *walker) says(b *browser, text string) {
	w.Helper()
	b.until(w.T, "document.body?.innerText.includes("+quote(text)+")")
}

func quote(text string) string {
	q, err := json.Marshal(text)
	if err != nil {
		panic(err)
	}
	return string(q)
}

// reads is the text of an element.
func (w *walker) reads(b *browser, at string) string {
	w.Helper()
	b.do(w.T, chromedp.WaitVisible(at))
	return b.value(w.T, "document.querySelector("+quote(at)+").innerText.trim()")
}

// scans points a phone at the picture of a one-time code, which opens this.
func (w *walker) scans(b *browser, code string) {
	w.Helper()
	w.opens(b, "/code?code="+url.QueryEscape(code))
}

// isFay checks that a browser is now one of hers, with her turn.
func (w *walker) isFay(b *browser) {
	w.Helper()
	w.says(b, "This browser is now one of yours")
	w.opens(b, "/r/cellar")
	if got := w.reads(b, "#mine .card"); !strings.Contains(got, "You will be called as bramble") {
		w.Errorf("the turn did not come along: %q", got)
	}
}

var ways = []way{
	{"second phone, by one-time code", 3, func(w *walker) {
		first, second := w.resident("fay"), w.resident("")
		w.opens(first, "/r/cellar")
		w.tap(first, "nav a[href='/me']")
		w.tap(first, button("Make a one-time code"))
		w.scans(second, w.reads(first, ".pass-code"))
		w.tap(second, button("Use it on this browser"))
		w.isFay(second)
	}},
	{"the page on the home screen, by the same code", 5, homeScreen},
	{"lost phone: the code of the home, of one who lives alone", 2, func(w *walker) {
		for _, room := range w.h.rooms {
			room.Rules.OpenHomes = false
		}
		w.h.people.Homes["h8"] = coordinator.Home{ID: "h8", Name: "8", Code: "KLMN-2345-6789-ABCD"}
		b := w.resident("")
		w.opens(b, "/r/cellar?code=tidewater")
		w.tap(b, "#take a[href='/code']")
		w.typed(b, "input[name=code]", "klmn23456789abcd")
		w.tap(b, button("Use it on this browser"))
		w.isFay(b)
	}},
	{"lost phone: a one-time code from the manager", 3, func(w *walker) {
		manager, b := w.phone("boss", "__Host-drumturn-manager"), w.resident("")
		w.opens(manager, "/manager")
		w.tap(manager, "a[href='/manager/people']")
		w.tap(manager, "form:has([value=fay]) button")
		w.scans(b, w.reads(manager, ".pass-code"))
		w.tap(b, button("Use it on this browser"))
		w.isFay(b)
	}},
	{"lost phone: by confirmed e-mail", 2, func(w *walker) {
		fay := w.h.people.Persons["fay"]
		fay.Mail = coordinator.Mail{Address: "fay@example.org", Since: noon}
		w.h.people.Persons["fay"] = fay
		b := w.resident("")
		w.opens(b, "/code")
		w.typed(b, "input[name=address]", "fay@example.org")
		w.tap(b, button("Send me a code"))
		w.says(b, "is on its way")
		link := regexp.MustCompile(`http\S+`).FindString(w.letters.wait(w.T, 1)[0])
		b.do(w.T, chromedp.Navigate(link), chromedp.WaitVisible("input[name=code]"))
		w.tap(b, button("Use it on this browser"))
		w.isFay(b)
	}},
	{"my data: save as a file", 2, func(w *walker) {
		b, folder := w.resident("fay"), w.TempDir()
		_, err := chromedp.CallBrowser(b.ctx, cdpbrowser.SetDownloadBehavior, cdpbrowser.SetDownloadBehaviorParams{Behavior: cdpbrowser.SetDownloadBehaviorBehaviorAllow, DownloadPath: folder,
			BrowserContextID: chromedp.FromContext(b.ctx).BrowserContextID})
		if err != nil {
			w.Fatal(err)
		}
		w.opens(b, "/r/cellar")
		w.tap(b, "nav a[href='/me']")
		w.tap(b, "a[href='/me/data.json']")
		var d personData
		if err := json.Unmarshal(w.downloaded(filepath.Join(folder, "laundry-my-data.json")), &d); err != nil || d.Home != "12" || len(d.Turns) != 1 || len(d.Browsers) != 1 {
			w.Errorf("%v: %+v", err, d)
		}
	}},
	{"share a load: offer it, take it", 4, func(w *walker) {
		w.h.react = neighboursReact()
		ann, zed := w.resident("ann"), w.resident("zed")
		w.opens(ann, "/r/cellar")
		w.tap(ann, "#mine a[href='/r/cellar/m/w2']")
		w.tap(ann, button("Share it with a neighbour"))
		code := w.reads(ann, ".thanks .code")
		w.opens(zed, "/r/cellar")
		w.tap(zed, "details.take summary")
		w.typed(zed, "details.take input", code)
		w.tap(zed, button("Share it"))
		w.says(zed, "A load you share: Washer 2")
		w.opens(ann, "/r/cellar")
		w.says(ann, "Shared with 1 neighbour")
	}},
	{"put on the table by a neighbour, taken from there", 2, func(w *walker) {
		w.h.react = neighboursReact()
		bob, zed := w.resident("bob"), w.resident("zed")
		w.opens(bob, "/r/cellar")
		w.opens(zed, "/r/cellar/m/w4?code=printed-w4")
		w.tap(zed, button("I put the load on the table"))
		w.says(bob, "Your load is on the table") // by the stream
		w.says(bob, "A load lies on the table")
		w.tap(bob, button("I have taken it"))
		w.says(bob, "it is no longer on the table")
		if got := w.reads(bob, "#board"); strings.Contains(got, "on the table") {
			w.Error("the board still says that it lies there")
		}
	}},
}

// homeScreen opens the page as a phone does that has put it on its home screen:
// where the manifest says, with a profile that shares nothing with the browser's.
// (A headless browser has no window without a frame to put it into.)
func homeScreen(w *walker) {
	first, installed := w.resident("fay"), w.resident("")
	w.opens(first, "/r/cellar")
	w.tap(first, "nav a[href='/me']")
	w.tap(first, button("Make a one-time code"))
	code := w.reads(first, ".pass-code")

	manifest := "fetch(document.querySelector('link[rel=manifest]').href).then((r) => r.json()).then((m) => m.display + ' ' + m.start_url)"
	display, start, _ := strings.Cut(first.value(w.T, manifest), " ")
	if display != "standalone" {
		w.Errorf("the manifest asks for a window of the kind %q", display)
	}
	w.opens(installed, start)
	w.tap(installed, "a[href='/r/cellar']")
	w.tap(installed, "#take a[href='/code']")
	w.typed(installed, "input[name=code]", strings.ToLower(code))
	w.tap(installed, button("Use it on this browser"))
	w.isFay(installed)

	again := w.resident("") // The code was used.
	w.scans(again, code)
	again.tap(w.T, button("Use it on this browser"))
	w.says(again, "it was used, has run out, or was mistyped")
}

// downloaded waits until the browser has written a file.
func (w *walker) downloaded(file string) []byte {
	w.Helper()
	for range 2000 {
		if data, err := os.ReadFile(file); err == nil && json.Valid(data) {
			return data
		}
		time.Sleep(10 * time.Millisecond) // waits for another program's file, not for a duration
	}
	w.Fatalf("%s was not saved", file)
	return nil
}

// neighboursReact makes the fake house share loads and keep the list of the table.
func neighboursReact() func(*coordinator.Snapshot, coordinator.Event) {
	offered, at := "", coordinator.MachineID("")
	return func(snap *coordinator.Snapshot, ev coordinator.Event) {
		switch ev := ev.(type) {
		case coordinator.OfferShare:
			offered, at = ev.Hash, ev.Machine
		case coordinator.ShareLoad:
			if m := snap.Machine(at); ev.Hash == offered {
				load := *m.Load
				load.Shared = []coordinator.Sharer{{Person: ev.Person, Home: ev.Home}}
				m.Load = &load
			}
		case coordinator.Collect:
			m := snap.Machine(ev.Machine)
			if ev.OnTable {
				snap.Table = []coordinator.TableLoad{{Load: m.Load.ID, Machine: m.ID, Owner: m.Load.Owner, Home: m.Load.Home, At: noon}}
			}
			m.Status, m.Load, m.Since = coordinator.Free, nil, noon
		case coordinator.Fetched:
			snap.Table = nil
		}
	}
}

// walkWay walks a way in browsers of a phone's size.
func walkWay(t *testing.T, f way) (taps, fields int) {
	t.Run(f.name, func(t *testing.T) {
		w := &walker{T: t, h: flowHouse(), letters: &lettersBox{}}
		w.h.enrol(coordinator.Person{ID: "boss", Manager: true})
		_, w.address = serveReal(t, w.h, func(o *Options) { o.Letters = w.letters })
		f.walk(w)
		if w.taps > f.most {
			t.Errorf("%d taps, want at most %d", w.taps, f.most)
		}
		taps, fields = w.taps, w.fields
	})
	return taps, fields
}
