package ui

import (
	"bytes"
	"context"
	"image/png"
	"net"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	go_qr "github.com/piglig/go-qr"

	"drumturn/coordinator"
	"drumturn/queue"
)

// chromium finds the browser. Without one the test is skipped, but not where
// CI says that everything is there.
func chromium(t testing.TB) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv("CI") == "true" {
		t.Fatal("no Chromium here: install Debian's package chromium")
	}
	t.Skip("no Chromium here: install Debian's package chromium to run this test")
	return ""
}

// browser is a headless browser with one tab, and what its console said.
type browser struct {
	ctx context.Context
	mu  sync.Mutex
	bad []string
}

func openBrowser(t testing.TB) *browser {
	t.Helper()
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium(t)),
		chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))
	alloc, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(cancel)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(cancel)
	b := &browser{ctx: ctx}
	messages := chromedp.Console(ctx)
	go func() {
		for m, err := range messages {
			if err != nil {
				return
			}
			if m.Type == chromedp.ConsoleError || m.Type == chromedp.ConsoleException || m.Type == chromedp.ConsoleWarning {
				b.mu.Lock()
				b.bad = append(b.bad, string(m.Type)+": "+m.Text+" "+m.URL)
				b.mu.Unlock()
			}
		}
	}()
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("the browser does not start: %v", err)
	}
	return b
}

// complaints are the errors and warnings on the console so far; a breach of
// the content policy is among them.
func (b *browser) complaints() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.bad)
}

func (b *browser) do(t testing.TB, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, time.Minute)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		t.Fatalf("browser: %v\nconsole: %q", err, b.complaints())
	}
}

// until waits for a JavaScript expression to be true, also across the loading
// of another page.
func (b *browser) until(t testing.TB, expression string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, time.Minute)
	defer cancel()
	for {
		_, err := chromedp.Run(ctx, chromedp.Poll[bool](expression))
		if err == nil {
			return
		}
		if ctx.Err() == nil && leftThePage.MatchString(err.Error()) {
			continue
		}
		text, _ := chromedp.Run(b.ctx, chromedp.Evaluate[string]("document.body.innerText"))
		t.Fatalf("never true: %s: %v\nconsole: %q\npage: %s", expression, err, b.complaints(), text)
	}
}

// leftThePage is what the browser says of a question that a navigation cut off,
// or that came before the next page had a body.
var leftThePage = regexp.MustCompile(`navigated or closed|context was destroyed|Cannot find context|of null`)

func (b *browser) value(t testing.TB, expression string) string {
	t.Helper()
	got, err := chromedp.Run(b.ctx, chromedp.Evaluate[string](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("%s: %v", expression, err)
	}
	return got
}

// media sets the size of the window and the scheme of colours.
func (b *browser) media(t testing.TB, width, height int64, scheme string) {
	t.Helper()
	b.do(t, chromedp.EmulateViewport(width, height))
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
	})
	if err != nil {
		t.Fatal(err)
	}
}

// cookie gives the browser a session.
func (b *browser) cookie(t *testing.T, url, name, value string) {
	t.Helper()
	_, err := chromedp.Call(b.ctx, network.SetCookie, network.SetCookieParams{
		Name: name, Value: value, URL: url, Path: "/", Secure: new(true), HTTPOnly: new(true),
	})
	if err != nil {
		t.Fatal(err)
	}
}

// serveReal runs the server on a real socket until the test ends.
func serveReal(t *testing.T, h House, change func(*Options)) (*Server, string) {
	t.Helper()
	ln := listen(t, "127.0.0.1:0")
	address := "http://" + ln.Addr().String()
	o := testOptions(h)
	o.PublicURL = address
	if change != nil {
		change(&o)
	}
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(serve(t, s, ln))
	return s, address
}

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

// listen opens a port of this computer: any one for port 0.
func listen(t testing.TB, address string) net.Listener {
	t.Helper()
	ln, err := net.Listen("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	return ln
}

// serveOn runs a server of a house until stop is called.
func serveOn(t *testing.T, h *fakeHouse, ln net.Listener) (stop func()) {
	t.Helper()
	return serve(t, newTestServer(t, h, nil), ln)
}

// serve runs a server until stop is called.
func serve(t *testing.T, s *Server, ln net.Listener) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, ln) }()
	return func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("serve: %v", err)
		}
	}
}
