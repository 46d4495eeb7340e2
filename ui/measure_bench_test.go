package ui

import (
	"io"
	"net/http"
	"net/http/httptest"
	"runtime"
	"slices"
	"strconv"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/ui/specimen"
)

// fetchAll asks for a page over real sockets from as many clients as b runs,
// and reports pages a second.
func fetchAll(b *testing.B, address, cookie string) {
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 64, DisableCompression: true}}
	b.SetParallelism(max(1, 32/runtime.GOMAXPROCS(0)))
	b.ResetTimer()
	began := cpuTime(b)
	b.RunParallel(func(pb *testing.PB) {
		for pb.Next() {
			r, err := http.NewRequest(http.MethodGet, address, nil)
			if err != nil {
				b.Fatal(err)
			}
			r.Header.Set("Accept-Encoding", "gzip")
			if cookie != "" {
				r.AddCookie(&http.Cookie{Name: "__Host-drumturn", Value: cookie})
			}
			resp, err := client.Do(r)
			if err != nil {
				b.Fatal(err)
			}
			_, err = io.Copy(io.Discard, resp.Body)
			resp.Body.Close()
			if err != nil || resp.StatusCode != http.StatusOK || resp.Header.Get("Content-Encoding") != "gzip" {
				b.Fatal(resp.Status, err)
			}
		}
	})
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "pages/s")
	// What other work on the computer does not change much.
	b.ReportMetric(float64((cpuTime(b)-began).Microseconds())/float64(b.N), "cpu-us/page")
}

// cpuTime is what this process has used of the processors, server and clients.
func cpuTime(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// steady is a house whose reads are as the real one's: pointers, without a lock.
// fay waits in its cellar.
type steady struct {
	*specimen.House
	cellar atomic.Pointer[coordinator.Snapshot]
}

func newSteady() *steady {
	h := &steady{House: specimen.NewHouse(hashSecret)}
	h.cellar.Store(h.House.Snapshot("cellar"))
	return h
}

func (h *steady) Snapshot(room coordinator.RoomID) *coordinator.Snapshot {
	if room == "cellar" {
		return h.cellar.Load()
	}
	return h.House.Snapshot(room)
}

// change publishes another picture of the cellar.
func (h *steady) change() {
	next := *h.cellar.Load()
	next.Seq++
	next.Machines = slices.Clone(next.Machines)
	next.Machines[0].Since = next.Machines[0].Since.Add(-time.Minute)
	h.cellar.Store(&next)
}

// BenchmarkPagesPerSecond compares the room's page, once with an unchanged room
// and once with a change each second, with a bare handler of the same framework
// that sends the same bytes: stored compressed as the pages are, and compressed
// for each request. Server and clients share the cores; bare requests carry the
// same cookie.
func BenchmarkPagesPerSecond(b *testing.B) {
	h := newSteady()
	s, err := New(testOptions(h))
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	front := httptest.NewServer(s.Handler())
	defer front.Close()
	for _, who := range []struct{ name, cookie string }{{"resident", specimen.Secret("fay")}, {"visitor", ""}} {
		ask := get("/r/cellar")
		if who.cookie != "" {
			ask = ask.as(who.cookie, "")
		}
		bare, stored := bareServers(b, ask.of(s).Body.Bytes())
		b.Run(who.name+"-bare", func(b *testing.B) { fetchAll(b, bare, who.cookie) })
		b.Run(who.name+"-bare-stored", func(b *testing.B) { fetchAll(b, stored, who.cookie) })
		b.Run(who.name, func(b *testing.B) { fetchAll(b, front.URL+"/r/cellar", who.cookie) })
		b.Run(who.name+"-changing", func(b *testing.B) {
			ticker := time.NewTicker(time.Second)
			done := make(chan struct{})
			go func() {
				for {
					select {
					case <-ticker.C:
						h.change()
					case <-done:
						return
					}
				}
			}()
			fetchAll(b, front.URL+"/r/cellar", who.cookie)
			ticker.Stop()
			close(done)
		})
	}
}

// bareServers send a page by the framework alone: compressed for each request
// with the pages' level, and stored compressed.
func bareServers(b *testing.B, page []byte) (bare, stored string) {
	b.Helper()
	e := echo.New()
	e.Use(middleware.GzipWithConfig(middleware.GzipConfig{Level: gzipLevel, MinLength: 1024}))
	e.GET("/", func(c echo.Context) error { return c.HTMLBlob(http.StatusOK, page) })
	one := httptest.NewServer(e)
	e, small := echo.New(), zip(page)
	e.GET("/", func(c echo.Context) error {
		c.Response().Header().Set("Content-Encoding", "gzip")
		return c.HTMLBlob(http.StatusOK, small)
	})
	other := httptest.NewServer(e)
	b.Cleanup(func() { one.Close(); other.Close() })
	return one.URL + "/", other.URL + "/"
}

// BenchmarkResidentsPageAnew makes a resident's page in a room whose newest
// picture nobody has looked at, and in one where only this person is new; kept
// is the answer to whoever asks again.
func BenchmarkResidentsPageAnew(b *testing.B) {
	h := newSteady()
	s, err := New(testOptions(h))
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	ask := get("/r/cellar").as(specimen.Secret("fay"), "")
	ask.header = http.Header{"Accept-Encoding": {"gzip"}}
	for _, c := range []struct {
		name   string
		forget func()
	}{
		{"room", h.change},
		{"person", func() { s.scenes.get("cellar", words.English()).kept.own.Clear() }},
		{"kept", func() {}},
	} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				c.forget()
				ask.of(s)
			}
		})
	}
}

