package ui

import (
	"errors"
	"regexp"
	"strings"
	"testing"

	"drumturn/coordinator"
)

// village is an office with residents.
func village(t *testing.T) *office {
	o := openOffice(t, nil)
	for id, home := range map[coordinator.PersonID]string{"anna": "2", "ben2": "12", "cleo": "12"} {
		o.resident(id, coordinator.HomeIDFor(home))
		h := coordinator.HomeIDFor(home)
		o.people.Homes[h] = coordinator.Home{ID: h, Name: home, Code: "CODE-" + home}
	}
	anna := o.people.Persons["anna"]
	anna.Name = "Anna"
	o.people.Persons["anna"] = anna
	return o
}

// press presses a button of the page as Ada.
func (o *office) press(pairs ...string) int {
	o.Helper()
	return post("/manager/people", pairs...).as("", "secret-of-ada").of(o.Server).Code
}

func (o *office) listing(query string) string {
	return get("/manager/people"+query).as("", "secret-of-ada").of(o.Server).Body.String()
}

func TestPeopleIsForManagers(t *testing.T) {
	o := village(t)
	for _, path := range []string{"/manager/people", "/manager/people/codes"} {
		if w := get(path).as("secret-of-anna", "secret-of-anna").of(o.Server); w.Code != 303 || strings.Contains(w.Body.String(), "CODE-") {
			t.Errorf("a resident asks for %s: %d", path, w.Code)
		}
	}
	if w := post("/manager/people", "do", "forget", "id", "anna", "sure", "yes").as("secret-of-anna", "secret-of-anna").of(o.Server); w.Code != 403 {
		t.Errorf("a resident forgets: %d", w.Code)
	}
	if o.press("do", "dance") != 422 {
		t.Error("an unknown button is understood")
	}
}

// TestHomesAreListedAndFound: as people count, by the names of homes and of residents.
func TestHomesAreListedAndFound(t *testing.T) {
	o := village(t)
	page := o.listing("")
	two, twelve := strings.Index(page, "<h3>Home 2<"), strings.Index(page, "<h3>Home 12<")
	if two < 0 || twelve < two {
		t.Errorf("home 2 at %d, home 12 at %d", two, twelve)
	}
	for query, want := range map[string][2]bool{"?home=12": {false, true}, "?home=aNN": {true, false}, "?home=zzz": {}} {
		page := o.listing(query)
		if got := [2]bool{strings.Contains(page, "<h3>Home 2<"), strings.Contains(page, "<h3>Home 12<")}; got != want {
			t.Errorf("%s finds %v", query, got)
		}
	}
	// A home that is found alone is unfolded; several are not.
	if alone, several := strings.Count(o.listing("?home=12"), "<details open"), strings.Count(o.listing("?home=2"), "<details open"); alone != 1 || several != 0 {
		t.Errorf("%d homes are unfolded where one is found, %d where several are", alone, several)
	}
	for i := range 100 {
		id := coordinator.HomeID(strings.Repeat("x", i+1))
		o.people.Homes[id] = coordinator.Home{ID: id, Name: "home with a long name " + string(id)}
	}
	if page := o.listing(""); strings.Count(page, `value="move-out"`) != homesShown || !strings.Contains(page, "42 more homes") {
		t.Error("a large building is listed whole, or nothing says that it is not")
	}
}

