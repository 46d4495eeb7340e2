package ui

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"

	"pgregory.net/rapid"
)

func testScene(t *testing.T, snap *coordinator.Snapshot) *scene {
	t.Helper()
	return newTestServer(t, newFakeHouse(snap), nil).scenes.get(snap.Room, words.English())
}

var tags = regexp.MustCompile(`<[^>]*>`)

// said is what a page says without its drawings.
func said(html []byte) string {
	return strings.Join(strings.Fields(tags.ReplaceAllString(string(html), " ")), " ")
}

// TestTheBoardSaysEveryStatusInWords, so that nothing hangs on shape or colour.
func TestTheBoardSaysEveryStatusInWords(t *testing.T) {
	text := said(testScene(t, fullRoom()).public)
	for _, want := range []string{
		"Washer 1 7 kg accessible free since 13:22",
		"Washer 2 8 kg running since 13:10; done 14:21, between 14:15 and 14:33",
		"Washer 3 7 kg held since 13:45, until 13:55",
		"Washer 4 7 kg overdue ready since 13:05, not collected",
		"Dryer 1 7 kg finished ready since 13:39; nobody has said whose it is",
		"Dryer 2 7 kg upper running since 13:27; done about 14:42",
		"Dryer 3 7 kg unknown meter silent since 13:32",
		"Dryer 4 7 kg out of service since Mon 11:47; drum belt is worn",
		"3 turns wait: 2 for a washer, 1 for a dryer.",
		"for a washer about 15:23, between 14:57 and 16:07",
		"As of 13:47.",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the board does not say %q:\n%s", want, text)
		}
	}
}

// TestNobodyIsNamed: neighbours see that a machine is taken, never by whom.
func TestNobodyIsNamed(t *testing.T) {
	h := newFakeHouse(fullRoom())
	for _, p := range []coordinator.PersonID{"ann", "bob", "cat", "dan", "eve", "fay"} {
		h.enrol(coordinator.Person{ID: p, Home: "hx-" + coordinator.HomeID(p), Name: "Name-of-" + string(p)})
	}
	s := newTestServer(t, h, nil)
	for _, path := range []string{"/", "/r/cellar", "/r/cellar/wall?key=wallkey", "/r/cellar/m/w2", "/r/cellar/m/w4"} {
		page := get(path).as("secret-of-eve", "").of(s).Body.String()
		for _, secret := range []string{"Name-of-", "hx-", `"ann"`, `"bob"`, ">ann<", ">bob<"} {
			if strings.Contains(page, secret) {
				t.Errorf("%s shows %q", path, secret)
			}
		}
	}
}

func order(board []byte) []string {
	var out []string
	for _, m := range regexp.MustCompile(`class="who">(?:<a[^>]*>|<span class="name">)([^<]+)`).FindAllSubmatch(board, -1) {
		out = append(out, string(m[1]))
	}
	return out
}

// TestTheOrderHelpsTheReader: mine first, then free, then soonest free.
func TestTheOrderHelpsTheReader(t *testing.T) {
	sc := testScene(t, fullRoom())
	public := []string{"Washer 1", "Washer 4", "Dryer 1", "Washer 3", "Washer 2", "Dryer 2", "Dryer 3", "Dryer 4"}
	if got := order(sc.public); !slices.Equal(got, public) {
		t.Errorf("public order %v", got)
	}
	ann := ownershipOf(sc.snap, &coordinator.Person{ID: "ann", Home: "h12"})
	if got := order(sc.board(ann)); got[0] != "Washer 2" || len(got) != 8 {
		t.Errorf("ann's order %v", got)
	}
	fay := ownershipOf(sc.snap, &coordinator.Person{ID: "fay", Home: "h8"})
	if got := order(sc.board(fay)); got[0] != "Your turn" || got[1] != "Washer 1" || len(got) != 9 {
		t.Errorf("fay's order %v", got)
	}
	cat := ownershipOf(sc.snap, &coordinator.Person{ID: "cat", Home: "h5"})
	board := sc.board(cat)
	if got := order(board); got[0] != "Washer 3" {
		t.Errorf("cat's order %v", got)
	}
	if !strings.Contains(said(board), "held for you") || strings.Contains(said(sc.public), "held for you") {
		t.Error("the hold is not told apart for the called and for others")
	}
}

