package ui

import (
	"context"
	"net"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"sync"
	"testing"
	"time"

	cdpbrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
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

// browser is a window of the headless browser, and what its console said.
type browser struct {
	ctx context.Context
	mu  sync.Mutex
	bad []string
}

// theBrowser is one process for all tests of the package: starting it costs more
// than most of them.
var theBrowser struct {
	sync.Mutex
	ctx  context.Context
	stop func()
}

// TestMain closes the browser behind the last test.
func TestMain(m *testing.M) {
	code := m.Run()
	if theBrowser.stop != nil {
		theBrowser.stop()
	}
	os.Exit(code)
}

// running is the browser of all tests, started by the first. One that has died is
// replaced.
func running(t testing.TB) context.Context {
	t.Helper()
	theBrowser.Lock()
	defer theBrowser.Unlock()
	if theBrowser.ctx == nil || theBrowser.ctx.Err() != nil {
		theBrowser.ctx, theBrowser.stop = start(t)
	}
	return theBrowser.ctx
}

// start starts a browser with an empty profile. Once in some hundred starts a browser
// crashes by itself: it gets three tries.
func start(t testing.TB) (ctx context.Context, stop func()) {
	t.Helper()
	path := chromium(t)
	for range 3 {
		ctx, stop, err := startOnce(t, path)
		if err == nil {
			return ctx, stop
		}
		t.Logf("the browser does not start: %v", err)
	}
	t.Fatal("the browser does not start")
	return nil, nil
}

func startOnce(t testing.TB, path string) (ctx context.Context, stop func(), err error) {
	t.Helper()
	profile, err := os.MkdirTemp("", "drumturn-browser")
	if err != nil {
		t.Fatal(err)
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path),
		chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(profile),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))
	alloc, end := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, cancel := chromedp.NewContext(alloc)
	stop = func() {
		cancel()
		end()
		_ = os.RemoveAll(profile)
	}
	if err := chromedp.Do(ctx); err != nil {
		stop()
		return nil, nil, err
	}
	return ctx, stop, nil
}

// openBrowser opens a window with a profile of its own, which is gone after the
// test: no cookie, cache, worker or permission of another test is in it.
func openBrowser(t testing.TB) *browser {
	t.Helper()
	ctx, cancel := chromedp.NewContext(running(t), chromedp.WithNewBrowserContext())
	t.Cleanup(cancel)
	return listenTo(t, ctx)
}

// freshBrowser is a process of its own, whose profile is none of those that leave
// nothing behind: such a window does not ask for a manifest.
func freshBrowser(t testing.TB) *browser {
	t.Helper()
	ctx, stop := start(t)
	t.Cleanup(stop)
	return listenTo(t, ctx)
}

// listenTo keeps what the console of a window complains of.
func listenTo(t testing.TB, ctx context.Context) *browser {
	t.Helper()
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
		t.Fatalf("the browser opens no window: %v", err)
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

// patience is how long a step in the browser may take. It ends what hangs, and is
// no measure of anything: a busy machine may need a good part of it.
const patience = 3 * time.Minute

func (b *browser) do(t testing.TB, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		t.Fatalf("browser: %v\nconsole: %q", err, b.complaints())
	}
}

// until waits for a JavaScript expression to be true, also across the loading
// of another page.
func (b *browser) until(t testing.TB, expression string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	for {
		_, err := chromedp.Run(ctx, chromedp.Poll[bool](expression, chromedp.WithPollingTimeout(0)))
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
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	got, err := chromedp.Run(ctx, chromedp.Evaluate[string](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("%s: %v", expression, err)
	}
	return got
}

// media sets the size of the window and the scheme of colours.
func (b *browser) media(t testing.TB, width, height int64, scheme string) {
	t.Helper()
	b.do(t, chromedp.EmulateViewport(width, height))
	b.feature(t, "prefers-color-scheme", scheme)
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

// mayNotify lets the pages of an origin show notices, as somebody does who was asked.
func (b *browser) mayNotify(t *testing.T, origin string) {
	t.Helper()
	_, err := chromedp.CallBrowser(b.ctx, cdpbrowser.SetPermission, cdpbrowser.SetPermissionParams{
		Permission: &cdpbrowser.PermissionDescriptor{Name: "notifications"}, Setting: cdpbrowser.PermissionSettingGranted, Origin: origin,
		BrowserContextID: chromedp.FromContext(b.ctx).BrowserContextID,
	})
	if err != nil {
		t.Fatal(err)
	}
}

// onlyLooks leaves out, in a short run, a test that looks at pages in which nothing
// happens at the same time as anything: the race detector sees nothing in a browser.
func onlyLooks(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("it only looks at pages")
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
