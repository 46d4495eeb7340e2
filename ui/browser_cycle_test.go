package ui

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"drumturn/ui/specimen"
)

// TestCycleSheetFitsAPage prints the evidence of a cycle in a real browser: it
// is one page of A4 in every language, with as much of the log as there may be.
func TestCycleSheetFitsAPage(t *testing.T) {
	onlyLooks(t)
	address := specimens(t)
	b := openBrowser(t)
	b.cookie(t, address, "__Host-drumturn-manager", specimen.Secret(specimen.Manager))
	for _, lang := range []string{"en", "de", "fr", "es", "ar"} {
		b.cookie(t, address, languageCookie, lang)
		for _, cycle := range []string{"359", "361"} {
			b.do(t, chromedp.Navigate(address+"/manager/r/cellar/m/w2/c/"+cycle+"/sheet"), chromedp.WaitVisible(chromedp.CSS(".evidence")))
			if got := b.value(t, "document.documentElement.lang"); got != lang {
				t.Fatalf("the sheet is in %s, not %s", got, lang)
			}
			b.do(t, chromedp.Evaluate[chromedp.Void](`(() => { const list = document.querySelector('.around');
				while (list.children.length < 12) list.append(list.firstElementChild.cloneNode(true)); })()`))
			pdf, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize(), chromedp.PDFPrintBackground()))
			if err != nil {
				t.Fatal(err)
			}
			boxes := mediaBox.FindAllStringSubmatch(string(pdf), -1)
			if len(boxes) != 1 || !strings.HasPrefix(boxes[0][1], "59") { // 210 mm are 595 points
				t.Errorf("%s, cycle %s: %d pages of %v", lang, cycle, len(boxes), boxes)
			}
		}
	}
}

// TestChartsFollowThePage: light, dark, and with the system's own colours the curves, bars and
// patterns are still there, and a page shows one drawing of the two.
func TestChartsFollowThePage(t *testing.T) {
	onlyLooks(t)
	address := specimens(t)
	b := openBrowser(t)
	for _, s := range specimen.States() {
		if s.Name != "manager-cycle" && s.Name != "manager-use" {
			continue
		}
		for _, scheme := range []string{"light", "dark"} {
			b.show(t, address, s, scheme)
			for width, shown := range map[int64]string{390: "chart-narrow", 1440: "chart-wide"} {
				b.media(t, width, 900, scheme)
				if got := b.value(t, `[...new Set([...document.querySelectorAll('svg.chart')].filter((e) => e.checkVisibility()).map((e) => e.classList[1]))].join()`); got != shown {
					t.Errorf("%s at %d: %s", s.Name, width, got)
				}
			}
			if got := b.value(t, unseenMarks); got != "" {
				t.Errorf("%s, %s: cannot be seen: %s", s.Name, scheme, got)
			}
			b.feature(t, "forced-colors", "active")
			if got := b.value(t, unseenMarks); got != "" {
				t.Errorf("%s, forced colours: cannot be seen: %s", s.Name, got)
			}
			b.feature(t, "forced-colors", "none")
		}
	}
	if got := b.complaints(); len(got) != 0 {
		t.Errorf("the console complains: %q", got)
	}
}

// unseenMarks finds curves, bars, grids and words that have the colour of the page.
const unseenMarks = `(() => { const paper = getComputedStyle(document.body).backgroundColor;
	return [...document.querySelectorAll('.chart-wide :is(.chart-curve, .chart-base, .chart-bar, .chart-mark, .chart-band)')].filter((e) => getComputedStyle(e).stroke === paper || getComputedStyle(e).stroke === 'none')
	.concat([...document.querySelectorAll('.chart-wide text:not(.chart-on-dark)')].filter((e) => getComputedStyle(e).fill === paper)).map((e) => e.outerHTML.slice(0, 60)).slice(0, 3).join(); })()`