// TestAHomeSharesItsLoads: members of a home act for each other.
func TestAHomeSharesItsLoads(t *testing.T) {
	sc := testScene(t, fullRoom())
	other := ownershipOf(sc.snap, &coordinator.Person{ID: "zed", Home: "h12"})
	v := sc.mine(other)
	if v == nil || len(v.Loads) != 1 || !v.Loads[0].Shared || v.Loads[0].CanNotMe {
		t.Fatalf("%+v", v)
	}
	if ownershipOf(sc.snap, &coordinator.Person{ID: "zed", Home: "h99"}) != nil {
		t.Error("a stranger has a share")
	}
	if ownershipOf(sc.snap, &coordinator.Person{ID: "zed"}) != nil {
		t.Error("somebody without a home has a share in unclaimed loads")
	}
}

func TestMyTurnAndMyLoad(t *testing.T) {
	sc := testScene(t, fullRoom())
	of := func(p coordinator.PersonID) *mineView {
		return sc.mine(ownershipOf(sc.snap, &coordinator.Person{ID: p}))
	}
	if v := of("dan").Turns[0]; v.Place != "1st in the queue for a washer" || !v.HasBehind || v.Called || v.When != "about 14:23, between 14:16 and 14:45" {
		t.Errorf("dan: %+v", v)
	}
	if v := of("fay").Turns[0]; v.Place != "2nd in the queue for a washer" || v.HasBehind {
		t.Errorf("fay: %+v", v)
	}
	if v := of("cat").Turns[0]; !v.Called || v.Machine != "Washer 3" || v.Until != "13:55" || !v.HasBehind {
		t.Errorf("cat: %+v", v)
	}
	if v := of("bob").Loads[0]; v.SomebodyWaits == "" || !v.Late || !v.Ready {
		t.Errorf("bob: %+v", v)
	}
	if v := of("ann").Loads[0]; !v.CanNotMe || v.Ready || v.SomebodyWaits != "" {
		t.Errorf("ann: %+v", v)
	}
	if got := of("cat").Say; got != "It is your turn: Washer 3 is held for you until 13:55." {
		t.Errorf("%q", got)
	}
}

// TestAPutOffTurn says until when, instead of a forecast.
func TestAPutOffTurn(t *testing.T) {
	room := fullRoom()
	room.Turns[1].NotBefore = in(60)
	sc := testScene(t, room)
	dan := ownershipOf(sc.snap, &coordinator.Person{ID: "dan"})
	if got := said(sc.board(dan)); !strings.Contains(got, "not before 14:47, as you asked") {
		t.Error(got)
	}
}

func TestSupplyInterruption(t *testing.T) {
	room := fullRoom()
	room.SupplySince = in(-4)
	if got := said(testScene(t, room).public); !strings.Contains(got, "The power supply was interrupted at 13:43.") {
		t.Error(got)
	}
}

// TestPositions: marks lie where their instants are on the two-hour axis.
func TestPositions(t *testing.T) {
	a := newAxis(teller{now: noon, zone: zone, lang: words.English()})
	for minutes, want := range map[int]pct{-5: 0, 0: 0, 12: 10, 60: 50, 120: 100, 500: 100} {
		if got := a.at(in(minutes)); got != want {
			t.Errorf("%d minutes: %v, want %v", minutes, got, want)
		}
	}
	running := fullRoom().Machines[1]
	marks := fmt.Sprint(a.machine(&running))
	// 28 of 120 minutes are 23.33 %, 46 are 38.33 %, 34 are 28.33 %.
	for _, want := range []string{"{bar 0% 23.33% }", "{fade 23.33% 15% }", "{median 28.33% 0% }", "{label 38.33% 0% 14:21}"} {
		if !strings.Contains(marks, want) {
			t.Errorf("marks %s lack %s", marks, want)
		}
	}
}

