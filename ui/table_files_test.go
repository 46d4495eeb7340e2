package ui

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"
	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/ui/specimen"
)

// figurePages are the pages of the manager that have tables of figures.
var figurePages = []string{
	"/manager/use", "/manager/use?of=cellar%2Fw2", "/manager/reports/2026-02", "/manager/reports/2026-02?of=attic",
	"/manager/r/cellar/m/w2", "/manager/r/cellar/m/w2?day=2026-03-16&before=1773500000", "/manager/r/cellar/m/d3",
	"/manager/r/cellar/m/w2/c/361", "/manager/r/cellar/m/w2/c/359", "/manager/r/cellar/m/d2/wear", "/manager/r/cellar/m/w1/wear", "/manager/r/cellar/enough",
}

// figuresServer has all that tables are made of.
func figuresServer(t *testing.T) *Server {
	return newTestServer(t, specimen.NewHouse(hashSecret), withPast)
}

func askManager(s *Server, path string) *httptest.ResponseRecorder {
	return get(path).as("", specimen.Secret(specimen.Manager)).of(s)
}

// TestEveryTableIsAFile: beside each table of figures are links to it as CSV and
// as JSON; both are there, and say the same.
func TestEveryTableIsAFile(t *testing.T) {
	s := figuresServer(t)
	tables, read := 0, map[string]bool{}
	for _, page := range figurePages {
		w := askManager(s, page)
		if w.Code != http.StatusOK {
			t.Errorf("%s answers %d", page, w.Code)
		}
		for _, table := range all(parsePage(t, w.Body.String()), "table") {
			tables++
			links := fileLinks(table)
			if len(links) != 2 {
				t.Errorf("%s: beside %q are %d links to files", page, attr(table.Parent, "aria-label"), len(links))
				continue
			}
			if !read[links[0]] {
				sameInBoth(t, s, links, len(all(table, "tr"))-1)
			}
			read[links[0]] = true
		}
	}
	if tables < 50 {
		t.Errorf("only %d tables on %d pages", tables, len(figurePages))
	}
}

// fileLinks are the addresses beside a table.
func fileLinks(table *html.Node) (links []string) {
	for n := table.Parent.NextSibling; n != nil; n = n.NextSibling {
		if n.Type == html.TextNode {
			continue
		}
		if n.Data == "p" && strings.Contains(attr(n, "class"), "downloads") {
			for _, a := range all(n, "a") {
				links = append(links, attr(a, "href"))
			}
		}
		break
	}
	return links
}

// sameInBoth reads both files: CSV by RFC 4180, where every line has as many fields
// as the first (2.4) and ends with CR LF (2.1), and JSON. They have a row at least
// wherever the page has one, and the same cells.
func sameInBoth(t *testing.T, s *Server, links []string, shown int) {
	t.Helper()
	text := askManager(s, links[0])
	lines, err := csv.NewReader(strings.NewReader(text.Body.String())).ReadAll()
	if err != nil || text.Code != http.StatusOK || !strings.HasPrefix(text.Header().Get("Content-Type"), "text/csv") {
		t.Errorf("%s: %d, %v", links[0], text.Code, err)
		return
	}
	if body := text.Body.String(); strings.Count(body, "\n") != strings.Count(body, "\r\n") || !strings.HasSuffix(body, "\r\n") {
		t.Errorf("%s: a line does not end with CR LF", links[0])
	}
	var table struct {
		Columns []struct{ Key, Kind, Unit string }
		Rows    []map[string]any
	}
	object := askManager(s, links[1])
	d := json.NewDecoder(object.Body)
	d.UseNumber()
	if err := d.Decode(&table); err != nil || object.Code != http.StatusOK || len(table.Rows) != len(lines)-1 || len(table.Columns) != len(lines[0]) {
		t.Errorf("%s: %d, %v, %d rows for %d", links[1], object.Code, err, len(table.Rows), len(lines)-1)
		return
	}
	if shown > 0 && len(table.Rows) == 0 {
		t.Errorf("%s has no rows, the page has %d", links[0], shown)
	}
	for i, row := range table.Rows {
		for k, column := range table.Columns {
			got := ""
			if v := row[column.Key]; v != nil {
				got = fmt.Sprint(v)
			}
			if got != lines[i+1][k] {
				t.Errorf("%s: row %d, %s is %q in JSON, %q in CSV", links[0], i, column.Key, got, lines[i+1][k])
			}
		}
	}
}

// rowsOf reads a file of CSV: each row by the heads of its columns.
func rowsOf(t *testing.T, s *Server, path string) (rows []map[string]string) {
	t.Helper()
	return rowsIn(t, path, askManager(s, path))
}

