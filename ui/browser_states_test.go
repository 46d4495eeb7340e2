package ui

import (
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"drumturn/push/words"
	"drumturn/ui/specimen"
)

// visit is one page in one state and language, which stays open for everything
// that is looked at there: opening it takes longer than most looks.
type visit struct {
	*testing.T
	b       *browser
	address string
	s       specimen.State
	l       *words.Language
	table   *strings.Builder // of what axe-core said; nil without it
}

// says reports what is wrong with the page.
func (v *visit) says(format string, args ...any) {
	v.Helper()
	v.Errorf(v.s.Name+" in "+v.l.Code()+": "+format, args...)
}

func (v *visit) open(scheme string) {
	v.Helper()
	v.b.look(v.T, v.address, v.s, v.l, scheme)
}

// TestEveryState visits every page in every state and language once: nothing
// sticks out; axe-core finds nothing in English, light and dark, in a longer
// language, nor in one written from right to left; fingers and keyboards reach
// every control; and whoever wants it stiller, darker or larger can read it.
// DRUMTURN_STATES chooses some of the states by a regular expression.
func TestEveryState(t *testing.T) {
	onlyLooks(t)
	address, script, states := specimens(t), axe(t), specimen.States()
	if only := os.Getenv("DRUMTURN_STATES"); only != "" {
		named := regexp.MustCompile(only)
		states = slices.DeleteFunc(states, func(s specimen.State) bool { return !named.MatchString(s.Name) })
	}
	t.Run("windows", func(t *testing.T) {
		for w := range windows {
			t.Run(strconv.Itoa(w), func(t *testing.T) {
				t.Parallel()
				visits(t, address, script, states, w)
			})
		}
	})
	b := openBrowser(t)
	b.do(t, chromedp.Navigate(address), chromedp.Evaluate[chromedp.Void]("document.querySelector('main').style.width = '3000px'; undefined"))
	if b.value(t, sticksOut) == "" {
		t.Error("a page that is too wide is not seen to be")
	}
	b.do(t, chromedp.Evaluate[chromedp.Void](narrowTable))
	if b.value(t, cutWords) == "" {
		t.Error("a word that is cut in two is not seen to be")
	}
}

// windows is how many look at pages at the same time: a window waits for its page
// half of the time.
const windows = 2

// visits looks at the w-th of the states, and each that comes as many after it as
// there are windows, in one window.
func visits(t *testing.T, address, script string, states []specimen.State, w int) {
	b, table := openBrowser(t), (*strings.Builder)(nil)
	if script != "" {
		table = &strings.Builder{}
		b.onEveryPage(t, script)
	}
	b.withoutWorker(t)
	for i := w; i < len(states); i += windows {
		for _, l := range words.All() {
			(&visit{t, b, address, states[i], l, table}).all()
		}
	}
	if table != nil {
		t.Logf("\n%s", table)
	}
}

// withoutWorker keeps the pages' worker from fetching and keeping every page.
func (b *browser) withoutWorker(t *testing.T) {
	t.Helper()
	if _, err := chromedp.Call(b.ctx, network.Enable, network.EnableParams{}); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(b.ctx, network.SetBypassServiceWorker, network.SetBypassServiceWorkerParams{Bypass: true}); err != nil {
		t.Fatal(err)
	}
}

// all looks at what there is to look at in the visit's language. What changes the
// page comes last.
func (v *visit) all() {
	v.Helper()
	switch v.l.Code() {
	case "en":
		v.open("light")
		v.axe("light", allRules)
		v.b.feature(v.T, "prefers-color-scheme", "dark")
		v.axe("dark", ofColour)
		v.b.feature(v.T, "prefers-color-scheme", "light")
		v.fingers()
		v.eased()
		v.b.feature(v.T, "prefers-color-scheme", "light")
		v.keyboard()
		v.fits()
	case "de":
		v.open("light")
		v.axe("light", allRules)
		v.fits()
	case "ar":
		v.open("dark")
		v.axe("dark", allRules)
		v.fits()
	default:
		v.open("light")
		v.fits()
	}
}
