package ui

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"drumturn/push/words"
	"drumturn/ui/specimen"
)

// axe is the script of the npm package axe-core, which checks pages for what the
// WCAG asks and a program can see. DRUMTURN_AXE names the folder it was
// installed into.
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
	t.Skip(missing)
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

// runAxe checks the page that is open against WCAG 2.2 A and AA and what
// axe-core calls best practice.
const runAxe = `axe.run(document, { runOnly: { type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] } })
	.then((r) => JSON.stringify({ passes: r.passes.length, incomplete: r.incomplete.length,
		violations: r.violations.map((v) => ({ id: v.id, help: v.help, nodes: v.nodes.map((n) => ({ html: n.html.slice(0, 160), why: n.failureSummary })) })) }))`

// TestAxe: no page in any state, light or dark, has a violation, nor in a longer
// language or one written from right to left.
func TestAxe(t *testing.T) {
	if testing.Short() {
		t.Skip("every page in every state takes a while")
	}
	script := axe(t)
	address := specimens(t)
	b := openBrowser(t)
	var table strings.Builder
	for _, s := range specimen.States() {
		for _, look := range []struct{ lang, scheme string }{{"en", "light"}, {"en", "dark"}, {"de", "light"}, {"ar", "dark"}} {
			b.look(t, address, s, words.Exactly(look.lang), look.scheme)
			if _, err := chromedp.Run(b.ctx, chromedp.Evaluate[chromedp.Void](script+"; undefined")); err != nil {
				t.Fatal(err)
			}
			var r axeResult
			if err := json.Unmarshal([]byte(b.value(t, runAxe)), &r); err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(&table, "%-24s %s %-5s %3d passed, %d violations, %d for a person to look at\n", s.Name, look.lang, look.scheme, r.Passes, len(r.Violations), r.Incomplete)
			if r.Passes < 10 {
				t.Errorf("%s: only %d rules passed: was the page there?", s.Name, r.Passes)
			}
			for _, v := range r.Violations {
				t.Errorf("%s, %s, %s: %s: %s: %v", s.Name, look.lang, look.scheme, v.ID, v.Help, v.Nodes)
			}
		}
	}
	t.Logf("\n%s", &table)
}

// small finds what a finger could miss: a control of less than 44 px each way
// (WCAG 2.2, 2.5.5, from memory; links within sentences are exempt there). The
// label of a box counts with it.
const small = `JSON.stringify([...document.querySelectorAll('a[href], button, summary, select, input:not([type=hidden])')].filter((e) => {
	if (e.closest('.skip, .page-wall .rows, .page-wall .board') || !e.checkVisibility()) return false;
	if (e.matches('a') && getComputedStyle(e).display === 'inline') return false;
	const box = (e.matches('[type=checkbox], [type=radio]') ? e.closest('label') : e).getBoundingClientRect();
	const after = getComputedStyle(e, '::after');
	const grown = after.position === 'absolute' ? -parseFloat(after.top) - parseFloat(after.bottom) : 0;
	return box.height + grown < 44 || box.width < 44;
}).map((e) => e.outerHTML.slice(0, 120)))`

// TestFingersAndKeyboards: every control is large enough; the tabulator reaches
// each of them, and it shows where it is.
func TestFingersAndKeyboards(t *testing.T) {
	if testing.Short() {
		t.Skip("every page in every state takes a while")
	}
	address := specimens(t)
	b := openBrowser(t)
	for _, s := range specimen.States() {
		b.show(t, address, s, "light")
		if got := b.value(t, small); got != "[]" {
			t.Errorf("%s: too small: %s", s.Name, got)
		}
		if got := b.value(t, "String(document.documentElement.scrollWidth <= innerWidth)"); got != "true" {
			t.Errorf("%s is wider than its screen", s.Name)
		}
		want := b.value(t, tabbable)
		seen := b.walk(t)
		// A page that finds its server again loads anew, and the walk begins anew.
		for tries := 0; tries < 3 && fmt.Sprintf("%3d", len(seen)) < want; tries++ {
			b.show(t, address, s, "light")
			want, seen = b.value(t, tabbable), b.walk(t)
		}
		for key := range seen {
			if strings.HasSuffix(key, " unseen") {
				t.Errorf("%s: the focus cannot be seen on %s", s.Name, key)
			}
		}
		if fmt.Sprintf("%3d", len(seen)) < want { // What scrolls is a stop as well.
			t.Errorf("%s: the keyboard reaches %d of %s controls", s.Name, len(seen), want)
		}
	}
}

// walk presses the tabulator until it has gone round, and returns what it stopped at.
func (b *browser) walk(t *testing.T) map[string]bool {
	t.Helper()
	seen, first := map[string]bool{}, ""
	for range 400 { // A field for a time has several stops, and the rules are many.
		b.do(t, chromedp.KeyEvent("\t"))
		at := b.value(t, focused)
		if at == "" || at == first {
			break
		}
		if seen[at] = true; first == "" {
			first = at
		}
	}
	return seen
}

// tabbable counts what the tabulator should reach: of radio buttons one a group.
const tabbable = `String((new Set([...document.querySelectorAll('a[href], button:not(:disabled), summary, select, input:not([type=hidden])')]
	.filter((e) => e.checkVisibility()).map((e) => e.type === 'radio' ? e.name : e))).size).padStart(3)`

// focused says where the focus is, and whether that can be seen.
const focused = `(() => { const e = document.activeElement; if (e === document.body) return '';
	const s = getComputedStyle(e);
	const seen = s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2;
	return [...document.querySelectorAll('*')].indexOf(e) + ' ' + e.outerHTML.slice(0, 100) + (seen ? '' : ' unseen'); })()`

// TestStillAndForced: nothing moves for those who asked for that, and with the
// system's own colours the board still has its marks.
func TestStillAndForced(t *testing.T) {
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