// Slow mobile reception as browser tools imitate it (from memory): 562.5 ms to
// the answer, 1.44 Mbit/s down, 0.68 up; and a processor four times as slow.
const (
	slowLatency = 562.5
	slowDown    = 1_474_560 / 8
	slowUp      = 691_200 / 8
	slowerCPU   = 4
)

// BenchmarkFirstPaint measures until something can be seen of the room on a
// slow phone that never was here, and of an empty page of the same server.
func BenchmarkFirstPaint(b *testing.B) {
	if testing.Short() {
		b.Skip("needs a browser")
	}
	h := newFakeHouse(fullRoom())
	empty := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		_, _ = io.WriteString(w, "<!doctype html><html lang=en><title>Empty</title><p>empty</p></html>")
	})
	o := testOptions(h)
	o.Mounts = map[string]http.Handler{"/empty/": empty}
	s, err := New(o)
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	front := httptest.NewServer(s.Handler())
	defer front.Close()
	for _, page := range []struct{ name, path string }{{"empty", "/empty/"}, {"room", "/r/cellar"}} {
		b.Run(page.name, func(b *testing.B) {
			var took []float64
			for b.Loop() {
				took = append(took, firstPaint(b, front.URL+page.path))
			}
			slices.Sort(took)
			b.ReportMetric(took[len(took)/2], "ms-median")
		})
	}
}

// firstPaint opens an address in a browser with a fresh profile; milliseconds.
func firstPaint(b *testing.B, address string) float64 {
	b.Helper()
	w := freshBrowser(b)
	w.media(b, 390, 844, "light")
	_, err := chromedp.Call(w.ctx, cutOff, cutOffParams{false, network.EmulateNetworkConditionsByRuleParams{
		MatchedNetworkConditions: []*network.Conditions{{Latency: slowLatency, DownloadThroughput: slowDown, UploadThroughput: slowUp}},
	}})
	if err != nil {
		b.Fatal(err)
	}
	if _, err := chromedp.Call(w.ctx, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: slowerCPU}); err != nil {
		b.Fatal(err)
	}
	w.do(b, chromedp.Navigate(address))
	w.until(b, "performance.getEntriesByName('first-contentful-paint').length > 0")
	ms, err := strconv.ParseFloat(w.value(b, "String(performance.getEntriesByName('first-contentful-paint')[0].startTime)"), 64)
	if err != nil {
		b.Fatal(err)
	}
	return ms
}