// TestEachButtonDoesItsAct, and the page says what was done.
func TestEachButtonDoesItsAct(t *testing.T) {
	two, twelve := string(coordinator.HomeIDFor("2")), string(coordinator.HomeIDFor("12"))
	for name, c := range map[string]struct {
		form []string
		done func(*coordinator.People) bool
	}{
		"block":        {[]string{"do", "block", "id", "anna"}, func(p *coordinator.People) bool { return p.Persons["anna"].Blocked }},
		"block a home": {[]string{"do", "block-home", "id", twelve}, func(p *coordinator.People) bool { return p.MayTakeTurn("cleo", coordinator.HomeID(twelve)) != nil }},
		"merge":        {[]string{"do", "merge", "id", "anna", "into", "cleo"}, func(p *coordinator.People) bool { return p.Persons["anna"].ID == "" }},
		"merge homes":  {[]string{"do", "merge-homes", "id", two, "into", twelve}, func(p *coordinator.People) bool { return string(p.Persons["anna"].Home) == twelve }},
		"new code":     {[]string{"do", "home-code", "id", two}, func(p *coordinator.People) bool { return p.Homes[coordinator.HomeID(two)].Code != "CODE-2" }},
		"move out":     {[]string{"do", "move-out", "id", two, "sure", "yes"}, func(p *coordinator.People) bool { return p.Persons["anna"].ID == "" }},
		"forget":       {[]string{"do", "forget", "id", "anna", "sure", "yes"}, func(p *coordinator.People) bool { return p.Persons["anna"].ID == "" }},
		"add homes": {[]string{"do", "add", "names", "7\n\n 8 left \n"}, func(p *coordinator.People) bool {
			return p.Homes[coordinator.HomeIDFor("7")].Code != "" && p.Homes[coordinator.HomeIDFor("8 left")].Code != ""
		}},
		"invite": {[]string{"do", "invite", "room", "cellar", "most", "5", "until", noon.AddDate(0, 0, 3).Format("2006-01-02")}, func(p *coordinator.People) bool {
			inv := p.Invitations["cellar"]
			return inv.Code != "tidewater" && inv.Most == 5 && inv.Expires.In(zone).Format("2006-01-02 15:04") == noon.AddDate(0, 0, 4).In(zone).Format("2006-01-02")+" 00:00"
		}},
		"invite anybody": {[]string{"do", "invite", "room", "cellar"}, func(p *coordinator.People) bool {
			inv := p.Invitations["cellar"]
			return inv.Code != "tidewater" && inv.Most == 0 && inv.Expires.IsZero()
		}},
		"guests": {[]string{"do", "guests", "room", "cellar", "home", two, "most", "2", "until", noon.AddDate(0, 0, 3).Format("2006-01-02")}, func(p *coordinator.People) bool { return len(p.Guests) == 1 }},
	} {
		o := village(t)
		w := post("/manager/people", c.form...).as("", "secret-of-ada").of(o.Server)
		if w.Code != 303 || !c.done(o.People()) {
			t.Errorf("%s: %d %s", name, w.Code, said(w.Body.Bytes()))
			continue
		}
		if page := get(w.Header().Get("Location")).as("", "secret-of-ada").of(o.Server).Body.String(); !strings.Contains(page, `class="thanks"`) {
			t.Errorf("%s: the page says nothing", name)
		}
	}
}

func TestPeopleRefusals(t *testing.T) {
	o := village(t)
	for _, c := range []struct {
		want int
		form []string
	}{
		{422, []string{"do", "forget", "id", "anna"}},
		{422, []string{"do", "move-out", "id", string(coordinator.HomeIDFor("2"))}},
		{422, []string{"do", "invite", "room", "cellar", "most", "many"}},
		{422, []string{"do", "invite", "room", "cellar", "until", "tomorrow"}},
		{422, []string{"do", "invite", "room", "cellar", "until", "2020-01-01"}},
		{404, []string{"do", "invite", "room", "nowhere"}},
		{404, []string{"do", "guests", "room", "nowhere", "most", "1", "until", "2030-01-01"}},
		{422, []string{"do", "guests", "room", "cellar", "home", string(coordinator.HomeIDFor("2")), "most", "1"}},
		{422, []string{"do", "add", "names", " \n"}},
		{422, []string{"do", "add", "names", strings.Repeat("x\n", mostHomesAdded+1)}},
		{422, []string{"do", "merge", "id", "anna", "into", "anna"}},
		{403, []string{"do", "block", "id", "ben"}},
		{404, []string{"do", "home-code", "id", "nowhere"}},
	} {
		if got := o.press(c.form...); got != c.want {
			t.Errorf("%v: %d, want %d", c.form, got, c.want)
		}
	}
	if len(o.People().Persons) != 5 || o.People().Invitations["cellar"].Code != "tidewater" {
		t.Error("a refusal changed something")
	}
}

