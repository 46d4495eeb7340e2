package ui

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/coordinator/usage"
	"drumturn/coordinator/usage/hindsight"
	"drumturn/queue"
	"drumturn/ui/specimen"
)

// managerOf serves the specimens to their manager, who gets a page.
func managerOf(t *testing.T, path string) (status int, html string) {
	t.Helper()
	w := get(path).as("", specimen.Secret(specimen.Manager)).of(specimenServer(t))
	return w.Code, w.Body.String()
}

func specimenServer(t *testing.T) *Server {
	return newTestServer(t, specimen.NewHouse(hashSecret), func(o *Options) {
		o.Past, o.Report, o.Reports, o.StoredReport = specimen.Past{}, specimen.Report, specimen.Reports, specimen.StoredReport
	})
}

// seen fails for what a page lacks.
func seen(t *testing.T, path, html string, want ...string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(html, w) {
			t.Errorf("%s lacks %q", path, w)
		}
	}
}

// TestPastPages: each says what it is to say, with a table behind every chart,
// and no style of its own.
func TestPastPages(t *testing.T) {
	for path, want := range map[string][]string{
		"/manager/r/cellar/m/w2": {"Tuesday 17 March 2026", "not heard", "chart-gap", "chart-curve", ">362<", "stopped early", "Programmes that are told apart",
			"readings taken: 251,904", "0.7 s behind", "Older cycles", "?day=2026-03-16#day", "1, 50 min in all, longest 50 min"},
		"/manager/r/cellar/m/w2?day=2026-03-16": {"Monday 16 March 2026", "?day=2026-03-17#day", "chart-hatch-slant"},
		"/manager/r/cellar/m/w2?day=nonsense":   {"Tuesday 17 March 2026"},
		"/manager/r/cellar/m/w2?day=2026-03-18": {"Tuesday 17 March 2026"},
		"/manager/r/cellar/m/d3":                {"No cycle is on record yet", "not heard"},
		"/manager/r/cellar/m/w2/c/361":          {"06:30:00", "07:33:00", "07:34:50, 2 min after its end", "heating", "spin", "said then, median", "20 cycles before", "The cycle after", "/sheet?told="},
		"/manager/r/cellar/m/w2/c/359":          {"stopped early", "09:37:00"},
		"/manager/r/cellar/m/w2/c/359/sheet":    {"Alder Court", "somebody switched it off", "it reckons no refund", "A cycle is over"},
	} {
		status, html := managerOf(t, path)
		if status != http.StatusOK {
			t.Errorf("%s answers %d", path, status)
			continue
		}
		seen(t, path, html, want...)
		if strings.Contains(html, "style=") || strings.Contains(html, "NaN") || strings.Contains(html, "%!") {
			t.Errorf("%s has a style of its own, or something that is not written right", path)
		}
	}
}

// TestPhasesInTheirOrder: the table has them as they came, with times at the right.
func TestPhasesInTheirOrder(t *testing.T) {
	_, html := managerOf(t, "/manager/r/cellar/m/w2/c/361")
	wantInOrder(t, html, "<h2>Phases</h2>", ">In all</th>", "<span>filling</span>", "<span>heating</span>", `<td class="num">17 min</td>`, "<span>tumbling</span>", "<span>pause</span>", "<span>spin</span>")
}

// TestEnergyOfASilentDay: where no reading was heard, none is added up.
func TestEnergyOfASilentDay(t *testing.T) {
	for path, want := range map[string]bool{"/manager/r/cellar/m/w2": true, "/manager/r/cellar/m/d3": false} {
		if _, html := managerOf(t, path); strings.Contains(html, "kWh so far as the meter was heard") != want {
			t.Errorf("%s says what was heard: %v", path, !want)
		}
	}
}

// TestMachinesOfOneRoom: their names alone, where there is no other room to tell them from.
func TestMachinesOfOneRoom(t *testing.T) {
	for h, want := range map[*specimen.House]string{specimen.NewHouse(hashSecret): ">Washer 1, Attic</a>", specimen.NewCrowd(hashSecret): ">Washer 20</a>"} {
		s := newTestServer(t, h, withPast)
		w := get("/manager/use").as("", specimen.Secret(specimen.Manager)).of(s)
		if body := w.Body.String(); !strings.Contains(body, want) || !strings.Contains(body, `<table class="figures many">`) {
			t.Errorf("%d: the table of machines lacks %q", w.Code, want)
		}
	}
}

