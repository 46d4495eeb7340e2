package ui

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
	"drumturn/ui/specimen"
)

// What a resident with a basket in the arm reads at a glance must be so.

// specimenPages are the pages of the invented building, without a browser.
func specimenPages(t *testing.T) *Server {
	t.Helper()
	return newTestServer(t, specimen.NewHouse(hashSecret), func(o *Options) { o.Letters = specimen.Letters{} })
}

// TestClosedIsSaidFirst: whoever stands before a free machine that may not be
// started now reads so above the rows; otherwise the hours stand below them.
func TestClosedIsSaidFirst(t *testing.T) {
	snap := smallRoom()
	for i := range snap.Rules.Hours {
		snap.Rules.Hours[i] = queue.Day{Opens: 8 * 60, LastStart: 13 * 60, EndedBy: queue.NoClock}
	}
	sc := testScene(t, snap)
	for _, c := range []struct {
		hour int
		shut bool
	}{{7, true}, {9, false}, {12, false}, {13, true}, {22, true}} {
		now := time.Date(2026, 3, 17, c.hour, 30, 0, 0, zone)
		sc := drawScene(sc.views, snap, now)
		head, foot := string(sc.head), string(sc.foot)
		if got := strings.Contains(head, "No machine may be started now."); got != c.shut {
			t.Errorf("at %d:30 it is said to be closed: %v\n%s", c.hour, got, head)
		}
		const hours = "Open from 08:00, last start 13:00."
		if strings.Contains(head, hours) != c.shut || strings.Contains(foot, hours) == c.shut {
			t.Errorf("at %d:30 the hours stand in both, or in the wrong place:\n%s\n%s", c.hour, head, foot)
		}
	}
}

// TestTheListOfRoomsKnowsWhatIsClosed: no machine is free where none may be started.
func TestTheListOfRoomsKnowsWhatIsClosed(t *testing.T) {
	page := get("/").of(specimenPages(t)).Body.String()
	_, closed, found := strings.Cut(page, ">Garden house<")
	if !found {
		t.Fatal("the closed room is not in the list")
	}
	closed, _, _ = strings.Cut(closed, "</li>")
	if !strings.Contains(closed, "No machine may be started now.") || strings.Contains(closed, " free") {
		t.Errorf("the closed room: %s", closed)
	}
	if n := strings.Count(page, "No machine may be started now."); n != 1 {
		t.Errorf("%d rooms are closed, want 1", n)
	}
	if strings.Contains(get("/r/shut").as("secret-of-zed", "").of(specimenPages(t)).Body.String(), "at once") {
		t.Error("a turn in a closed room is said to come at once")
	}
}

// TestAMachineAsksWhatFits: a free machine does not ask whose load is in it, one out of
// service offers no turn, and one with a load does not ask whether one wants one.
func TestAMachineAsksWhatFits(t *testing.T) {
	const mine, turn, point = "Is it your load?", "Want a turn?", "Standing before it?"
	s := specimenPages(t)
	for _, c := range []struct {
		path        string
		has, hasNot []string
	}{
		{"/r/cellar/m/w1?code=printed-w1", []string{turn}, []string{mine, point}},
		{"/r/cellar/m/w1", []string{turn}, []string{mine, point}},
		{"/r/cellar/m/w2", []string{mine}, []string{turn, point}},
		{"/r/cellar/m/w4", []string{mine, point}, []string{turn}},
		{"/r/cellar/m/w4?code=printed-w4", []string{mine}, []string{turn, point}},
		{"/r/cellar/m/d4", nil, []string{mine, turn, point}},
	} {
		w := get(c.path).of(s)
		if w.Code != http.StatusOK {
			t.Fatalf("%s: %d", c.path, w.Code)
		}
		page := w.Body.String()
		for _, text := range c.has {
			if !strings.Contains(page, text) {
				t.Errorf("%s does not say %q", c.path, text)
			}
		}
		for _, text := range c.hasNot {
			if strings.Contains(page, text) {
				t.Errorf("%s says %q", c.path, text)
			}
		}
	}
	if page := get("/r/cellar/m/w2").as("secret-of-ann", "").of(s).Body.String(); strings.Contains(page, mine) || strings.Contains(page, turn) {
		t.Error("a resident is asked what only strangers are")
	}
}