func rowsIn(t *testing.T, path string, w *httptest.ResponseRecorder) (rows []map[string]string) {
	t.Helper()
	lines, err := csv.NewReader(w.Body).ReadAll()
	if err != nil || w.Code != http.StatusOK {
		t.Fatalf("%s: %d, %v", path, w.Code, err)
	}
	for _, line := range lines[1:] {
		row := map[string]string{}
		for i, cell := range line {
			row[lines[0][i]] = cell
		}
		rows = append(rows, row)
	}
	return rows
}

func floatOf(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestCyclesFile has what the specimen's cycles are: three a day, of 63 minutes
// but for the one that was cut short after 17.
func TestCyclesFile(t *testing.T) {
	s := figuresServer(t)
	rows := rowsOf(t, s, "/manager/r/cellar/m/w2/cycles.csv")
	if len(rows) < 350 {
		t.Fatalf("%d cycles", len(rows))
	}
	want := map[string]string{
		"cycle": "359", "start": "2026-03-16T09:20:00+01:00", "end": "2026-03-16T09:37:00+01:00", "told": "2026-03-16T09:38:50+01:00",
		"length_min": "17.0", "energy_kWh": "0.431", "ended": "stopped_early", "programme": "",
	}
	seen := map[string]bool{}
	for i, row := range rows {
		if seen[row["cycle"]] || i > 0 && row["told"] >= rows[i-1]["told"] && row["told"][len(row["told"])-6:] == rows[i-1]["told"][len(row["told"])-6:] {
			t.Errorf("row %d: cycle %s, told %s", i, row["cycle"], row["told"])
		}
		seen[row["cycle"]] = true
		if row["cycle"] != "359" {
			if row["length_min"] != "63.0" || row["ended"] != "finished" {
				t.Errorf("row %d: %v", i, row)
			}
			continue
		}
		for key, v := range want {
			if row[key] != v {
				t.Errorf("cycle 359: %s is %q, want %q", key, row[key], v)
			}
		}
	}
	older := rowsOf(t, s, "/manager/r/cellar/m/w2/cycles.csv?before=1773500000")
	if len(older) >= len(rows) || len(older) == 0 {
		t.Errorf("%d cycles before, %d in all", len(older), len(rows))
	}
	for _, row := range older {
		if at, err := time.Parse(time.RFC3339, row["told"]); err != nil || at.Unix() >= 1773500000 {
			t.Errorf("told %s, %v", row["told"], err)
		}
	}
}

// TestDayFile: the hours of a day add up to its energy. In summer time's first and
// last day there are 23 and 25, each an hour long: the last Sundays of March and
// October (Directive 2000/84/EC, articles 2 and 3).
func TestDayFile(t *testing.T) {
	s := figuresServer(t)
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	room := smallRoom()
	room.Zone = berlin
	house := newFakeHouse(room)
	manager := house.enrol(coordinator.Person{ID: "boss", Manager: true})
	there := newTestServer(t, house, func(o *Options) { o.Past = &onePast{} })
	for day, hours := range map[string]int{"2026-03-16": 24, "2026-03-17": 0, "2025-03-30": 23, "2025-10-26": 25} {
		rows := rowsOf(t, s, "/manager/r/cellar/m/w2/day.csv?day="+day)
		if day[:4] == "2025" {
			w := get("/manager/r/attic/m/w1/day.csv?day="+day).as("", manager).of(there)
			rows = rowsIn(t, day, w)
		}
		if hours > 0 && len(rows) != hours {
			t.Errorf("%s has %d hours, want %d", day, len(rows), hours)
		}
		sum, so := 0.0, 0.0
		for i, row := range rows {
			from, err1 := time.Parse(time.RFC3339, row["from"])
			to, err2 := time.Parse(time.RFC3339, row["to"])
			if err1 != nil || err2 != nil || to.Sub(from) != time.Hour || i > 0 && row["from"] != rows[i-1]["to"] {
				t.Errorf("%s: row %d is from %s to %s", day, i, row["from"], row["to"])
			}
			if row["energy_kWh"] == "" {
				continue
			}
			sum, so = sum+floatOf(t, row["energy_kWh"]), floatOf(t, row["energy_so_far_kWh"])
			if mean := floatOf(t, row["mean_W"]); mean > floatOf(t, row["highest_W"])+0.1 {
				t.Errorf("%s: row %d has a mean of %v above its highest", day, i, mean)
			}
		}
		// What is drawn in a silent hour comes with the first reading after it.
		if day == "2026-03-16" && (sum-so > 0.002 || so-sum > 0.002 || sum < 1) {
			t.Errorf("%s: the hours add up to %v kWh, the last says %v", day, sum, so)
		}
		if day[:4] == "2025" && (sum != 0 || rows[3]["heard_percent"] != "0.0") {
			t.Errorf("%s was heard: %v", day, rows[3])
		}
	}
}

// TestCycleFiles: the phases follow upon each other from the start to the end, and
// what was left was the time to the end.
func TestCycleFiles(t *testing.T) {
	s := figuresServer(t)
	phases := rowsOf(t, s, "/manager/r/cellar/m/w2/c/361/phases.csv")
	if len(phases) < 4 || phases[len(phases)-1]["to"] != "2026-03-17T07:33:00+01:00" {
		t.Fatalf("phases %v", phases)
	}
	sum := 0.0
	for i, row := range phases {
		if i > 0 && row["from"] != phases[i-1]["to"] {
			t.Errorf("phase %d begins at %s, the one before ends at %s", i, row["from"], phases[i-1]["to"])
		}
		sum += floatOf(t, row["length_s"])
	}
	if sum < 55*60 || sum > 63*60 {
		t.Errorf("phases of %v s in all", sum)
	}
	end := time.Date(2026, 3, 17, 7, 33, 0, 0, specimen.Zone)
	left := rowsOf(t, s, "/manager/r/cellar/m/w2/c/361/remaining.csv")
	if len(left) < 40 {
		t.Fatalf("%d rows of a cycle of 63 minutes", len(left))
	}
	for _, row := range left {
		at, err := time.Parse(time.RFC3339, row["at"])
		was, said := floatOf(t, row["was_min"]), floatOf(t, row["said_median_min"])
		if err != nil || was-end.Sub(at).Minutes() > 0.051 || end.Sub(at).Minutes()-was > 0.051 {
			t.Errorf("at %s %s min were left", row["at"], row["was_min"])
		}
		if off := floatOf(t, row["off_min"]); off-(said-was) > 0.11 || (said-was)-off > 0.11 {
			t.Errorf("at %s: %v said, %v left, off by %v", row["at"], said, was, off)
		}
		if low, high := floatOf(t, row["said_low_min"]), floatOf(t, row["said_high_min"]); low > said || said > high {
			t.Errorf("at %s: %v is not from %v to %v", row["at"], said, low, high)
		}
	}
}

// TestFilesRefuse: names that are no table, and people who are no manager.
func TestFilesRefuse(t *testing.T) {
	s := figuresServer(t)
	for _, base := range []string{"/manager/r/cellar/m/w2/", "/manager/r/cellar/m/w2/c/361/", "/manager/r/cellar/m/d2/wear/", "/manager/r/cellar/enough/", "/manager/reports/2026-02/"} {
		for _, file := range []string{"nothing.csv", "cycles.exe", "cycles", ".csv", "..%2fday.csv", "curve.csv.csv"} {
			if w := askManager(s, base+file); w.Code != http.StatusNotFound {
				t.Errorf("%s%s answers %d", base, file, w.Code)
			}
		}
	}
	none := newTestServer(t, specimen.NewHouse(hashSecret), nil)
	for _, path := range []string{
		"/manager/r/cellar/m/w2/cycles.csv", "/manager/r/cellar/m/w2/c/361/phases.json", "/manager/r/cellar/m/d2/wear/length.csv", "/manager/r/cellar/enough/washer-cases.csv", "/manager/reports/2026-02/periods.csv",
	} {
		if w := askManager(s, path); w.Code != http.StatusOK || w.Header().Get("Cache-Control") != "no-store" {
			t.Errorf("%s answers %d, %v", path, w.Code, w.Header())
		}
		for _, who := range []string{"", specimen.Secret("ann")} {
			if w := get(path).as(who, "").of(s); w.Code != http.StatusForbidden {
				t.Errorf("%s answers %q with %d", path, who, w.Code)
			}
		}
		if w := askManager(none, path); w.Code != http.StatusNotFound {
			t.Errorf("%s where nothing is kept: %d", path, w.Code)
		}
	}
}

// TestFileOfAnOddMachine: a machine's id stands in the name of a file only as far
// as every system takes it.
func TestFileOfAnOddMachine(t *testing.T) {
	room := smallRoom()
	room.Machines[0].ID = odd
	house := newFakeHouse(room)
	manager := house.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, house, func(o *Options) { o.Past = &onePast{} })
	w := get("/manager"+machinePath(room.Room, odd)+"/cycles.csv").as("", manager).of(s)
	if got := w.Header().Get("Content-Disposition"); w.Code != http.StatusOK || got != `attachment; filename="cycles-attic-a_b__c___3f__.csv"` {
		t.Errorf("%d: %s", w.Code, got)
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text")
		if name := plainName(text); strings.Trim(name, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_") != "" {
			t.Errorf("%q becomes %q", text, name)
		}
	})
}
