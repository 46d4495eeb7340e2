package ui

import (
	"io"
	"net/http"
	"net/http/httptest"
	"runtime"
	"slices"
	"strconv"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"

	"drumturn/coordinator"
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

// BenchmarkPagesPerSecond compares the room's page, once with an unchanged room
// and once with a change each second, with a bare handler of the same framework
// that sends the same bytes through the same compression. Server and clients
// share the cores.
func BenchmarkPagesPerSecond(b *testing.B) {
	h := newFakeHouse(fullRoom())
	s, err := New(testOptions(h))
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	front := httptest.NewServer(s.Handler())
	defer front.Close()
	page := get("/r/cellar").of(s).Body.Bytes()
	e := echo.New()
	e.Use(middleware.GzipWithConfig(middleware.GzipConfig{Level: 4, MinLength: 1024}))
	e.GET("/", func(c echo.Context) error { return c.HTMLBlob(http.StatusOK, page) })
	bare := httptest.NewServer(e)
	defer bare.Close()
	stored := echo.New()
	zipped := zip(page)
	stored.GET("/", func(c echo.Context) error {
		c.Response().Header().Set("Content-Encoding", "gzip")
		return c.HTMLBlob(http.StatusOK, zipped)
	})
	bareStored := httptest.NewServer(stored)
	defer bareStored.Close()
	fay := h.resident("fay", "h8")

	// A resident's page is compressed for each request, as the bare one is; the
	// visitors' is stored compressed, and so is the bare one beside it.
	b.Run("bare", func(b *testing.B) { fetchAll(b, bare.URL+"/", "") })
	b.Run("resident", func(b *testing.B) { fetchAll(b, front.URL+"/r/cellar", fay) })
	b.Run("bare-stored", func(b *testing.B) { fetchAll(b, bareStored.URL+"/", "") })
	b.Run("visitor", func(b *testing.B) { fetchAll(b, front.URL+"/r/cellar", "") })
	b.Run("visitor-changing", func(b *testing.B) {
		ticker := time.NewTicker(time.Second)
		done := make(chan struct{})
		go func() {
			for {
				select {
				case <-ticker.C:
					h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[0].Since = s.Machines[0].Since.Add(-time.Minute) })
				case <-done:
					return
				}
			}
		}()
		fetchAll(b, front.URL+"/r/cellar", "")
		ticker.Stop()
		close(done)
	})
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
	w := openBrowser(b)
	w.media(b, 390, 844, "light")
	_, err := chromedp.Call(w.ctx, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{
		MatchedNetworkConditions: []*network.Conditions{{Latency: slowLatency, DownloadThroughput: slowDown, UploadThroughput: slowUp}},
	})
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
