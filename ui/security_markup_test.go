package ui

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/ui/specimen"
)

// Names as an attacker would choose them: mark-up, the ends of attributes, scripts,
// styles and comments, our own templates, an address, a formula.
var evilNames = []string{
	`"><script>alert(1)</script>`, `'-alert(1)-'`, `</title><script>alert(1)</script>`, `</script><script>alert(1)</script>`, `<img src=x onerror=alert(1)>`,
	`<svg/onload=alert(1)>`, `{{.Who.ID}}{{template "marks"}}`, `${alert(1)}`, `javascript:alert(1)`, `--><script>alert(1)</script>`, `&lt;script&gt;alert(1)`,
	`=HYPERLINK("http://evil.example")`, "`-alert(1)-`", `\u003cscript\u003ealert(1)`,
}

// hostile puts a name wherever somebody can type one, or a building file can hold one.
func hostile(t *testing.T, name string) *office {
	room := fullRoom()
	room.Name, room.Machines[7].OutText = name, name
	room.Machines[0].Faults = []coordinator.Fault{{At: noon, Text: name, Home: "h6"}}
	h := newFakeHouse(room, smallRoom())
	o := &office{T: t, fakeHouse: h, Server: newTestServer(t, h, func(o *Options) {
		o.Building = name
		o.Facts = func(_ context.Context, _ coordinator.RoomID, from, _ time.Time, each func(coordinator.Fact) bool) error {
			each(coordinator.Fact{At: from, Kind: coordinator.FactFault, Machine: "w1", Home: "h6", Person: "boss", Note: name})
			return nil
		}
	})}
	h.enrol(coordinator.Person{ID: "boss", Manager: true, Name: name})
	h.enrol(coordinator.Person{ID: "dan", Home: "h6", Name: name})
	h.people.Homes["h6"] = coordinator.Home{ID: "h6", Name: name, Code: "H0M3", Also: []string{name}}
	boss := h.people.WaysIn["boss"]
	boss.Keys = []coordinator.Passkey{{ID: name, Name: name, Record: []byte("{}")}}
	h.people.WaysIn["boss"] = boss
	h.people.ManagerInvites = map[string]coordinator.ManagerInvite{hashSecret("invite"): {Hash: hashSecret("invite"), By: "boss", Name: name, Expires: noon.Add(time.Hour)}}
	h.people.Invitations["cellar"] = coordinator.Invitation{Room: "cellar", Code: name}
	v := h.people.Sessions[hashSecret("secret-of-boss")]
	v.Device, v.Where = name, name
	h.people.Sessions[v.Hash] = v
	return o
}

// scripts finds what would run: elements, handlers, addresses that are programs.
func scripts(t *testing.T, page string) (found []string) {
	doc, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		switch src := attr(n, "src"); {
		case n.Data == "script" && (n.FirstChild != nil || !strings.HasPrefix(src, "/static/")):
			found = append(found, "script "+src)
		case n.Data == "img" && src == "x", n.Data == "style":
			found = append(found, n.Data)
		}
		for _, a := range n.Attr {
			if strings.HasPrefix(a.Key, "on") || a.Key == "style" || strings.HasPrefix(strings.ToLower(strings.TrimSpace(a.Val)), "javascript:") && (a.Key == "href" || a.Key == "src" || a.Key == "action") {
				found = append(found, n.Data+" "+a.Key+"="+a.Val)
			}
		}
	}
	return found
}

// TestSecurityNamesAreText: on every page that shows them, and after every form
// that gives back what was typed, they are text and nothing else.
func TestSecurityNamesAreText(t *testing.T) {
	tr := try(t, "template injection")
	for _, name := range evilNames {
		o := hostile(t, name)
		shown, ran := 0, []string{}
		for _, a := range hostilePages(name) {
			w := a.of(o.Server)
			if w.Code >= 500 {
				t.Errorf("%s: %d", a.path, w.Code)
			}
			if !strings.HasPrefix(w.Header().Get("Content-Type"), "text/html") {
				continue
			}
			page := w.Body.String()
			if strings.Contains(html.UnescapeString(page), name) {
				shown++
			}
			for _, s := range scripts(t, page) {
				ran = append(ran, a.path+": "+s)
			}
			if strings.Contains(page, "map[") || strings.Contains(page, "ZgotmplZ") {
				ran = append(ran, a.path+": a template was filled in, or had to be saved from an unsafe place")
			}
		}
		tr.row(len(ran) == 0 && shown >= 10, "`"+name+"` as the name of a building, room, home, person, manager, passkey, code, fault, browser", "text on %d pages, runs on none %v", shown, ran)
	}
}