func TestTicksAreLocalHalfHours(t *testing.T) {
	kathmandu := time.FixedZone("UTC+5:45", 5*3600+45*60)
	now := time.Date(2026, 3, 17, 8, 20, 0, 0, time.UTC) // 14:05 there
	var labels []string
	for _, tick := range newAxis(teller{now: now, zone: kathmandu, lang: words.English()}).Ticks {
		labels = append(labels, tick.Label)
	}
	if want := []string{"14:30", "15:00", "15:30", "16:00"}; !slices.Equal(labels, want) {
		t.Errorf("%v, want %v", labels, want)
	}
	var near []string
	for _, tick := range newAxis(teller{now: noon, zone: zone, lang: words.English()}).Ticks {
		near = append(near, tick.Label+fmt.Sprint(tick.Near))
	}
	if want := []string{"14:00true", "14:30false", "15:00false", "15:30false"}; !slices.Equal(near, want) {
		t.Errorf("%v, want %v", near, want)
	}
}

// TestTicksKeepClearOfNow: "maintenant" takes as much of the axis as "now" and the
// hour after it; on a wide page it stands alone.
func TestTicksKeepClearOfNow(t *testing.T) {
	for code, want := range map[string]string{"en": "14:00", "de": "14:00", "es": "14:00", "ar": "14:00", "fr": ""} {
		lang := words.For(code)
		if got := newAxis(teller{now: noon, zone: zone, lang: lang}).Ticks[0].Label; got != want {
			t.Errorf("%s: %q behind %q, want %q", code, got, lang.Say("mark.now"), want)
		}
	}
}

// TestTicksAcrossTheChangeOfTime: the axis shows the clock that hangs in the
// room. In Berlin's zone 2026-03-29 goes from 02:00 to 03:00 (EU rule: last
// Sunday of March, 01:00 UTC; Directive 2000/84/EC).
func TestTicksAcrossTheChangeOfTime(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skip("no time zone data here")
	}
	now := time.Date(2026, 3, 29, 0, 50, 0, 0, time.UTC) // 01:50 there
	var labels []string
	for _, tick := range newAxis(teller{now: now, zone: berlin, lang: words.English()}).Ticks {
		labels = append(labels, tick.Label)
	}
	// 03:00 is ten minutes away; 8.3 % is too near the word "now" on a phone.
	if want := []string{"03:00", "03:30", "04:00", "04:30"}; !slices.Equal(labels, want) {
		t.Errorf("%v, want %v", labels, want)
	}
}

// TestMarksStayOnTheAxis draws machines in any state: no mark leaves the
// drawing, and every status has a word.
func TestMarksStayOnTheAxis(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := newAxis(teller{now: noon, zone: zone, lang: words.English()})
		at := func(label string) time.Time {
			if rapid.Bool().Draw(t, label+" known") {
				return in(rapid.IntRange(-3000, 3000).Draw(t, label))
			}
			return time.Time{}
		}
		m := machine("m", 1, queue.Kind(rapid.IntRange(1, 3).Draw(t, "kind")), coordinator.Status(rapid.IntRange(1, 7).Draw(t, "status")), 0)
		m.Since, m.Until, m.Low, m.High = at("since"), at("until"), at("low"), at("high")
		m.About, m.AnyMinute, m.Stalled = rapid.Bool().Draw(t, "about"), rapid.Bool().Draw(t, "any"), rapid.Bool().Draw(t, "stalled")
		if rapid.Bool().Draw(t, "load") {
			m.Load = &coordinator.Load{ReadyAt: at("ready")}
		}
		if rapid.Bool().Draw(t, "hold") {
			m.Hold = &coordinator.Hold{Until: at("lapse")}
		}
		for _, s := range a.machine(&m) {
			if s.X < 0 || s.W < 0 || s.X > 100 || s.X+s.W > 101 {
				t.Fatalf("%v leaves the axis", s)
			}
		}
		r := machineRow(&coordinator.Snapshot{Room: "r"}, a, &m, rapid.Bool().Draw(t, "own"))
		if r.Word == "" || r.Word == "?" {
			t.Fatalf("status %v has no word", m.Status)
		}
	})
}

