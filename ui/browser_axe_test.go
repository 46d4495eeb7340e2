package ui

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"drumturn/ui/specimen"
)

// axe is the script of the npm package axe-core, which checks pages for what the
// WCAG asks and a program can see. DRUMTURN_AXE names the folder it was
// installed into.
// Where it is missing, pages are looked at without it, and the log says so.
func axe(t *testing.T) string {
	t.Helper()
	folder := os.Getenv("DRUMTURN_AXE")
	script, err := os.ReadFile(filepath.Join(folder, "node_modules", "axe-core", "axe.min.js"))
	if err == nil {
		return string(script)
	}
	missing := "no axe-core: npm install --prefix FOLDER axe-core@4.14.1, and set DRUMTURN_AXE=FOLDER"
	if os.Getenv("CI") == "true" || folder != "" {
		t.Fatal(missing)
	}
	t.Log(missing)
	return ""
}

// axeResult is what axe-core says of a page.
type axeResult struct {
	Passes, Incomplete int
	Violations         []struct {
		ID, Help string
		Nodes    []struct{ HTML, Why string }
	}
}

// runAxe checks the page that is open against these rules.
const runAxe = `axe.run(document, { runOnly: { %s } })
	.then((r) => JSON.stringify({ passes: r.passes.length, incomplete: r.incomplete.length,
		violations: r.violations.map((v) => ({ id: v.id, help: v.help, nodes: v.nodes.map((n) => ({ html: n.html.slice(0, 160), why: n.failureSummary })) })) }))`

// onEveryPage makes each page that is opened from now on begin with a script.
func (b *browser) onEveryPage(t *testing.T, script string) {
	t.Helper()
	if _, err := chromedp.Call(b.ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: script}); err != nil {
		t.Fatal(err)
	}
}

// allRules are WCAG 2.2 A and AA and what axe-core calls best practice; ofColour are
// those that another scheme of colours can break on a page that keeps all others.
const (
	allRules = "type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']"
	ofColour = "type: 'rule', values: ['color-contrast', 'link-in-text-block']"
)

// axe checks the page that is open for violations.
func (v *visit) axe(look, rules string) {
	v.Helper()
	if v.table == nil {
		return
	}
	var r axeResult
	if err := json.Unmarshal([]byte(v.b.value(v.T, fmt.Sprintf(runAxe, rules))), &r); err != nil {
		v.Fatal(err)
	}
	fmt.Fprintf(v.table, "%-24s %s %-5s %3d passed, %d violations, %d for a person to look at\n", v.s.Name, v.l.Code(), look, r.Passes, len(r.Violations), r.Incomplete)
	if r.Passes < 10 && rules == allRules || r.Passes == 0 {
		v.says("only %d rules passed: was the page there?", r.Passes)
	}
	for _, found := range r.Violations {
		v.says("%s: %s: %s: %v", look, found.ID, found.Help, found.Nodes)
	}
}

// TestStillAndForced: nothing moves for those who asked for that, and with the
// system's own colours the board still has its marks.
func TestStillAndForced(t *testing.T) {
	onlyLooks(t)
	address := specimens(t)
	b := openBrowser(t)
	features := func(name, value string) {
		t.Helper()
		_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: name, Value: value}}})
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, s := range specimen.States() {
		if s.Name != "wall" {
			continue
		}
		b.show(t, address, s, "light")
		const moves = "getComputedStyle(document.querySelector('.wall')).transitionDuration"
		if b.value(t, moves) == "0s" {
			t.Error("the test looks at something that never moves")
		}
		features("prefers-reduced-motion", "reduce")
		if got := b.value(t, moves); got != "0s" {
			t.Errorf("it still moves: %s", got)
		}
		features("forced-colors", "active")
		for _, mark := range []string{".bar", ".held", ".notch", ".now"} {
			got := b.value(t, "(() => { const s = getComputedStyle(document.querySelector('"+mark+"')); return s.fill + ' ' + s.stroke; })()")
			if paper := b.value(t, "getComputedStyle(document.body).backgroundColor"); strings.HasPrefix(got, paper+" none") {
				t.Errorf("%s is %s on %s", mark, got, paper)
			}
		}
	}
}
