package ui

import (
	"context"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"drumturn/coordinator"
)

// step is one thing that a resident does with a page.
type step struct {
	tap  string // selector of what is tapped
	into string // selector of a field
	text string // that is typed there
}

func tap(selector string) step         { return step{tap: selector} }
func typed(selector, text string) step { return step{into: selector, text: text} }

// button is the first button below an element that carries some words.
func button(words string) string { return "words:" + words }

// flow is something that a resident wants, from the page where the wish comes up.
type flow struct {
	name, who, path string
	steps           []step
	most            int               // taps
	told            coordinator.Event // of which kind the room is told; nil: nothing
	says            string            // on the page at the end
}

var flows = []flow{
	{"scan the wall's code, see the room", "", "/r/cellar?code=tidewater", nil, 0, nil, "done 14:21, between 14:15 and 14:33"},
	{"join by the wall's code, wait for a washer", "", "/r/cellar?code=tidewater",
		[]step{typed("input[name=home]", "12"), tap(button("Join")), tap(button("Wash"))}, 2, coordinator.Join{}, "Your turn comes about 15:07"},
	{"join and give a name", "", "/r/cellar?code=tidewater", []step{typed("input[name=home]", "12"), tap("#take form summary"), typed("input[name=name]", "Ada"),
		tap(button("Join")), tap(button("Wash"))}, 3, coordinator.Join{}, "Your turn comes about 15:07"},
	{"join by the home's code", "", "/r/yard?code=tidewater", []step{typed("input[name=home-code]", "klmn 2345"), tap(button("Join")), tap(button("Dry"))}, 2, coordinator.Join{}, "in the queue for a dryer"},
	{"join, the code typed by hand", "", "/r/cellar", []step{tap("a[href='/r/cellar/join']"), typed("input[name=code]", "tidewater"), typed("input[name=home]", "12"),
		tap(button("Join")), tap(button("Wash"))}, 3, coordinator.Join{}, "Your turn comes about 15:07"},
	{"known here: wait for a washer", "zed", "/r/attic", []step{tap(button("Wash"))}, 1, coordinator.Join{}, "in the queue for a washer"},
	{"dry after this, when joining", "zed", "/r/attic", []step{tap("input[name=dry-after]"), tap(button("Wash"))}, 2, coordinator.Join{}, "in the queue for a washer"},
	{"dry after this, while it washes", "ann", "/r/cellar", []step{tap(button("Dry after this"))}, 1, coordinator.DryAfter{}, "A dryer is booked"},
	{"called: on my way", "cat", "/r/cellar", []step{tap(button("I am on my way"))}, 1, coordinator.OnMyWay{}, "somebody is on the way"},
	{"called: let the next one go first", "cat", "/r/cellar", []step{tap(button("Let the next one go first"))}, 1, coordinator.LetNext{}, "The next one goes first"},
	{"called: not now", "cat", "/r/cellar", []step{tap("#mine summary"), tap(button("Put off"))}, 2, coordinator.NotNow{}, "not called before then"},
	{"leave the queue", "fay", "/r/cellar", []step{tap(button("Leave the queue"))}, 1, coordinator.Leave{}, "You left the queue"},
	{"at the machine: claim", "zed", "/r/cellar/m/d1?code=printed-d1", []step{tap(button("This is my load"))}, 1, coordinator.Claim{}, "noted as your load"},
	{"done: collected, from the room", "bob", "/r/cellar", []step{tap(button("I have collected it"))}, 1, coordinator.Collect{}, "the machine is empty"},
	{"done: collected, at the machine", "bob", "/r/cellar/m/w4?code=printed-w4", []step{tap(button("I have collected it"))}, 1, coordinator.Collect{}, "the machine is empty"},
	{"ten more minutes", "bob", "/r/cellar", []step{tap(button("Give me 10 min more"))}, 1, coordinator.MoreTime{}, "more time"},
	{"no account: it is empty", "", "/r/cellar/m/w4?code=printed-w4", []step{tap(button("It is empty"))}, 1, coordinator.Collect{}, "the machine is empty"},
	{"no account: on the table", "", "/r/cellar/m/w4?code=printed-w4", []step{tap(button("I put the load on the table"))}, 1, coordinator.Collect{OnTable: true}, "the machine is empty"},
	{"no account: report a fault", "", "/r/cellar/m/w1?code=printed-w1",
		[]step{typed("input[name=text]", "door sticks"), tap(button("Report a fault"))}, 1, coordinator.ReportFault{}, "is told"},
	{"that start was not mine", "ann", "/r/cellar", []step{tap(button("That start was not mine"))}, 1, coordinator.NotMe{}, "called again"},
	{"my data: see", "fay", "/r/cellar", []step{tap("nav a[href='/me']")}, 1, nil, "Save my data"},
	{"my data: delete", "fay", "/me", []step{tap("input[name=sure]"), tap(button("Forget me"))}, 2, nil, "Laundry rooms"},
}