func TestTheNotchGrows(t *testing.T) {
	last := pct(0)
	for _, waited := range []time.Duration{-time.Minute, time.Minute, 10 * time.Minute, time.Hour, 12 * time.Hour} {
		w := notchWidth(waited)
		if w <= last && waited > 0 || w > 25 {
			t.Errorf("after %v: %v, before %v", waited, w, last)
		}
		last = w
	}
}

// TestTheWallCallsByWord: the called turn's word, its machine, and no person.
func TestTheWallCallsByWord(t *testing.T) {
	text := said(testScene(t, fullRoom()).wall())
	if want := callWord(5) + " to Washer 3, held until 13:55"; !strings.Contains(text, want) {
		t.Errorf("the wall does not say %q: %s", want, text)
	}
	if got := said(testScene(t, smallRoom()).wall()); !strings.Contains(got, "Nobody is being called.") {
		t.Error(got)
	}
}

// TestScenesAreShared: as long as snapshot and minute are the same, nothing is
// drawn again.
func TestScenesAreShared(t *testing.T) {
	h := newFakeHouse(fullRoom())
	s := newTestServer(t, h, nil)
	first := s.scenes.get("cellar", words.English())
	if s.scenes.get("cellar", words.English()) != first {
		t.Error("drawn twice")
	}
	h.now = noon.Add(time.Minute)
	second := s.scenes.get("cellar", words.English())
	if second == first || second.id == first.id {
		t.Error("the board stands still although a minute passed")
	}
	h.change("cellar", func(s *coordinator.Snapshot) {})
	if s.scenes.get("cellar", words.English()) == second {
		t.Error("the board stands still although the room changed")
	}
}

// TestFreeCounts reads the building's list.
func TestFreeCounts(t *testing.T) {
	s := newTestServer(t, newFakeHouse(fullRoom(), smallRoom()), nil)
	text := said(get("/").of(s).Body.Bytes())
	for _, want := range []string{"1 of 4 washers free", "0 of 4 dryers free", "1 of 1 washer free"} {
		if !strings.Contains(text, want) {
			t.Errorf("the list lacks %q", want)
		}
	}
}

func TestFormsOfferWhatTheRoomHas(t *testing.T) {
	full, small := takeForm(testScene(t, fullRoom())), takeForm(testScene(t, smallRoom()))
	if !full.Accessible || !full.Lower || !full.DryAfter || fmt.Sprint(full.Sizes) != "[7 8]" || len(full.Needs) != 2 {
		t.Errorf("%+v", full)
	}
	if small.Accessible || small.Lower || small.Sizes != nil {
		t.Errorf("%+v", small)
	}
	both := smallRoom()
	both.Machines[0].Kind = queue.WasherDryer
	if got := takeForm(testScene(t, both)); len(got.Needs) != 3 {
		t.Errorf("%+v", got.Needs)
	}
}

func BenchmarkDrawScene(b *testing.B) {
	snap := fullRoom()
	for i := range 12 {
		snap.Machines = append(snap.Machines, machine("x"+strconv.Itoa(i), 10+i, queue.Washer, coordinator.Free, -i))
	}
	s, err := New(testOptions(newFakeHouse(snap)))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		drawScene(s.tongues[words.English()], snap, noon)
	}
}

func BenchmarkPersonalUpdate(b *testing.B) {
	s, err := New(testOptions(newFakeHouse(fullRoom())))
	if err != nil {
		b.Fatal(err)
	}
	sc := s.scenes.get("cellar", words.English())
	fay := &coordinator.Person{ID: "fay"}
	for b.Loop() {
		own := ownershipOf(sc.snap, fay)
		_ = sc.board(own)
		_ = s.minePanel(sc, own, nil)
	}
}

func BenchmarkRoomPage(b *testing.B) {
	s, err := New(testOptions(newFakeHouse(fullRoom())))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if w := get("/r/cellar").of(s); w.Code != 200 {
			b.Fatal(w.Code)
		}
	}
}
