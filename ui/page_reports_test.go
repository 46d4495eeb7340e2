package ui

import (
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"drumturn/coordinator/usage"
	"drumturn/push/words"
	"drumturn/ui/specimen"
)

// TestReportPages: the months are listed, each opens, about the building or a room.
func TestReportPages(t *testing.T) {
	for path, want := range map[string][]string{
		"/manager":                          {"/manager/reports"},
		"/manager/reports":                  {"Monthly reports", "February 2026", "made on Sunday 1 March 2026", "/manager/reports/2026-02", "October 2025"},
		"/manager/reports/2026-02":          {"Report of February 2026", "The whole building", "By day", "28 Feb", "Standing charge", "EUR", "<table", "<svg"},
		"/manager/reports/2026-02?of=attic": {"Report of February 2026", "Attic", `aria-current="page"`, "By day"},
	} {
		status, html := managerOf(t, path)
		if status != http.StatusOK {
			t.Errorf("%s is %d", path, status)
		}
		seen(t, path, html, want...)
		if strings.Contains(html, "<style") || strings.Contains(html, "<script>") || strings.Contains(html, " style=") {
			t.Errorf("%s has a style or a script of its own", path)
		}
	}
}

// TestNoSuchReport: what is no month, has none, or is for others, is not there.
func TestNoSuchReport(t *testing.T) {
	for _, path := range []string{
		"/manager/reports/2026-03", "/manager/reports/2026-13", "/manager/reports/..%2f..%2fetc", "/manager/reports/2026-02?of=nowhere", "/manager/reports/%00",
	} {
		if status, html := managerOf(t, path); status != http.StatusNotFound {
			t.Errorf("%s is %d: %s", path, status, html)
		}
	}
	for _, path := range []string{"/manager/reports", "/manager/reports/2026-02"} {
		if w := get(path).of(specimenServer(t)); w.Code == http.StatusOK && strings.Contains(w.Body.String(), "2026") {
			t.Errorf("%s is shown to anybody: %d", path, w.Code)
		}
		w := get(path).as("", specimen.Secret(specimen.Manager)).of(newTestServer(t, specimen.NewHouse(hashSecret), func(*Options) {}))
		if w.Code != http.StatusNotFound {
			t.Errorf("%s without figures is %d", path, w.Code)
		}
	}
}

// TestReportLetter: in each language there is a subject, the figures in words, a
// page that needs nothing else, and the tables; names are escaped in the page.
func TestReportLetter(t *testing.T) {
	s := specimenServer(t)
	for _, l := range words.All() {
		r, err := specimen.StoredReport(t.Context(), usage.Month{Year: 2026, Month: 2}, "")
		if err != nil {
			t.Fatal(err)
		}
		r.Windows[1].Name = `<b>=night</b>`
		letter, err := s.ReportLetter(l.Code(), usage.Month{Year: 2026, Month: 2}, r)
		if err != nil {
			t.Fatal(err)
		}
		page := string(letter.Page)
		if !strings.Contains(letter.Subject, "2026") || !strings.Contains(letter.Text, "/manager/reports/2026-02") || !strings.Contains(letter.Text, "EUR") {
			t.Errorf("%s: %q\n%s", l.Code(), letter.Subject, letter.Text)
		}
		for _, bad := range []string{"<b>=night", "href=", "src=", "<script", "http", "<svg"} {
			if strings.Contains(page, bad) {
				t.Errorf("%s: the page has %q in it", l.Code(), bad)
			}
		}
		if !strings.Contains(page, "&lt;b&gt;=night") || !strings.Contains(page, `lang="`+l.Code()+`"`) || !strings.HasPrefix(page, "<!doctype html>") {
			t.Errorf("%s: %.300s", l.Code(), page)
		}
		if csv := string(letter.Tables["periods"]); strings.Count(csv, "\r\n") != 29 || len(letter.Tables) < 5 {
			t.Errorf("%s: %d tables, periods %.200s", l.Code(), len(letter.Tables), csv)
		}
	}
	r, err := specimen.StoredReport(t.Context(), usage.Month{Year: 2026, Month: 2}, "")
	if err != nil {
		t.Fatal(err)
	}
	if letter, err := s.ReportLetter("tlh", usage.Month{Year: 2026, Month: 2}, r); err != nil || !strings.Contains(letter.Subject, "February 2026") {
		t.Errorf("a language that nobody speaks: %q, %v", letter.Subject, err)
	}
}

// TestReportOnPaper prints a report in a real browser: charts on upright pages of
// A4, tables on lying ones (ISO 216), each as wide as the paper at most.
// DRUMTURN_SHOTS keeps the print.
func TestReportOnPaper(t *testing.T) {
	onlyLooks(t)
	address := specimens(t)
	b := openBrowser(t)
	b.cookie(t, address, "__Host-drumturn-manager", specimen.Secret(specimen.Manager))
	b.do(t, chromedp.Navigate(address+"/manager/reports/2026-02"), chromedp.WaitVisible(".paper"))
	pdf, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize(), chromedp.PDFPrintBackground()))
	if err != nil {
		t.Fatal(err)
	}
	if len(pdf) > 1_000_000 || strings.Contains(string(pdf), "/Subtype /Image") {
		t.Errorf("a print of %d bytes, with pictures in it: the charts are lines and areas", len(pdf))
	}
	upright, lying := 0, 0
	for _, box := range mediaBox.FindAllStringSubmatch(string(pdf), -1) {
		w, _ := strconv.ParseFloat(box[1], 64)
		h, _ := strconv.ParseFloat(box[2], 64)
		switch w, h = w/72*25.4, h/72*25.4; {
		case math.Abs(w-210) < 1 && math.Abs(h-297) < 1:
			upright++
		case math.Abs(w-297) < 1 && math.Abs(h-210) < 1:
			lying++
		default:
			t.Errorf("a page of %.0f by %.0f mm", w, h)
		}
	}
	if upright == 0 || lying == 0 || upright+lying > 9 {
		t.Errorf("%d upright and %d lying pages", upright, lying)
	}
	if folder := os.Getenv("DRUMTURN_SHOTS"); folder != "" {
		if err := os.WriteFile(filepath.Join(folder, "report.pdf"), pdf, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	b.printed(t, true)
	// A head is repeated on each page, and no row or chart is torn apart.
	if got := b.value(t, `JSON.stringify([['.paper thead', 'breakInside', 'avoid'], ['.paper thead', 'display', 'table-header-group'], ['.paper tr', 'breakInside', 'avoid'],
		['.figure', 'breakInside', 'avoid'], ['.paper .scroll', 'overflow', 'visible']].filter(([of, what, is]) => [...document.querySelectorAll(of)].some((e) => getComputedStyle(e)[what] !== is)))`); got != "[]" {
		t.Errorf("pages may break within: %s", got)
	}
	// 277 mm, at 96 pixels an inch, are 1046 pixels.
	if got := b.value(t, `JSON.stringify([...document.querySelectorAll('.paper table')].filter((e) => e.scrollWidth > 1046).map((e) => e.scrollWidth))`); got != "[]" {
		t.Errorf("tables that are wider than the paper: %s", got)
	}
}