// flowHouse has something of everybody's.
func flowHouse() *fakeHouse {
	room := fullRoom()
	room.Machine("w4").MoreTime = room.Rules.MoreTime
	closed := smallRoom() // whose homes were given codes on paper
	closed.Room, closed.Rules.OpenHomes = "yard", false
	h := newFakeHouse(room, smallRoom(), closed)
	h.people.Homes["h77"] = coordinator.Home{ID: "h77", Name: "77", Code: "KLMN-2345"}
	h.react = joinReacts
	for who, home := range map[coordinator.PersonID]coordinator.HomeID{"ann": "h12", "bob": "h3", "cat": "h5", "fay": "h8", "zed": "h9"} {
		h.resident(who, home)
	}
	return h
}

// TestFlows walks every flow in a real browser of a phone's size, and counts
// the taps. What is typed is counted apart.
func TestFlows(t *testing.T) {
	if testing.Short() {
		t.Skip("the same flows are walked by forms alone")
	}
	b := openBrowser(t)
	b.media(t, 390, 844, "light")
	var table strings.Builder
	for _, f := range flows {
		h := flowHouse()
		_, address := serveReal(t, h, nil)
		b.cookie(t, address, "__Host-drumturn", "secret-of-"+f.who)
		b.do(t, chromedp.Navigate(address+f.path), chromedp.WaitVisible("main"))
		taps, fields := 0, 0
		for _, s := range f.steps {
			if s.into != "" {
				fields++
				b.do(t, chromedp.WaitVisible(s.into), chromedp.SendKeys(s.into, s.text))
				continue
			}
			taps++
			b.tap(t, s.tap)
		}
		if f.says != "" {
			b.until(t, fmt.Sprintf("document.body?.innerText.includes(%q)", f.says))
		}
		if f.told != nil {
			b.until(t, "document.readyState === 'complete'")
			got := h.events()
			if len(got) == 0 || reflect.TypeOf(got[len(got)-1]) != reflect.TypeOf(f.told) {
				t.Errorf("%s: the room was told %+v", f.name, got)
			} else if c, ok := f.told.(coordinator.Collect); ok && got[0].(coordinator.Collect).OnTable != c.OnTable {
				t.Errorf("%s: told %+v", f.name, got)
			}
		}
		if taps > f.most {
			t.Errorf("%s takes %d taps, want at most %d", f.name, taps, f.most)
		}
		fmt.Fprintf(&table, "| %s | %d | %d |\n", f.name, taps, fields)
	}
	for _, w := range ways {
		taps, fields := walkWay(t, w)
		fmt.Fprintf(&table, "| %s | %d | %d |\n", w.name, taps, fields)
	}
	t.Logf("\n| flow | taps | fields |\n| --- | --- | --- |\n%s", &table)
}

// tap taps an element by selector, or the button with some words. The page may
// be leaving just then: what was found on it is looked for again on the next.
func (b *browser) tap(t *testing.T, at string) {
	t.Helper()
	words, byWords := strings.CutPrefix(at, "words:")
	for tries := 1; ; tries++ {
		if byWords {
			b.until(t, fmt.Sprintf(markWords, words))
			at = "[data-tap]"
		}
		ctx, cancel := context.WithTimeout(b.ctx, patience/6)
		err := chromedp.Do(ctx, chromedp.WaitVisible(at), chromedp.Click(at))
		cancel()
		if err == nil {
			return
		}
		if tries == 6 {
			t.Fatalf("browser: %v\nconsole: %q", err, b.complaints())
		}
	}
}

// markWords marks the button that begins with some words.
const markWords = `(() => { const found = [...document.querySelectorAll('button')].find((e) => e.innerText.trim().split('\n')[0] === %q && e.checkVisibility());
	document.querySelectorAll('[data-tap]').forEach((e) => e.removeAttribute('data-tap')); found?.setAttribute('data-tap', ''); return !!found; })()`

// TestNotificationsAreAskedForWhenTheyHelp: never on the way in, but beside the
// forecast of whoever has a turn and no device, with a reason.
func TestNotificationsAreAskedForWhenTheyHelp(t *testing.T) {
	b := openBrowser(t)
	b.media(t, 390, 844, "light")
	h := flowHouse()
	_, address := serveReal(t, h, nil)
	asks := "String([...document.querySelectorAll('[data-push-ask]')].some((e) => !e.hidden))"
	for _, path := range []string{"/r/cellar", "/r/cellar/join?code=tidewater"} {
		b.do(t, chromedp.Navigate(address+path), chromedp.WaitVisible("main"))
		if b.value(t, asks) != "false" {
			t.Errorf("%s asks before there is anything to tell", path)
		}
	}
	b.cookie(t, address, "__Host-drumturn", "secret-of-zed")
	b.do(t, chromedp.Navigate(address+"/r/attic"), chromedp.WaitVisible("main"))
	if b.value(t, asks) != "false" {
		t.Error("asked for before joining the queue")
	}
	b.tap(t, button("Wash"))
	b.do(t, chromedp.WaitVisible("[data-push-ask]"))
	if got := b.value(t, "document.querySelector('[data-push-ask]').innerText"); !strings.Contains(got, "When it is your turn") {
		t.Errorf("asked without a reason: %q", got)
	}
	if got := b.value(t, "Notification.permission"); got != "default" {
		t.Errorf("the browser was asked without a tap: %s", got)
	}
}