// TestPastPagesRefuse whoever is not the manager, and what is not there.
func TestPastPagesRefuse(t *testing.T) {
	s := specimenServer(t)
	for _, path := range []string{"/manager/r/cellar/m/w2", "/manager/r/cellar/m/w2/c/361", "/manager/r/cellar/m/w2/c/361/sheet", "/manager/use", "/manager/use.json", "/manager/use/week.csv"} {
		if w := get(path).as(specimen.Secret("ann"), "").of(s); w.Code != http.StatusForbidden {
			t.Errorf("%s answers a resident with %d", path, w.Code)
		}
	}
	for _, path := range []string{
		"/manager/r/cellar/m/nothing", "/manager/r/cellar/m/w2/c/0", "/manager/r/cellar/m/w2/c/x", "/manager/r/cellar/m/w2/c/99999", "/manager/r/cellar/m/w2/c/-1/sheet",
		"/manager/r/cellar/m/w2/c/99999?told=1", "/manager/use?of=garage", "/manager/use/nothing.csv", "/manager/use/week.exe", "/manager/use/..%2f..%2fetc%2fpasswd",
	} {
		if status, html := managerOf(t, path); status != http.StatusNotFound || strings.Contains(html, "panic") {
			t.Errorf("%s answers %d", path, status)
		}
	}
	none := newTestServer(t, specimen.NewHouse(hashSecret), nil)
	for _, path := range []string{"/manager/r/cellar/m/w2", "/manager/use"} {
		if w := get(path).as("", specimen.Secret(specimen.Manager)).of(none); w.Code != http.StatusNotFound {
			t.Errorf("%s without anything kept: %d", path, w.Code)
		}
	}
}

// TestCyclesArePaged: from page to page every cycle comes once, the newest first.
func TestCyclesArePaged(t *testing.T) {
	row, older := regexp.MustCompile(`/c/(\d+)\?told=\d+">(\d+)</a>`), regexp.MustCompile(`href="([^"]+before=[^"]+)#cycles"`)
	path, last, n := "/manager/r/cellar/m/w2", 363, 0
	for pages := 0; path != "" && pages < 30; pages++ {
		_, html := managerOf(t, path)
		for _, m := range row.FindAllStringSubmatch(html, -1) {
			var number int
			for _, r := range m[2] {
				number = 10*number + int(r-'0')
			}
			if number != last-1 {
				t.Fatalf("after cycle %d comes %d", last, number)
			}
			last, n = number, n+1
		}
		path = ""
		if m := older.FindStringSubmatch(html); m != nil {
			path = strings.ReplaceAll(m[1], "&amp;", "&")
		}
	}
	if n < 350 {
		t.Errorf("only %d cycles in all", n)
	}
}

// odd is a machine whose id must be escaped wherever it stands in an address.
const odd = `a/b "c" %3f ü`

// TestOddMachineNumbers: the links to a machine lead to it, whatever its id.
func TestOddMachineNumbers(t *testing.T) {
	room := smallRoom()
	room.Machines[0].ID = odd
	house := newFakeHouse(room)
	manager := house.enrol(coordinator.Person{ID: "boss", Manager: true})
	start := noon.Add(-3 * time.Hour)
	past := &onePast{facts: []coordinator.Fact{{
		At: start.Add(time.Hour), Kind: coordinator.FactCycle, Machine: odd, Cycle: 7, Start: start, End: start.Add(58 * time.Minute), EnergyWh: 700, Note: "presumed",
	}}}
	s := newTestServer(t, house, func(o *Options) { o.Past = past })
	path := "/manager" + machinePath(room.Room, odd)
	w := get(path).as("", manager).of(s)
	m := regexp.MustCompile(`href="([^"]+/c/7\?told=\d+)"`).FindStringSubmatch(w.Body.String())
	if w.Code != http.StatusOK || m == nil {
		t.Fatalf("%s answers %d and links to no cycle", path, w.Code)
	}
	w = get(strings.ReplaceAll(m[1], "&amp;", "&")).as("", manager).of(s)
	if w.Code != http.StatusOK || !strings.Contains(w.Body.String(), "The readings of this cycle are no longer kept") {
		t.Errorf("%s answers %d: %s", m[1], w.Code, w.Body)
	}
}

// onePast is a past of some facts and readings.
type onePast struct {
	facts    []coordinator.Fact
	readings []cycle.Reading
	broken   error
}

func (p *onePast) Facts(_ context.Context, _ coordinator.Unit, from, to time.Time, fn func(coordinator.Fact) bool) error {
	for _, f := range p.facts {
		if !f.At.Before(from) && f.At.Before(to) && !fn(f) {
			break
		}
	}
	return p.broken
}