// TestTheMainActComesFirst: where a machine's page has an act that stands out, it
// is the first one.
func TestTheMainActComesFirst(t *testing.T) {
	s := specimenPages(t)
	for path, who := range map[string]string{"/r/cellar/m/d1": "zed", "/r/cellar/m/w4": "bob"} {
		_, acts, _ := strings.Cut(get(path).as("secret-of-"+who, "").of(s).Body.String(), `class="acts wide"`)
		acts, _, _ = strings.Cut(acts, "</div>")
		main, first := strings.Index(acts, `<button class="main"`), strings.Index(acts, "<button")
		if main < 0 || main != first {
			t.Errorf("%s: the main act is at %d, the first at %d", path, main, first)
		}
	}
}

// TestYouAreNotSomebody: who is on the way is told so once; the others read that
// somebody is.
func TestYouAreNotSomebody(t *testing.T) {
	s := specimenPages(t)
	row := func(who string) string {
		_, rows, _ := strings.Cut(get("/r/loft").as(who, "").of(s).Body.String(), `class="row is-held`)
		rows, _, _ = strings.Cut(rows, "</li>")
		return rows
	}
	if own := row("secret-of-gil"); !strings.Contains(own, "held for you") || strings.Contains(own, "somebody") {
		t.Errorf("their own row: %s", own)
	}
	if others := row("secret-of-zed"); !strings.Contains(others, "somebody is on the way") {
		t.Errorf("the others': %s", others)
	}
	// The next one on the way to a machine with the reader's load in it is somebody else.
	lang := words.English()
	tell := teller{now: noon, zone: zone, lang: lang, own: true}
	m := coordinator.MachineView{Status: coordinator.Overdue, Load: &coordinator.Load{}, Hold: &coordinator.Hold{OnWay: true}}
	if got := tell.detail(&m); !strings.Contains(got, "somebody is on the way") {
		t.Errorf("whose load is inside reads %q", got)
	}
}

// TestGuestsAreNotToldOfTrust: their code is checked.
func TestGuestsAreNotToldOfTrust(t *testing.T) {
	s := specimenPages(t)
	const trust = "Nobody checks this"
	if page := get("/r/cellar/join?code=GUES-T234").of(s).Body.String(); strings.Contains(page, trust) || !strings.Contains(page, "guests of a home") {
		t.Error("guests are told that nobody checks")
	}
	if page := get("/r/cellar/join?code=tidewater").of(s).Body.String(); !strings.Contains(page, trust) {
		t.Error("residents who name their home are not told that nobody checks")
	}
}

// TestNoPageIsADeadEnd: where there is nothing more to do there is a way on.
func TestNoPageIsADeadEnd(t *testing.T) {
	s := specimenPages(t)
	for _, path := range []string{"/mail/off?of=used", "/nothing", "/me"} {
		_, main, _ := strings.Cut(get(path).of(s).Body.String(), "<main")
		main, _, _ = strings.Cut(main, "</main>")
		if !strings.Contains(main, `href="/"`) {
			t.Errorf("%s leads nowhere: %s", path, main)
		}
	}
}

// TestFrenchKeepsItsColonApart: a space stands before a colon and a
// semicolon (Imprimerie nationale, Lexique des règles typographiques; from
// memory), in what templates string together as well.
func TestFrenchKeepsItsColonApart(t *testing.T) {
	house := specimen.NewHouse(hashSecret)
	s := newTestServer(t, house, nil)
	a := get("/manager/tokens").as("", specimen.Secret(specimen.Manager))
	a.header = http.Header{"Accept-Language": {"fr"}}
	page := said(a.of(s).Body.Bytes())
	if !strings.Contains(page, "Créé : ") || strings.Contains(page, "Créé: ") {
		t.Errorf("the page of programs: %.600s", page)
	}
	for _, l := range words.All() {
		if got, want := l.Say("list.colon"), strings.Replace(l.Say("list.semicolon"), ";", ":", 1); l.Code() != "ar" && got != want {
			t.Errorf("%s: a colon is %q where a semicolon is %q", l.Code(), got, l.Say("list.semicolon"))
		}
	}
}