// hostilePages are the pages that show names, and the forms that give them back.
func hostilePages(name string) []ask {
	var out []ask
	for _, path := range []string{
		"/", "/r/cellar", "/r/cellar/wall?key=wallkey", "/r/cellar/touch?key=wallkey", "/r/cellar/m/w1", "/r/cellar/m/d4", "/me", "/me/notices", "/code?code=" + url.QueryEscape(name),
		"/r/cellar/join?code=" + url.QueryEscape(name), "/manager/invited?token=invite", "/manager", "/manager/people", "/manager/people?home=" + url.QueryEscape(name),
		"/manager/people/codes", "/manager/access", "/manager/log", "/manager/residents", "/manager/r/cellar/log", "/manager/r/cellar/sheets", "/manager/r/cellar/rules", "/nothing/" + url.PathEscape(name),
	} {
		out = append(out, get(path).as("secret-of-dan", "secret-of-boss"))
	}
	return append(out, get("/manager"),
		post("/r/cellar/join", "code", "wrong", "home", name, "name", name), post("/code", "code", name), post("/manager/sign-in", "name", name, "passphrase", "x"),
		post("/manager/access", "do", "rename", "name", name+name+name+name+name+name).as("", "secret-of-boss"),
		post("/manager/people", "do", "forget", "id", name, "search", name).as("", "secret-of-boss"),
	)
}

// TestSecurityOtherForms: names in pictures and in JSON are text there too.
func TestSecurityOtherForms(t *testing.T) {
	tr := try(t, "template injection")
	for _, name := range evilNames {
		o := hostile(t, name)
		w := get("/r/cellar/join.svg?key=wallkey").of(o.Server)
		svg := w.Body.String()
		good := w.Code == 200 && w.Header().Get("Content-Type") == "image/svg+xml" && !strings.Contains(svg, "<script") && !strings.Contains(svg, "alert")
		for _, path := range []string{"/manifest.webmanifest", "/me/data.json"} {
			w := get(path).as("secret-of-dan", "").of(o.Server)
			var v map[string]any
			good = good && json.Unmarshal(w.Body.Bytes(), &v) == nil && !strings.Contains(w.Body.String(), "<script") && w.Header().Get("X-Content-Type-Options") == "nosniff"
		}
		if !good {
			tr.row(false, "`"+name+"` in the drawn code, the manifest, a resident's data", "is more than text")
		}
	}
	tr.row(true, "the same names in the drawn code (SVG), the manifest and a resident's data (JSON)", "valid, no mark-up; types fixed, nosniff")
}

// TestSecurityScriptsTrustNothing: our scripts make no program of text, and put
// HTML into a page only where the server made it.
func TestSecurityScriptsTrustNothing(t *testing.T) {
	tr := try(t, "template injection")
	entries, err := staticFiles.ReadDir("static")
	if err != nil {
		t.Fatal(err)
	}
	n, bad := 0, []string{}
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), ".js") {
			continue
		}
		data, _ := staticFiles.ReadFile("static/" + e.Name())
		n++
		for _, word := range []string{"eval(", "new Function", "document.write", "outerHTML =", "insertAdjacentHTML", "setTimeout('", `setTimeout("`, "javascript:"} {
			if strings.Contains(string(data), word) {
				bad = append(bad, e.Name()+" "+word)
			}
		}
	}
	tr.row(len(bad) == 0 && n >= 5, "scripts that make programs of text", "%d scripts, none does %v", n, bad)
	o := hostile(t, evilNames[0])
	page := get("/r/cellar").as("secret-of-dan", "").of(o.Server).Body.String()
	tr.row(!strings.Contains(page, "<script>") && http.StatusText(200) == "OK", "names in a script's context", "no page has a script of its own, so there is none")
}

