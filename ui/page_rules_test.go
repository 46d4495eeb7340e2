package ui

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// rulesForm is the form of rules as a browser sends it unchanged.
func rulesForm(r *coordinator.Rules) url.Values {
	v := url.Values{}
	for _, s := range settingsOf(r) {
		switch in := inputOf(words.English(), &s); in.Kind {
		case "truth":
			if in.Value == "true" {
				v.Set(in.Name, "yes")
			}
		default:
			v.Set(in.Name, in.Value)
		}
	}
	return v
}

// rulesDesk is the manager before a room's rules.
type rulesDesk struct {
	h    *fakeHouse
	s    *Server
	room *coordinator.Snapshot
}

func newRulesDesk(t *testing.T, change func(*coordinator.Snapshot)) *rulesDesk {
	room := fullRoom()
	if change != nil {
		change(room)
	}
	h := newFakeHouse(room)
	h.enrol(coordinator.Person{ID: "boss", Name: "Boss", Manager: true})
	return &rulesDesk{h, newTestServer(t, h, nil), room}
}

func (d *rulesDesk) get(path string) *httptest.ResponseRecorder {
	return get(path).as("", "secret-of-boss").of(d.s)
}

// send posts the form with some fields typed over.
func (d *rulesDesk) send(over ...string) *httptest.ResponseRecorder {
	v := rulesForm(&d.room.Rules)
	for i := 0; i < len(over); i += 2 {
		v.Set(over[i], over[i+1])
	}
	a := ask{method: http.MethodPost, path: "/manager/r/cellar/rules", form: v}
	return a.as("", "secret-of-boss").of(d.s)
}

func TestRulesAreLookedAtFirst(t *testing.T) {
	d := newRulesDesk(t, nil)
	page := d.get("/manager/r/cellar/rules")
	if page.Code != 200 || !strings.Contains(page.Body.String(), `name="hold" value="10"`) {
		t.Fatalf("%d %s", page.Code, page.Body)
	}
	w := d.send("do", "look", "hold", "12,0", "hours.sunday.closed", "yes", "ladder[4].after", "45")
	body := w.Body.String()
	for _, want := range []string{"A called machine is kept for: 10 min, then", "12 min", "Sunday: closed: no, then", "Step 4, after: none, then", `name="hold" value="12"`, `value="keep"`} {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if len(d.h.events()) != 0 {
		t.Errorf("looking did %v", d.h.events())
	}
}

func TestRulesAreKept(t *testing.T) {
	d := newRulesDesk(t, func(room *coordinator.Snapshot) { room.RulesVersion = 3 })
	w := d.send("do", "keep", "version", "3", "hold", "12", "text", "  Clean the lint\r\n screen. ", "open_homes", "yes")
	if w.Code != 303 {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	set, ok := d.h.events()[0].(coordinator.SetRules)
	if !ok || set.Rules.Hold != 12*time.Minute || set.Rules.Text != "Clean the lint screen." || set.Version != 3 || set.Person == "" {
		t.Errorf("did %+v", d.h.events())
	}
}

// TestUnchangedRules: the form as it is shown changes nothing.
func TestUnchangedRules(t *testing.T) {
	d := newRulesDesk(t, func(room *coordinator.Snapshot) { room.Rules.LongerHoldHomes = []coordinator.HomeID{"h12"} })
	w := d.send("do", "look")
	if !strings.Contains(w.Body.String(), "Nothing: these rules are in force.") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}

// TestWrongRules: what is wrong stands beside the rule, what was typed stays, and nothing is done.
func TestWrongRules(t *testing.T) {
	for _, c := range []struct{ field, value, want string }{
		{"hold", "ten", "no length of time"},
		{"hold", "-5", "no length of time"},
		{"turns_per_home", "0", "a home could never take a turn"},
		{"ladder[2].after", "8", "step"},
		{"hours.monday.opens", "25:00", "no time of day"},
		{"night_to", "", "the night has a beginning but no end"},
		{"call_uncollected_after", "1", "before the grace"},
	} {
		d := newRulesDesk(t, nil)
		w := d.send("do", "keep", c.field, c.value)
		body := w.Body.String()
		if w.Code != 422 || !strings.Contains(body, c.want) || !strings.Contains(body, `aria-invalid="true"`) || len(d.h.events()) != 0 {
			t.Errorf("%s = %q: %d, %v, %v, %v", c.field, c.value, w.Code, d.h.events(), strings.Contains(body, c.want), regexp.MustCompile("<p class=.wrong.>.*?</p>").FindAllString(body, -1))
		}
		if c.value != "" && !strings.Contains(body, ` value="`+c.value+`"`) {
			t.Errorf("%s = %q is not in the form any more", c.field, c.value)
		}
	}
}

// TestOldRules: an older version can be seen, and put into force again.
func TestOldRules(t *testing.T) {
	d := newRulesDesk(t, func(room *coordinator.Snapshot) {
		old := room.Rules
		old.Hold = 25 * time.Minute
		room.RulesVersion = 2
		room.Versions = []coordinator.RulesVersion{{Version: 1, Rules: old}, {Version: 2, At: room.At, Person: "boss", Rules: room.Rules}}
	})
	body := d.get("/manager/r/cellar/rules?version=1").Body.String()
	for _, want := range []string{`name="hold" value="25"`, "This is version 1", `name="version" value="2"`, "25 min, then"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if w := d.get("/manager/r/cellar/rules?version=9"); w.Code != 404 {
		t.Errorf("a version that never was: %d", w.Code)
	}
}

// TestRulesFile is read by nobody but the manager.
func TestRulesFile(t *testing.T) {
	d := newRulesDesk(t, nil)
	w := d.get("/manager/r/cellar/rules.toml")
	if w.Code != 200 || !strings.HasPrefix(w.Body.String(), "[rules]\nhold = \"10m\"\n") || w.Header().Get("Content-Disposition") == "" {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	for _, path := range []string{"/manager/r/cellar/rules", "/manager/r/cellar/rules.toml"} {
		if w := get(path).of(d.s); w.Code == 200 && strings.Contains(w.Body.String(), "hold") {
			t.Errorf("%s is shown to strangers", path)
		}
	}
}

// TestHouseText stands on the room's page, as text.
func TestHouseText(t *testing.T) {
	d := newRulesDesk(t, func(room *coordinator.Snapshot) { room.Rules.Text = "No <b>dye</b>, please." })
	body := get("/r/cellar").of(d.s).Body.String()
	if !strings.Contains(body, "From the house") || !strings.Contains(body, "No &lt;b&gt;dye&lt;/b&gt;, please.") {
		t.Error("the room's page does not say what the house says")
	}
}

// TestRulesHaveWords: every rule has a name in the catalogue.
func TestRulesHaveWords(t *testing.T) {
	en, r := words.English(), coordinator.DefaultRules()
	for _, s := range r.Settings() {
		if label := ruleLabel(en, s.Path); strings.HasPrefix(label, "rule") || label == "" {
			t.Errorf("%s is called %q", s.Path, label)
		}
		for _, choice := range s.Choices {
			if !en.Has("rule-choice." + choice) {
				t.Errorf("the choice %q has no words", choice)
			}
		}
	}
	seen := map[string]bool{"longer_hold_homes": true}
	for _, g := range ruleGroups {
		for _, p := range g.paths {
			seen[p] = true
		}
	}
	for _, s := range r.Settings() {
		if !strings.ContainsAny(s.Path, "[.") && !seen[s.Path] {
			t.Errorf("%s is not in the form", s.Path)
		}
	}
}