func (p *onePast) Readings(_ context.Context, _ coordinator.Unit, m coordinator.MachineID, from, to time.Time, fn func(coordinator.MachineReading) bool) error {
	for _, r := range p.readings {
		if !r.At.Before(from) && r.At.Before(to) && !fn(coordinator.MachineReading{Machine: m, Reading: r}) {
			break
		}
	}
	return p.broken
}

func (p *onePast) Engine(s cycle.Settings) cycle.Engine      { return cycle.New(s) }
func (p *onePast) Meter(string) (m hindsight.Meter, ok bool) { return m, false }

// TestStoreThatFails: the page says that something went wrong, not that nothing happened.
func TestStoreThatFails(t *testing.T) {
	house := newFakeHouse(smallRoom())
	manager := house.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, house, func(o *Options) { o.Past = &onePast{broken: errors.New("no disk")} })
	for _, path := range []string{"/manager/r/attic/m/w1", "/manager/r/attic/m/w1/c/3"} {
		if w := get(path).as("", manager).of(s); w.Code != http.StatusInternalServerError || strings.Contains(w.Body.String(), "no disk") {
			t.Errorf("%s answers %d", path, w.Code)
		}
	}
}

// TestCurve, against energy worked by hand: 600 W for an hour are 0.6 kWh; a
// register counts through a hole of which the power is not known.
func TestCurve(t *testing.T) {
	m := machine("w1", 1, queue.Washer, coordinator.Free, 0)
	from := noon.Truncate(time.Hour)
	k := newCurve(&m, 10*time.Minute, from, from.Add(3*time.Hour), time.Hour)
	for min := -5; min < 180; min++ {
		if min >= 60 && min < 120 {
			continue
		}
		at := from.Add(time.Duration(min) * time.Minute)
		w := 600.0
		if min >= 120 {
			w = 1200
		}
		k.take(coordinator.MachineReading{Reading: cycle.Reading{At: at, Watts: w, Wh: 5000 + float64(min+5)*10}})
	}
	k.close(from.Add(3 * time.Hour))
	if got := k.kwh(); math.Abs(got-1.79) > 0.011 { // the register's 10 Wh a minute
		t.Errorf("%v kWh", got)
	}
	if len(k.power.Gaps()) != 1 {
		t.Errorf("gaps %v", k.power.Gaps())
	}
	if s := k.slots[0]; math.Abs(s.wh-590) > 11 || s.most != 600 || s.share(from.Add(time.Hour)) < 0.98 {
		t.Errorf("the first hour: %+v", s)
	}
	if s := k.slots[1]; s.heard != 0 || s.wh != 0 {
		t.Errorf("the hour that was not heard: %+v", s)
	}
	bare := newCurve(&m, 10*time.Minute, from, from.Add(time.Hour), time.Hour)
	for min := range 61 {
		bare.take(coordinator.MachineReading{Reading: cycle.Power(from.Add(time.Duration(min)*time.Minute), 600)})
	}
	if got := bare.kwh(); math.Abs(got-0.6) > 1e-9 {
		t.Errorf("600 W for an hour are %v kWh", got)
	}
}

func TestUsePage(t *testing.T) {
	for path, want := range map[string][]string{
		"/manager/use": {"Tuesday 17 February 2026 to Monday 16 March 2026", "The whole building", "chart-bar", "chart-shade-5", "EUR", "kWh standby", `value="cellar/w2"`,
			"/manager/use/periods.csv?by=day&amp;from=2026-02-17&amp;to=2026-03-16", "Washer 1, Attic"},
		"/manager/use?of=cellar&from=2025-03-17&to=2026-03-16&by=month":     {"Mar 2025", "Laundry room, cellar", "Washer 4"},
		"/manager/use?of=cellar%2Fw2&from=2026-03-01&to=2026-03-16&by=week": {"2 Mar – 8 Mar", "Washer 2, Laundry room, cellar", "Power, cycles and meter"},
		"/manager/use?from=2024-01-01&to=2026-03-16&by=day":                 {"more coarsely than was asked for"},
		"/manager/use?from=2020-01-01&to=2020-01-28":                        {"There are no figures for this time yet"},
		"/manager/use?from=x&to=9999-99-99&by=hour&of=%25zz":                {"Tuesday 17 February 2026 to Monday 16 March 2026"},
	} {
		status, html := managerOf(t, path)
		if status != http.StatusOK {
			t.Errorf("%s answers %d", path, status)
			continue
		}
		seen(t, path, html, want...)
		if strings.Contains(html, "style=") || strings.Contains(html, "NaN") || strings.Contains(html, "use.") && strings.Contains(html, ">use.") {
			t.Errorf("%s has a style of its own, or something that is not written right", path)
		}
	}
}