// TestSecurityFormulas: in no file of figures does a name become a formula of the
// spreadsheet that opens it.
func TestSecurityFormulas(t *testing.T) {
	tr := try(t, "CSV injection")
	for _, name := range []string{`=HYPERLINK("http://evil.example")`, "+1", "-1+2", "@SUM(A1)", "\t=1", "＝1", `","=1`, "\r\n=1,2"} {
		o := hostile(t, name)
		o.o.Report = specimen.Report
		report, err := specimen.Report(t.Context(), usage.Query{}, []usage.HouseRoom{{ID: "cellar", Name: name}})
		if err != nil {
			t.Fatal(err)
		}
		files, cells, shown, bad := 0, 0, 0, []string{}
		for _, table := range report.Tables() {
			w := get("/manager/use/"+table.Name+".csv").as("", "secret-of-boss").of(o.Server)
			if w.Code != http.StatusOK {
				continue
			}
			files++
			lines, err := csv.NewReader(w.Body).ReadAll()
			if err != nil {
				bad = append(bad, err.Error())
			}
			for _, line := range lines {
				for _, cell := range line {
					cells++
					if strings.Contains(cell, "evil.example") {
						shown++
					}
					if _, err := strconv.ParseFloat(cell, 64); err != nil && cell != "" && strings.ContainsAny(cell[:1], "=+-@\t\r\n") || strings.HasPrefix(cell, "＝") {
						bad = append(bad, table.Name+": "+cell)
					}
				}
			}
		}
		tr.row(len(bad) == 0 && files > 2, fmt.Sprintf("%q as the name of rooms and homes", name), "%d files, %d cells, none begins a formula %v", files, cells, bad)
		if strings.Contains(name, "evil") && shown == 0 {
			t.Error("the names are in no file: this test tries nothing")
		}
	}
}

// TestSecurityReportLetter: the month's report, as an e-mail and as the page that goes
// with it, shows names as text, and the one link is ours.
func TestSecurityReportLetter(t *testing.T) {
	tr := try(t, "template injection")
	for _, name := range append(evilNames[:3:3], evilNames[6], "x\r\nBcc: thief@example.org", "x\n\nhttp://evil.example/") {
		r, err := specimen.StoredReport(t.Context(), usage.Month{Year: 2026, Month: 2}, "")
		if err != nil {
			t.Fatal(err)
		}
		for _, rows := range [][]usage.Row{r.Periods, r.Rooms, r.Machines} {
			for i := range rows {
				rows[i].Name = name
			}
		}
		for i := range r.Windows {
			r.Windows[i].Name = name
		}
		building := name
		if strings.Contains(name, "\n") { // no building file takes that
			building = "Alder Court"
		}
		o := hostile(t, building)
		letter, err := o.ReportLetter("en", usage.Month{Year: 2026, Month: 2}, r)
		if err != nil {
			t.Fatal(err)
		}
		var bad []string
		for _, s := range scripts(t, string(letter.Page)) {
			if s != "style" { // its own: the file needs nothing else
				bad = append(bad, s)
			}
		}
		for l := range strings.SplitSeq(letter.Text, "\n") {
			if strings.HasPrefix(l, "http") && !strings.HasPrefix(l, o.origin) || strings.HasPrefix(l, "Bcc") {
				bad = append(bad, "a line "+l)
			}
		}
		shown := strings.Count(html.UnescapeString(string(letter.Page)), name)
		tr.row(len(bad) == 0 && shown > 3 && !strings.ContainsAny(letter.Subject, "\r\n"), "`"+strings.NewReplacer("\r", `\r`, "\n", `\n`).Replace(name)+"` as building, room, machine, window of the tariff in a month's report", "text in the letter, %d times in its page %v", shown, bad)
	}
}
