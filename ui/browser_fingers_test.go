package ui

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

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

// fingers: every control is large enough.
func (v *visit) fingers() {
	v.Helper()
	if got := v.b.value(v.T, small); got != "[]" {
		v.says("too small: %s", got)
	}
	if got := v.b.value(v.T, "String(document.documentElement.scrollWidth <= innerWidth)"); got != "true" {
		v.says("wider than its screen")
	}
}

// keyboard: the tabulator reaches every control, and it shows where it is.
func (v *visit) keyboard() {
	v.Helper()
	want, seen := v.b.value(v.T, tabbable), v.b.walk(v.T)
	// A page that finds its server again loads anew, and the walk begins anew.
	for tries := 0; tries < 3 && fmt.Sprintf("%3d", len(seen)) < want; tries++ {
		v.open("light")
		want, seen = v.b.value(v.T, tabbable), v.b.walk(v.T)
	}
	for _, key := range seen {
		if strings.HasSuffix(key, " unseen") {
			v.says("the focus cannot be seen on %s", key)
		}
	}
	if fmt.Sprintf("%3d", len(seen)) < want { // What scrolls is a stop as well.
		v.says("the keyboard reaches %d of %s controls", len(seen), want)
	}
}

// walk presses the tabulator until it has gone round, and returns what it stopped
// at. The page itself notes the stops: asking after each press takes longer than
// the walk.
func (b *browser) walk(t *testing.T) (stops []string) {
	t.Helper()
	b.do(t, chromedp.Evaluate[chromedp.Void]("window.stops = new Set(); addEventListener('focusin', () => stops.add("+focused+")); undefined"))
	presses := slices.Repeat([]chromedp.Action[chromedp.Void]{chromedp.KeyEvent("\t")}, 12)
	for range 36 { // A field for a time has several stops, and the rules are many.
		b.do(t, presses...)
		var walked struct {
			Stops []string
			Round bool
		}
		got := b.value(t, "JSON.stringify({ stops: [...window.stops ?? []], round: document.activeElement === document.body || "+focused+" === [...window.stops ?? []][0] })")
		if err := json.Unmarshal([]byte(got), &walked); err != nil {
			t.Fatal(err)
		}
		if len(walked.Stops) == len(stops) || walked.Round {
			return walked.Stops
		}
		stops = walked.Stops
	}
	return stops
}

// tabbable counts what the tabulator should reach: of radio buttons one a group.
const tabbable = `String((new Set([...document.querySelectorAll('a[href], button:not(:disabled), summary, select, input:not([type=hidden])')]
	.filter((e) => e.checkVisibility()).map((e) => e.type === 'radio' ? e.name : e))).size).padStart(3)`

// focused says where the focus is, and whether that can be seen.
const focused = `(() => { const e = document.activeElement; if (e === document.body) return '';
	const s = getComputedStyle(e);
	const seen = s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2;
	return [...document.querySelectorAll('*')].indexOf(e) + ' ' + e.outerHTML.slice(0, 100) + (seen ? '' : ' unseen'); })()`