// TestReadUse: whatever the address says, the query is one that can be answered.
func TestReadUse(t *testing.T) {
	today := coordinator.Date{Year: 2026, Month: 3, Day: 17}
	for address, want := range map[string]string{
		"":                              "2026-02-17 2026-03-16 day",
		"from=2026-03-01&to=2026-03-05": "2026-03-01 2026-03-05 day",
		"from=2026-03-09&to=2026-03-05": "2026-02-06 2026-03-05 day",
		"to=2027-01-01":                 "2026-02-17 2026-03-16 day",
		"from=1900-01-01&by=month":      "2026-02-17 2026-03-16 month",
		"from=2025-03-16&to=2026-03-16": "2025-03-16 2026-03-16 week",
		"from=2010-03-16&to=2026-03-16": "2010-03-16 2026-03-16 month",
	} {
		v, err := url.ParseQuery(address)
		if err != nil {
			t.Fatal(err)
		}
		q := readUse(v, today)
		if got := q.From.String() + " " + q.To.String() + " " + string(q.By); got != want {
			t.Errorf("%q is %s, want %s", address, got, want)
		}
	}
	for _, of := range []usage.Scope{{}, {Room: "a/b c"}, {Room: "a%2f", Machine: odd}} {
		q := useQuery{Query: usage.Query{Scope: of}}
		u, err := url.Parse(q.link())
		if err != nil {
			t.Fatal(err)
		}
		if got := readUse(u.Query(), today).Scope; got != of {
			t.Errorf("%+v came back as %+v", of, got)
		}
	}
}

// TestUseFiles: each table as CSV (RFC 4180) and JSON, to be kept under a plain name.
func TestUseFiles(t *testing.T) {
	s := specimenServer(t)
	ask := func(path string) (*http.Response, string) {
		w := get(path).as("", specimen.Secret(specimen.Manager)).of(s)
		return w.Result(), w.Body.String()
	}
	for _, table := range []string{"periods", "rooms", "machines", "week"} {
		res, body := ask("/manager/use/" + table + ".csv")
		rows, err := csv.NewReader(strings.NewReader(body)).ReadAll()
		if err != nil || len(rows) < 3 || !strings.HasPrefix(res.Header.Get("Content-Type"), "text/csv") {
			t.Errorf("%s.csv: %d rows, %v, %v", table, len(rows), err, res.Header)
		}
		if got := res.Header.Get("Content-Disposition"); got != `attachment; filename="`+table+`-2026-02-17-2026-03-16.csv"` {
			t.Errorf("%s.csv is kept as %s", table, got)
		}
		_, body = ask("/manager/use/" + table + ".json")
		var out struct{ Name string }
		if err := json.Unmarshal([]byte(body), &out); err != nil || out.Name != table {
			t.Errorf("%s.json: %v", table, err)
		}
	}
	res, body := ask("/manager/use.json?of=cellar&by=week")
	var all struct {
		Room, By string
		Tables   []any
	}
	if err := json.Unmarshal([]byte(body), &all); err != nil || all.Room != "cellar" || all.By != "week" || len(all.Tables) < 3 || res.Header.Get("Cache-Control") != "no-store" {
		t.Errorf("%+v %v %v", all, err, res.Header)
	}
}

// TestPrice: what a cycle costs at the machine is told as it is.
func TestPrice(t *testing.T) {
	house := newFakeHouse(smallRoom())
	manager := house.enrol(coordinator.Person{ID: "boss", Manager: true})
	house.people.Tariffs = coordinator.Tariffs{{Version: 1, Tariff: coordinator.Tariff{Currency: "EUR", CyclePrices: []coordinator.CyclePrice{{Room: "attic", Machine: "w1", Micros: 1_500_000}}}}}
	start := noon.Add(-3 * time.Hour)
	s := newTestServer(t, house, func(o *Options) {
		o.Past = &onePast{facts: []coordinator.Fact{
			{At: start.Add(time.Hour), Kind: coordinator.FactCycle, Machine: "w1", Cycle: 1, Start: start, End: start.Add(55 * time.Minute), Note: "stopped_early"},
			{At: start.Add(time.Hour), Kind: coordinator.FactCycle, Machine: "d1", Cycle: 1, Start: start, End: start.Add(55 * time.Minute), Note: "finished"},
		}}
	})
	for machine, want := range map[string]bool{"w1": true, "d1": false} {
		html := get("/manager/r/attic/m/"+machine+"/c/1/sheet").as("", manager).of(s).Body.String()
		if got := strings.Contains(html, "1.50 EUR"); got != want {
			t.Errorf("%s: its price is told: %v, want %v", machine, got, want)
		}
	}
}
