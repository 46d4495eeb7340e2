package ui

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"drumturn/coordinator"
	"drumturn/ui/specimen"
)

// parsePage reads a page the way browsers do (golang.org/x/net/html follows
// the WHATWG HTML standard).
func parsePage(t *testing.T, page string) *html.Node {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

func attr(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func hasAttr(n *html.Node, name string) bool {
	for _, a := range n.Attr {
		if a.Key == name {
			return true
		}
	}
	return false
}

// all lists the elements of some names below a node.
func all(n *html.Node, names ...string) []*html.Node {
	var out []*html.Node
	for d := range n.Descendants() {
		for _, name := range names {
			if d.Type == html.ElementNode && d.Data == name {
				out = append(out, d)
			}
		}
	}
	return out
}

func textOf(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data + " ")
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// fill is a form as a browser without scripts would send it, with every text
// typed and every box ticked.
func fill(f *html.Node) url.Values {
	values := url.Values{}
	for _, b := range all(f, "button") {
		if name := attr(b, "name"); name != "" && !values.Has(name) {
			values.Set(name, attr(b, "value"))
		}
	}
	for _, in := range all(f, "input", "select") {
		name := attr(in, "name")
		switch kind := attr(in, "type"); {
		case in.Data == "select":
			for _, option := range all(in, "option") {
				if v := attr(option, "value"); v != "" {
					values.Set(name, v)
					break
				}
			}
		case kind == "radio" && !hasAttr(in, "checked"):
		case kind == "hidden" || kind == "radio" || kind == "checkbox":
			values.Set(name, attr(in, "value"))
		case kind == "password":
			values.Set(name, "ember thistle kettle")
		case attr(in, "value") != "":
			values.Set(name, attr(in, "value"))
		default:
			values.Set(name, "words")
		}
	}
	return values
}

// crawlRooms are rooms in which every button shows somewhere.
func crawlRooms() *fakeHouse {
	room := fullRoom()
	room.Rules.WallTouch = true
	room.Machines[0].MayHoldLoad = true
	room.Machines[5].ByHand = true
	room.Machines[2].Faults = []coordinator.Fault{{At: in(-3), Text: "door sticks"}}
	byHand := machine("w9", 9, 1, coordinator.Free, -3)
	byHand.ByHand = true
	room.Machines = append(room.Machines, byHand)
	h := newFakeHouse(room, smallRoom())
	for _, id := range []coordinator.PersonID{"ann", "bob", "cat", "dan", "zed"} {
		h.resident(id, coordinator.HomeID("h-"+id))
	}
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	h.people.FirstToken = hashSecret("token")
	return h
}

// withPast adds what is kept of machines, figures of their use, and what is made of them.
func withPast(o *Options) {
	o.Past, o.Report, o.Worn, o.Capacity = specimen.Past{}, specimen.Report, specimen.Worn{}, specimen.Worn{}.Capacity
	o.Reports, o.StoredReport = specimen.Reports, specimen.StoredReport
}

var crawlStart = []string{"/", "/r/cellar", "/r/attic", "/r/cellar/join", "/r/cellar/wall?key=wallkey", "/r/cellar/touch?key=wallkey", "/me", "/code", "/code?code=ABCD-2345", "/manager", "/manager/first?token=token",
	"/r/cellar/m/w1", "/r/cellar/m/w2", "/r/cellar/m/w3", "/r/cellar/m/w4", "/r/cellar/m/d1", "/r/cellar/m/d2", "/r/cellar/m/d3", "/r/cellar/m/d4", "/r/cellar/m/w9", "/r/cellar/m/w4?code=printed-w4", "/r/cellar/m/w9?code=printed-w9", "/manager/r/cellar/sheets", "/manager/residents", "/manager/access", "/manager/log",
	"/manager/people", "/manager/people/codes", "/manager/use", "/manager/reports", "/manager/reports/2026-02", "/manager/r/cellar/m/w2", "/manager/r/cellar/m/w2/c/361"}

// TestEveryFormIsUnderstood sends every form of every page as a browser
// without scripts would: no page may offer a button that the server does not
// know, or a field that it refuses.
func TestEveryFormIsUnderstood(t *testing.T) {
	sent := map[string]bool{}
	for _, who := range []string{"", "ann", "bob", "cat", "dan", "zed", "boss"} {
		h := crawlRooms()
		s := newTestServer(t, h, withPast)
		s.limits = newLimits()
		for _, path := range crawlStart {
			a := get(path)
			a.resident, a.manager = "secret-of-"+who, "secret-of-"+who
			for _, f := range all(parsePage(t, a.of(s).Body.String()), "form") {
				action, values := attr(f, "action"), fill(f)
				key := action + "?" + values.Encode()
				if hasAttr(f, "data-passkey") {
					continue // only the script sends it
				}
				if sent[key] || strings.Contains(action, "sign-out") || strings.Contains(action, "forget") {
					continue // These end the session that the others need.
				}
				sent[key] = true
				if attr(f, "method") == "get" { // it only asks
					where, _, _ := strings.Cut(action, "#")
					if w := get(where+"?"+values.Encode()).as(a.resident, a.manager).of(s); w.Code != http.StatusOK {
						t.Errorf("%s as %q: form %s gives %d: %s", path, who, key, w.Code, said(w.Body.Bytes()))
					}
					continue
				}
				p := ask{method: http.MethodPost, path: action, form: values, resident: a.resident, manager: a.manager}
				w := p.of(s)
				refused := w.Code == 403 || w.Code == 409 // a wrong code, a passphrase not set: the house's answer
				guessing := strings.Contains(action, "/join") || action == "/code" || strings.HasPrefix(action, "/manager/sign-in") || action == "/manager/access" || action == "/manager/people"
				if w.Code != http.StatusSeeOther && action != "/me/code" && action != "/manager/residents/code" && !(action == "/manager/access" && values.Get("do") == "invite") && !(action == "/manager/people" && (w.Code == 422 || w.Code == 404 || values.Get("do") == "turn")) && !strings.HasSuffix(action, "/share") && !(guessing && refused) {
					t.Errorf("%s as %q: form %s gives %d: %s", path, who, key, w.Code, said(w.Body.Bytes()))
				}
			}
		}
	}
	if len(sent) < 50 {
		t.Errorf("only %d forms were found", len(sent))
	}
}

// TestEveryLinkLeadsSomewhere: pages, pictures, styles, scripts and streams.
func TestEveryLinkLeadsSomewhere(t *testing.T) {
	s := newTestServer(t, crawlRooms(), withPast)
	seen := map[string]bool{}
	for _, path := range crawlStart {
		a := get(path).as("secret-of-bob", "secret-of-boss")
		doc := parsePage(t, a.of(s).Body.String())
		for _, n := range all(doc, "a", "link", "img", "script") {
			to := attr(n, "href") + attr(n, "src")
			to, _, _ = strings.Cut(to, "#")
			if to == "" || seen[to] {
				continue
			}
			seen[to] = true
			if w := get(to).as("secret-of-bob", "secret-of-boss").of(s); w.Code != 200 && w.Code != 303 {
				t.Errorf("%s leads to %s: %d", path, to, w.Code)
			}
		}
	}
}

// TestMarkup: what screen readers and keyboards need of every page (WCAG 2.2:
// 1.1.1, 1.3.1, 2.4.2, 3.1.1, 4.1.2).
func TestMarkup(t *testing.T) {
	s := newTestServer(t, crawlRooms(), withPast)
	for _, path := range append(crawlStart, "/nothing") {
		for _, who := range []string{"", "bob", "cat"} {
			a := get(path).as("secret-of-"+who, "secret-of-boss")
			w := a.of(s)
			if w.Code == http.StatusSeeOther {
				continue
			}
			doc := parsePage(t, w.Body.String())
			for _, fault := range markupFaults(doc) {
				t.Errorf("%s as %q: %s", path, who, fault)
			}
		}
	}
}

func markupFaults(doc *html.Node) []string {
	var faults []string
	add := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	if lang := attr(all(doc, "html")[0], "lang"); lang != "en" {
		add("language %q", lang)
	}
	if titles := all(all(doc, "head")[0], "title"); len(titles) != 1 || textOf(titles[0]) == "" {
		add("%d titles", len(titles))
	}
	if n := len(all(doc, "h1")); n != 1 {
		add("%d headings of the first level", n)
	}
	ids := map[string]bool{}
	for d := range doc.Descendants() {
		if id := attr(d, "id"); id != "" {
			if ids[id] {
				add("id %q is given twice", id)
			}
			ids[id] = true
		}
	}
	for _, img := range all(doc, "img") {
		if attr(img, "alt") == "" {
			add("a picture without words: %s", attr(img, "src"))
		}
	}
	for _, n := range all(doc, "button", "a", "summary", "label") {
		if textOf(n) == "" {
			add("a %s without words", n.Data)
		}
	}
	for _, n := range all(doc, "input", "select") {
		if attr(n, "type") != "hidden" && !inside(n, "label") {
			add("the field %q has no label", attr(n, "name"))
		}
	}
	for _, n := range all(doc, "svg") {
		if attr(n, "aria-hidden") != "true" && !inside(n, "svg") && !underHidden(n) && !labelled(doc, n) {
			add("a drawing that is read out, and does not say what it is")
		}
	}
	return faults
}

// labelled reports whether a picture says what it is, in words of its own.
func labelled(doc, n *html.Node) bool {
	ids := strings.Fields(attr(n, "aria-labelledby"))
	if attr(n, "role") != "img" || len(ids) == 0 {
		return false
	}
	for _, id := range ids {
		found := false
		for _, e := range all(doc, "title", "desc") {
			found = found || attr(e, "id") == id && textOf(e) != ""
		}
		if !found {
			return false
		}
	}
	return true
}

// underHidden reports whether something around an element is hidden from
// screen readers, and the element with it.
func underHidden(n *html.Node) bool {
	for a := range n.Ancestors() {
		if attr(a, "aria-hidden") == "true" {
			return true
		}
	}
	return false
}

func inside(n *html.Node, name string) bool {
	for a := range n.Ancestors() {
		if a.Data == name {
			return true
		}
	}
	return false
}

// buttons are the words on a page's buttons inside forms.
func buttons(doc *html.Node) map[string]bool {
	out := map[string]bool{}
	for _, b := range all(doc, "button") {
		out[textOf(b)] = true
	}
	return out
}

// TestTheMachinesButtons: each state offers each kind of person what makes
// sense, and nothing else.
func TestTheMachinesButtons(t *testing.T) {
	const (
		collected, empty, table = "I have collected it", "It is empty", "I put the load on the table"
		claim, notMine, still   = "This is my load", "That start was not mine", "My load is still inside"
		started, ended, report  = "I have started it", "It has finished", "Report a fault"
	)
	every := []string{collected, empty, table, claim, notMine, still, started, ended, report}
	cases := []struct {
		machine, who string
		want         []string
	}{
		{"w1", "", []string{report}}, // may hold a load
		{"w1?code=printed-w1", "", []string{empty, table, report}},
		{"w1?code=printed-w2", "", []string{report}},
		{"w1", "zed", []string{empty, table, still, report}},
		{"w2", "", []string{report}}, // ann's, running
		{"w2", "ann", []string{notMine, report}},
		{"w2", "zed", []string{report}},
		{"w4?code=PRINTED%20W4", "", []string{empty, table, report}}, // bob's, overdue
		{"w4", "bob", []string{collected, report}},
		{"w4", "zed", []string{empty, table, report}},
		{"d1?code=printed-d1", "", []string{empty, table, report}}, // nobody's, finished
		{"d1", "zed", []string{empty, table, claim, report}},
		{"d2", "", []string{report}}, // by hand, running
		{"d2?code=printed-d2", "", []string{ended, report}},
		{"d2", "zed", []string{ended, report}},
		{"d3", "zed", []string{still, report}}, // silent
		{"d4", "", []string{report}},           // out
		{"w9", "", []string{report}},           // by hand, free
		{"w9?code=printed-w9", "", []string{started, report}},
		{"w9", "zed", []string{started, still, report}},
	}
	s := newTestServer(t, crawlRooms(), withPast)
	for _, c := range cases {
		page := get("/r/cellar/m/"+c.machine).as("secret-of-"+c.who, "").of(s).Body.String()
		has := buttons(parsePage(t, page))
		for _, b := range every {
			want := false
			for _, w := range c.want {
				want = want || w == b
			}
			if has[b] != want {
				t.Errorf("%s for %q: %q shown: %v, want %v", c.machine, c.who, b, has[b], want)
			}
		}
		if !strings.Contains(page, "stop using it") {
			t.Errorf("%s: no safety line", c.machine)
		}
		if dryer := strings.HasPrefix(c.machine, "d"); dryer != strings.Contains(page, "lint screen") {
			t.Errorf("%s: the lint screen is mentioned: %v", c.machine, !dryer)
		}
	}
}

// TestTheRoomsButtons: waiting, called, and done.
func TestTheRoomsButtons(t *testing.T) {
	s := newTestServer(t, crawlRooms(), withPast)
	const wash, dry = "Wash about 15:23, between 14:57 and 16:07", "Dry about 14:18, between 14:09 and 14:37"
	cases := []struct {
		who       string
		has, lack []string
	}{
		{"dan", []string{"Let the next one go first", "Put off", "Leave the queue", wash, dry, "Tell me"}, []string{"I have collected it"}},
		{"cat", []string{"Let the next one go first", "Put off", "Leave the queue"}, nil},
		{"bob", []string{"I have collected it", wash}, []string{"Leave the queue", "Tell me"}},
		{"zed", []string{wash, dry}, []string{"Leave the queue", "I have collected it", "Tell me"}},
		{"", nil, []string{wash, "Tell me"}},
	}
	for _, c := range cases {
		has := buttons(parsePage(t, get("/r/cellar").as("secret-of-"+c.who, "").of(s).Body.String()))
		for _, b := range c.has {
			if !has[b] {
				t.Errorf("%q lacks %q: %v", c.who, b, has)
			}
		}
		for _, b := range c.lack {
			if has[b] {
				t.Errorf("%q sees %q", c.who, b)
			}
		}
	}
}
