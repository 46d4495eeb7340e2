package ui

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"drumturn/coordinator"
	"drumturn/ui/specimen"
)

// TestSheetsInLanguages: what the address asks for, else the building's
// languages, else the page's; each marked as what it is.
func TestSheetsInLanguages(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	plain := newTestServer(t, h, nil)
	house := newTestServer(t, h, func(o *Options) { o.Languages = []string{"fr", "de"} })
	for _, c := range []struct {
		s     *Server
		query string
		langs []string
		paper string
	}{
		{plain, "", []string{"en"}, "a4"}, {plain, "?lang=zz&paper=a5", []string{"en"}, "a4"}, {plain, "?lang=ar&lang=de&lang=ar&paper=a6", []string{"de", "ar"}, "a6"},
		{house, "", []string{"de", "fr"}, "a4"}, {house, "?lang=es", []string{"es"}, "a4"},
	} {
		page := get("/manager/r/cellar/sheets"+c.query).as("", "secret-of-boss").of(c.s).Body.String()
		if want := fmt.Sprintf(`class="paper-%s langs-%d"`, c.paper, len(c.langs)); !strings.Contains(page, want) {
			t.Errorf("%s: no %s", c.query, want)
		}
		for _, l := range []string{"en", "de", "fr", "es", "ar"} {
			has := strings.Contains(page, `<div lang="`+l+`"`)
			wanted, ticked := false, strings.Contains(page, `value="`+l+`" checked`)
			for _, w := range c.langs {
				wanted = wanted || w == l
			}
			if has != wanted || ticked != wanted {
				t.Errorf("%s: %s on the sheets %v, ticked %v, want %v", c.query, l, has, ticked, wanted)
			}
		}
	}
	page := get("/manager/r/cellar/sheets?lang=ar&lang=de").as("", "secret-of-boss").of(plain).Body.String()
	for _, want := range []string{`<span lang="ar" dir="rtl">المجففة 3</span>`, `<div lang="ar" dir="rtl">نظّف مصفاة الوبر`, `<div lang="de" dir="ltr">Vor jeder Ladung das Flusensieb`} {
		if !strings.Contains(page, want) {
			t.Errorf("no %s", want)
		}
	}
	if strings.Count(page, "Flusensieb") != 4 {
		t.Errorf("lint is said on %d cards; there are 4 dryers", strings.Count(page, "Flusensieb"))
	}
}

// mediaBox is the size of a page in a PDF file, in points of 1/72 inch (ISO 32000, 7.7.3.3; from memory).
var mediaBox = regexp.MustCompile(`/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]`)

// TestSheetsOnPaper prints the sheets in a real browser: in every number of
// languages each sheet and card is on its own page, and all of its text on it.
// DRUMTURN_SHOTS keeps the prints.
func TestSheetsOnPaper(t *testing.T) {
	onlyLooks(t)
	address := specimens(t)
	b := openBrowser(t)
	b.cookie(t, address, "__Host-drumturn-manager", specimen.Secret(specimen.Manager))
	folder, langs := os.Getenv("DRUMTURN_SHOTS"), "?"
	machines := len(specimen.FullRoom().Machines)
	for i, l := range []string{"en", "ar", "de", "fr", "es"} {
		langs += "lang=" + l + "&"
		for _, paper := range []struct {
			name          string
			width, height float64 // mm, ISO 216
			pages         int
		}{{"a4", 210, 297, 1 + (machines+3)/4}, {"a6", 105, 148, 1 + machines}} {
			b.do(t, chromedp.Navigate(address+"/manager/r/cellar/sheets"+langs+"paper="+paper.name), chromedp.WaitVisible(".sheets"))
			b.until(t, "(document.querySelectorAll('img').forEach((e) => { e.loading = 'eager'; }), [...document.images].every((e) => e.complete && e.naturalWidth > 0))")
			pdf, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize(), chromedp.PDFPrintBackground()))
			if err != nil {
				t.Fatal(err)
			}
			boxes := mediaBox.FindAllStringSubmatch(string(pdf), -1)
			if len(boxes) != paper.pages {
				t.Errorf("%d languages on %s: %d pages, want %d", i+1, paper.name, len(boxes), paper.pages)
			}
			for _, box := range boxes {
				w, _ := strconv.ParseFloat(box[1], 64)
				h, _ := strconv.ParseFloat(box[2], 64)
				if math.Abs(w/72*25.4-paper.width) > 1 || math.Abs(h/72*25.4-paper.height) > 1 {
					t.Errorf("%s: a page of %.0f by %.0f mm", paper.name, w/72*25.4, h/72*25.4)
				}
			}
			if folder != "" {
				if err := os.WriteFile(filepath.Join(folder, fmt.Sprintf("sheets-%s-%d.pdf", paper.name, i+1)), pdf, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			b.printed(t, true)
			if got := b.value(t, spilling); got != "[]" {
				t.Errorf("%d languages on %s: text does not fit on %s", i+1, paper.name, got)
			}
			b.printed(t, false)
		}
	}
}

// spilling names the sheets whose text is longer than they are.
const spilling = `JSON.stringify([...document.querySelectorAll('.sheet')].filter((e) => e.scrollHeight > e.clientHeight + 1 || e.scrollWidth > e.clientWidth + 1)
	.map((e) => e.querySelector('h2').innerText + ' ' + e.scrollHeight + ' > ' + e.clientHeight))`

// printed shows the page as it is printed, or as on the screen.
func (b *browser) printed(t *testing.T, really bool) {
	t.Helper()
	media := ""
	if really {
		media = "print"
	}
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: media}); err != nil {
		t.Fatal(err)
	}
}
