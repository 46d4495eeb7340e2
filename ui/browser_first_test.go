package ui

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// TestTheFirstView of a room in a browser that never was here: at most five
// requests until it is drawn (the stream that keeps it current comes after), and
// 40 KB in all, compressed.
func TestTheFirstView(t *testing.T) {
	b := freshBrowser(t)
	_, address := serveReal(t, newFakeHouse(fullRoom()), nil)
	b.media(t, 390, 844, "light")
	b.do(t, chromedp.Navigate(address+"/r/cellar"), chromedp.WaitVisible("#board"))
	b.until(t, "performance.getEntriesByName('first-contentful-paint').length > 0 && document.readyState === 'complete'")
	var seen []struct {
		Name  string
		Bytes int
	}
	got := b.value(t, `JSON.stringify([...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]
		.map((e) => ({ name: new URL(e.name).pathname, bytes: e.transferSize })))`)
	if err := json.Unmarshal([]byte(got), &seen); err != nil {
		t.Fatal(err)
	}
	requests, bytes := 0, 0
	for _, e := range seen {
		if strings.HasSuffix(e.Name, "/events") || e.Bytes == 0 { // from the cache
			continue
		}
		requests++
		bytes += e.Bytes
	}
	if requests < 3 || requests > 5 || bytes < 5000 || bytes > 40<<10 {
		t.Errorf("%d requests, %d bytes: %+v", requests, bytes, seen)
	}
	t.Logf("%d requests, %d bytes: %+v", requests, bytes, seen)
}