// TestATurnForSomebody: no phone, no session, a word; and a home that is new.
func TestATurnForSomebody(t *testing.T) {
	o := village(t)
	o.react = joinReacts
	sessions := len(o.people.Sessions)
	for _, c := range [][2]string{{string(coordinator.HomeIDFor("2")), ""}, {"", " 44  left"}} {
		w := post("/manager/people", "do", "turn", "room", "cellar", "home", c[0], "new-home", c[1], "need", "wash").as("", "secret-of-ada").of(o.Server)
		if w.Code != 200 || !strings.Contains(w.Body.String(), "is called by") {
			t.Fatalf("%v: %d %s", c, w.Code, said(w.Body.Bytes()))
		}
	}
	told := o.fakeHouse.events()
	first, second := told[0].(coordinator.Join), told[1].(coordinator.Join)
	if first.By != "ada" || first.Home != coordinator.HomeIDFor("2") || first.Person != "wall-"+coordinator.PersonID(first.Home) {
		t.Errorf("told %+v", first)
	}
	if h := o.People().Homes[second.Home]; h.Name != "44 left" || h.Code == "" {
		t.Errorf("the new home is %+v", h)
	}
	if len(o.People().Sessions) != sessions {
		t.Error("somebody without a phone is signed in somewhere")
	}
	if got := o.press("do", "turn", "room", "cellar", "need", "wash"); got != 422 {
		t.Errorf("for no home: %d", got)
	}
	if got := o.press("do", "turn", "room", "cellar", "new-home", "3", "need", "iron"); got != 422 {
		t.Errorf("to iron: %d", got)
	}
	o.refuse = errors.New("disk")
	if got := o.press("do", "turn", "room", "cellar", "new-home", "3", "need", "wash"); got != 500 {
		t.Errorf("a store that fails: %d", got)
	}
}

// TestHomesOpenOrCodes: a button of the house rules.
func TestHomesOpenOrCodes(t *testing.T) {
	o := village(t)
	o.press("do", "codes", "room", "cellar")
	o.press("do", "open", "room", "cellar")
	told := o.fakeHouse.events()
	if len(told) != 2 || told[0] != (coordinator.OpenHomes{Person: "ada", On: false}) || told[1] != (coordinator.OpenHomes{Person: "ada", On: true}) {
		t.Errorf("told %+v", told)
	}
}

// TestHomeCodesOnPaper: each home's own, and how many have none.
func TestHomeCodesOnPaper(t *testing.T) {
	o := village(t)
	o.people.Homes["h9"] = coordinator.Home{ID: "h9", Name: "9"}
	page := get("/manager/people/codes").as("", "secret-of-ada").of(o.Server)
	body := page.Body.String()
	slips := regexp.MustCompile(`(?s)<h2>Home (\w+)</h2>.*?class="code">([\w-]+)<`).FindAllStringSubmatch(body, -1)
	if len(slips) != 2 || slips[0][2] != "CODE-2" || slips[1][2] != "CODE-12" || !strings.Contains(body, "1 home has no code") {
		t.Errorf("%q", slips)
	}
	if page.Header().Get("Cache-Control") != "no-store" {
		t.Error("the codes may be kept by the browser")
	}
}

// TestGuestsJoin by their code, without naming a home; nobody can try codes at the
// page without limit.
func TestGuestsJoin(t *testing.T) {
	o := village(t)
	two := coordinator.HomeIDFor("2")
	o.people.Guests = map[string]coordinator.GuestInvitation{"g": {ID: "g", Room: "cellar", Home: two, Code: "GUES-T234", Until: noon.AddDate(0, 0, 2), Most: 1}}
	const asks = "guests of a home"
	page := func(code string) string { return get("/r/cellar/join?code=" + code).of(o.Server).Body.String() }
	if got := page("guest234"); !strings.Contains(got, asks) || strings.Contains(got, `name="home"`) {
		t.Error("a guest is asked for a home")
	}
	if strings.Contains(page("tidewater"), asks) {
		t.Error("a resident is taken for a guest")
	}
	w, cookies := o.enter(post("/r/cellar/join", "code", "gues-t234", "name", "Gus"))
	if w.Code != 303 || cookies["__Host-drumturn"] == "" {
		t.Fatalf("joining: %d %s", w.Code, said(w.Body.Bytes()))
	}
	if w, _ := o.enter(post("/r/cellar/join", "code", "gues-t234")); w.Code != 403 {
		t.Errorf("a second guest on a code for one: %d", w.Code)
	}
	for range 100 {
		page("guess")
	}
	if strings.Contains(page("guest234"), asks) {
		t.Error("a hundred codes can be tried at the page")
	}
	if page := o.listing(""); !strings.Contains(page, "Gus") || !strings.Contains(page, "guest until") {
		t.Error("the guest is not on the page")
	}
}
