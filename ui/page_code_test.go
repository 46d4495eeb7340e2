package ui

import (
	"context"
	"encoding/json"
	"net/http"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/ui/specimen"
)

// cookieOf is the resident's secret that an answer sets.
func cookieOf(h http.Header) string {
	r := http.Response{Header: h}
	for _, c := range r.Cookies() {
		if c.Name == "__Host-drumturn" {
			return c.Value
		}
	}
	return ""
}

// TestASecondPhone: a code made on one browser opens another, once, by forms alone.
func TestASecondPhone(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.resident("dan", "h6")
	s := newTestServer(t, h, nil)
	page := post("/me/code").as("secret-of-dan", "").of(s).Body.String()
	code := regexp.MustCompile(`<strong class="code">([A-Z2-9-]{9})</strong></p><p class="quiet">It works once`).FindStringSubmatch(page)
	if code == nil || !strings.Contains(page, "<svg") {
		t.Fatalf("no code on the page: %s", page)
	}
	w := post("/code", "code", strings.ToLower(strings.ReplaceAll(code[1], "-", " "))).of(s)
	secret := cookieOf(w.Header())
	if w.Code != http.StatusSeeOther || secret == "" {
		t.Fatalf("%d: the other phone is not let in", w.Code)
	}
	if room := get("/r/cellar").as(secret, "").of(s).Body.String(); !strings.Contains(room, "in the queue for") {
		t.Error("the turn did not come along")
	}
	if w := post("/code", "code", code[1]).of(s); w.Code != http.StatusForbidden {
		t.Errorf("the code works twice: %d", w.Code)
	}
	if w := post("/me/sign-out-others").as(secret, "").of(s); w.Code != http.StatusSeeOther {
		t.Error(w.Code)
	}
	if strings.Contains(get("/me").as("secret-of-dan", "").of(s).Body.String(), "My data") {
		t.Error("the first phone is still known")
	}
}

// TestALostPhone: the home's code leads back; with several in the home one is asked who.
func TestALostPhone(t *testing.T) {
	h := newFakeHouse(closedRoom())
	h.resident("dan", "h6")
	h.people.Homes["h6"] = coordinator.Home{ID: "h6", Name: "12", Code: "HOME-6666"}
	s := newTestServer(t, h, nil)
	if w := post("/code", "code", "home6666").of(s); w.Code != http.StatusSeeOther || cookieOf(w.Header()) == "" {
		t.Errorf("alone in the home: %d", w.Code)
	}
	h.enrol(coordinator.Person{ID: "eve", Home: "h6", Name: "Evening", Joined: noon})
	h.people.Homes["h6"] = coordinator.Home{ID: "h6", Name: "12", Code: "HOME-6666"}
	h.enrol(coordinator.Person{ID: "zed", Home: "h9", Name: "Stranger"})
	page := post("/code", "code", "HOME-6666").of(s).Body.String()
	if !strings.Contains(page, "Evening") || !strings.Contains(page, "Secretname") || strings.Contains(page, "Stranger") {
		t.Errorf("to choose from: %s", page)
	}
	w := post("/code", "code", "HOME-6666", "person", "eve").of(s)
	if p, ok := h.People().SessionPerson(hashSecret(cookieOf(w.Header())), noon); !ok || p.ID != "eve" {
		t.Errorf("it is %q", p.ID)
	}
	for _, wrong := range [][]string{{"code", "HOME-6666", "person", "zed"}, {"code", "HOME-7777"}, {"code", "HOME-7777", "person", "eve"}} {
		if w := post("/code", wrong...).of(s); w.Code != http.StatusForbidden || cookieOf(w.Header()) != "" {
			t.Errorf("%v: %d", wrong, w.Code)
		}
	}
}

// closedRoom is one whose homes were given codes on paper.
func closedRoom() *coordinator.Snapshot {
	room := fullRoom()
	room.Rules.OpenHomes = false
	return room
}

// TestAnOpenHomesCodeOpensNothing: whoever says that they live in home 12 is
// believed where homes are open, also in another room of the building. They must
// not become anybody who joined before, nor learn who that is.
func TestAnOpenHomesCodeOpensNothing(t *testing.T) {
	for _, rooms := range [][]*coordinator.Snapshot{{fullRoom()}, {closedRoom(), smallRoom()}} {
		h := newFakeHouse(rooms...)
		h.enrol(coordinator.Person{ID: "dan", Home: "h6", Name: "Evening", Joined: noon})
		h.enrol(coordinator.Person{ID: "eve", Home: "h6", Name: "Morning", Joined: noon})
		h.people.Homes["h6"] = coordinator.Home{ID: "h6", Name: "12", Code: "HOME-6666"}
		s := newTestServer(t, h, nil)
		for _, person := range []string{"", "dan"} {
			w := post("/code", "code", "HOME-6666", "person", person).of(s)
			if page := w.Body.String(); w.Code != http.StatusForbidden || cookieOf(w.Header()) != "" || strings.Contains(page, "Evening") || !strings.Contains(page, "does not show who you are") {
				t.Errorf("%d rooms, %q: %d: %s", len(rooms), person, w.Code, said(w.Body.Bytes()))
			}
		}
		if page := get("/me").as("secret-of-dan", "").of(s).Body.String(); strings.Contains(page, "HOME-6666") {
			t.Error("a code that opens nothing is shown")
		}
		if page := get("/code").of(s).Body.String(); strings.Contains(page, "the code of your home") {
			t.Error("the code of a home is asked for")
		}
	}
	s := newTestServer(t, newFakeHouse(closedRoom()), nil)
	if page := get("/code").of(s).Body.String(); !strings.Contains(page, "the code of your home") {
		t.Error("where homes have codes on paper, nobody is told that one can be used")
	}
}

// TestACodeRunsOut after its quarter of an hour.
func TestACodeRunsOut(t *testing.T) {
	p := &coordinator.People{Persons: map[coordinator.PersonID]coordinator.Person{"dan": {ID: "dan"}}}
	p, _, err := p.Step(noon, coordinator.OfferPass{Person: "dan", Hash: passHash("ABCD-2345"), Expires: noon.Add(passFor)})
	if err != nil {
		t.Fatal(err)
	}
	use := coordinator.UsePass{Hash: passHash("abcd2345"), SessionHash: "x", Expires: noon.Add(time.Hour)}
	if _, _, err := p.Step(noon.Add(passFor-1), use); err != nil {
		t.Error(err)
	}
	if _, _, err := p.Step(noon.Add(passFor), use); err == nil {
		t.Error("it holds for ever")
	}
}

// TestMyData: everything of one's own, and nothing of anybody else.
func TestMyData(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.resident("ann", "h12")
	h.resident("fay", "h8")
	room := h.Snapshot("cellar")
	for i := range room.Machines {
		if l := room.Machines[i].Load; l != nil && l.Owner == "bob" {
			l.Shared = []coordinator.Sharer{{Person: "ann", Home: "h12"}}
		}
	}
	room.Table = []coordinator.TableLoad{
		{Load: 1, Machine: "w1", Owner: "ann", Home: "h12", At: specimen.In(-90)}, {Load: 2, Machine: "w9", Owner: "ann", Home: "h12", At: specimen.In(-80)},
		{Load: 3, Machine: "w1", Owner: "fay", Home: "h8", At: specimen.In(-70)}, {Load: 4, Machine: "w1", At: specimen.In(-60)},
	}
	h.people.Subscriptions["d"] = coordinator.Subscription{ID: "d", Person: "ann", Endpoint: "https://push.example/ann", Made: noon}
	s := newTestServer(t, h, nil)
	s.o.History = historyOfAnn
	w := get("/me/data.json").as("secret-of-ann", "").of(s)
	var d personData
	if err := json.Unmarshal(w.Body.Bytes(), &d); err != nil {
		t.Fatal(err)
	}
	if d.Name != "Secretname" || len(d.Loads) != 1 || d.Loads[0].Machine != "Washer 2" || len(d.Turns) != 0 || len(d.Browsers) != 1 || !d.Browsers[0].This {
		t.Errorf("%+v", d)
	}
	if len(d.Devices) != 1 || d.Devices[0].Service != "push.example" || len(d.History) != 1 || d.History[0].What != "claimed" {
		t.Errorf("%+v %+v", d.Devices, d.History)
	}
	if len(d.Shared) != 1 || d.Shared[0].Machine != "Washer 4" || !d.Shared[0].Ready.Equal(specimen.In(-42)) {
		t.Errorf("shared loads: %+v", d.Shared)
	}
	for i := range d.Table {
		d.Table[i].Since = d.Table[i].Since.UTC()
	}
	if want := []tableData{{"Laundry room, cellar", "Washer 1", specimen.In(-90).UTC()}, {"Laundry room, cellar", "w9", specimen.In(-80).UTC()}}; !reflect.DeepEqual(d.Table, want) {
		t.Errorf("on the table: %+v, want %+v", d.Table, want)
	}
	if !strings.HasPrefix(w.Header().Get("Content-Disposition"), "attachment") || w.Header().Get("Cache-Control") != "no-store" {
		t.Errorf("%v", w.Header())
	}
	if w := get("/me/data.json").of(s); w.Code != http.StatusForbidden {
		t.Errorf("a stranger gets %d", w.Code)
	}
}

func historyOfAnn(_ context.Context, p coordinator.PersonID) ([]RoomFact, error) {
	return []RoomFact{{"cellar", coordinator.Fact{At: noon, Kind: coordinator.FactClaimed, Machine: "w2", Person: p}}}, nil
}
