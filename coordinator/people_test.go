package coordinator

import (
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"
)

// town is a building's people under test, with the store that a restart reads.
type town struct {
	*testing.T
	people *People
	rows   map[[2]string]Row
	now    time.Time
	last   ChangeSet // of the last event
}

func newTown(t *testing.T) *town {
	p, err := RestorePeople(Stored{})
	if err != nil {
		t.Fatal(err)
	}
	w := &town{T: t, people: p, rows: map[[2]string]Row{}, now: noon}
	w.do(SetInvitation{Room: "cellar", Code: "K7QM-2XRT"})
	return w
}

func (w *town) try(ev PeopleEvent) error {
	w.Helper()
	before := w.people
	next, set, err := w.people.Step(w.now, ev)
	if err != nil && next != before {
		w.Fatal("a refusal changed the people")
	}
	w.right(before, next, set)
	w.last = set
	for _, row := range set.Rows {
		w.rows[[2]string{row.Table, row.Key}] = row
		if row.Value == nil {
			delete(w.rows, [2]string{row.Table, row.Key})
		}
	}
	w.people = next
	return err
}

// right checks what holds of every step: one that changes something is of the
// building, follows the step before it and carries its instant; another is nothing.
func (w *town) right(before, next *People, set ChangeSet) {
	w.Helper()
	if !set.Moves() {
		if next != before || set.Unit != "" || set.Expect != 0 || !set.At.IsZero() {
			w.Fatalf("nothing changed, and the step gives %+v", set)
		}
		return
	}
	if set.Unit != Building || set.Expect != before.Seq || next.Seq != before.Seq+1 || !set.At.Equal(w.now) {
		w.Fatalf("after step %d comes %d, as %+v", before.Seq, next.Seq, set)
	}
	for _, f := range set.Facts {
		if !f.At.Equal(w.now) {
			w.Fatalf("a fact of %v at %v", w.now, f.At)
		}
	}
}

func (w *town) do(ev PeopleEvent) {
	w.Helper()
	if err := w.try(ev); err != nil {
		w.Fatalf("%T: %v", ev, err)
	}
}

func (w *town) refused(ev PeopleEvent, key string) {
	w.Helper()
	var refusal *Error
	if err := w.try(ev); !errors.As(err, &refusal) || refusal.Key != key {
		w.Fatalf("%T was answered %v, want a refusal %q", ev, err, key)
	}
	if want, known := codeOf[key]; !known || refusal.Code != want {
		w.Fatalf("%T is refused as %q with the code %d, want %d", ev, key, refusal.Code, want)
	}
}

// reload checks that what was stored reads as what is in memory.
func (w *town) reload() {
	w.Helper()
	stored := Stored{Seq: w.people.Seq}
	for _, row := range w.rows {
		stored.Rows = append(stored.Rows, row)
	}
	again, err := RestorePeople(stored)
	if err != nil {
		w.Fatal(err)
	}
	if !reflect.DeepEqual(again, w.people) {
		w.Fatalf("stored: %+v\nin memory: %+v", again, w.people)
	}
}

func (w *town) joinAs(id PersonID, home string) {
	w.Helper()
	w.do(JoinBuilding{
		Room: "cellar", Code: "k7qm2xrt", HomeName: home, Open: true, NewID: id,
		SessionHash: "session of " + string(id), Expires: w.now.Add(time.Hour),
	})
}

func TestJoinBuilding(t *testing.T) {
	w := newTown(t)
	join := JoinBuilding{Room: "cellar", Code: "wrong", HomeName: "12", Open: true, NewID: "anna", SessionHash: "s", Expires: w.now.Add(time.Hour)}
	w.refused(join, "join.code")
	join.Room, join.Code = "attic", "K7QM-2XRT"
	w.refused(join, "join.code")
	join.Room, join.HomeName = "cellar", "  "
	w.refused(join, "join.home")
	join.HomeName, join.Name = "12", string(make([]byte, 100))
	w.refused(join, "join.name")
	w.joinAs("anna", " 12 ")
	w.joinAs("flatmate", "12")
	w.joinAs("ben", "13")
	if a, b := w.people.Persons["anna"].Home, w.people.Persons["flatmate"].Home; a != b {
		t.Fatalf("two of home 12 are of homes %q and %q", a, b)
	}
	if len(w.people.Homes) != 2 {
		t.Fatalf("%d homes, want 2", len(w.people.Homes))
	}
	w.reload()
}

func TestClosedHomesNeedTheirCode(t *testing.T) {
	w := newTown(t)
	w.do(JoinBuilding{Room: "cellar", Code: "K7QM2XRT", HomeName: "12", Open: true, NewID: "anna", NewHomeCode: "ABCD", SessionHash: "s1", Expires: w.now.Add(time.Hour)})
	closed := JoinBuilding{Room: "cellar", Code: "K7QM2XRT", HomeName: "12", NewID: "eve", SessionHash: "s2", Expires: w.now.Add(time.Hour)}
	w.refused(closed, "join.home-code")
	closed.HomeCode = "ab-cd"
	w.do(closed)
	if w.people.Persons["eve"].Home != HomeIDFor("12") {
		t.Fatalf("eve is of home %q", w.people.Persons["eve"].Home)
	}
}

// TestHomeIDFollowsName: however a home is spelt, it is one home.
func TestHomeIDFollowsName(t *testing.T) {
	if HomeIDFor(" 2nd  Floor ") != HomeIDFor("2nd floor") || HomeIDFor("1") == HomeIDFor("2") {
		t.Fatal("the id of a home does not follow its name")
	}
	if strings.Contains(string(HomeIDFor("Plover Yard")), "inden") {
		t.Fatal("the id tells the name")
	}
}

func TestEmptyCodesMatchNothing(t *testing.T) {
	if SameCode("", "") || SameCode("--", "") {
		t.Fatal("an empty code is taken for a code")
	}
	if !SameCode("ab-12", "AB 12") {
		t.Fatal("spelling matters")
	}
}

func TestSessions(t *testing.T) {
	w := newTown(t)
	w.joinAs("anna", "12")
	if _, ok := w.people.SessionPerson("session of anna", w.now); !ok {
		t.Fatal("the session is not known")
	}
	if _, ok := w.people.SessionPerson("session of anna", w.now.Add(time.Hour)); ok {
		t.Fatal("the session outlives its time")
	}
	w.now = w.now.Add(2 * time.Hour)
	w.joinAs("ben", "13")
	if len(w.people.Sessions) != 1 {
		t.Fatalf("%d sessions are kept, want ben's", len(w.people.Sessions))
	}
	w.do(SignOut{SessionHash: "session of ben"})
	w.do(SignOut{SessionHash: "session of nobody"})
	if len(w.people.Sessions) != 0 {
		t.Fatal("a session outlives the sign-out")
	}
	w.reload()
}

func TestDevices(t *testing.T) {
	w := newTown(t)
	w.refused(Subscribe{Subscription: Subscription{ID: "d", Person: "nobody"}}, "subscribe.stranger")
	w.joinAs("anna", "12")
	w.joinAs("ben", "13")
	for i := range devicesPerPerson + 1 {
		w.now = w.now.Add(time.Second)
		w.do(Subscribe{Subscription: Subscription{ID: string(rune('a' + i)), Person: "anna", Endpoint: "https://push.example/x"}})
	}
	if _, oldest := w.people.Subscriptions["a"]; oldest || len(w.people.Devices("anna")) != devicesPerPerson {
		t.Fatalf("%d devices are kept, the oldest among them: %v", len(w.people.Devices("anna")), oldest)
	}
	w.do(Unsubscribe{Person: "ben", ID: "b"})
	if _, kept := w.people.Subscriptions["b"]; !kept {
		t.Fatal("ben removed anna's device")
	}
	w.do(Unsubscribe{ID: "b"}) // the push service says it is gone
	w.do(Unsubscribe{ID: "b"})
	if _, kept := w.people.Subscriptions["b"]; kept {
		t.Fatal("a gone device is kept")
	}
	w.do(Subscribe{Subscription: Subscription{ID: "c", Person: "ben"}})
	if w.people.Subscriptions["c"].Person != "ben" {
		t.Fatal("a device does not follow who uses it")
	}
	w.reload()
}

func TestForget(t *testing.T) {
	w := newTown(t)
	w.joinAs("anna", "12")
	w.joinAs("ben", "13")
	w.do(Subscribe{Subscription: Subscription{ID: "d", Person: "anna"}})
	w.do(Forget{Person: "anna"})
	w.do(Forget{Person: "anna"})
	if len(w.people.Persons) != 1 || len(w.people.Sessions) != 1 || len(w.people.Subscriptions) != 0 {
		t.Fatalf("left: %d persons, %d sessions, %d devices", len(w.people.Persons), len(w.people.Sessions), len(w.people.Subscriptions))
	}
	w.reload()
}

func TestLanguageAndTariff(t *testing.T) {
	w := newTown(t)
	w.refused(SetLanguage{Person: "nobody", Lang: "de"}, "person.unknown")
	w.joinAs("anna", "12")
	w.do(SetLanguage{Person: "anna", Lang: "de"})
	w.do(SetTariff{Tariff: Tariff{Currency: "EUR", MicrosPerKWh: 320_000}})
	w.do(SetTariff{Tariff: Tariff{Currency: "EUR", MicrosPerKWh: 350_000, From: Date{2027, 1, 1}}})
	w.refused(SetTariff{Tariff: Tariff{Currency: "euro"}}, "tariff.invalid")
	if w.people.Persons["anna"].Lang != "de" || len(w.people.Tariffs) != 2 || w.people.Tariffs[1].Version != 2 || !w.people.Tariffs[1].Set.Equal(w.now) {
		t.Fatalf("language %q, tariffs %+v", w.people.Persons["anna"].Lang, w.people.Tariffs)
	}
	w.reload()
	w.refused(nil, "people.event-unknown")
}

// TestPeopleAreImmutable: readers of an older People see no later change.
func TestPeopleAreImmutable(t *testing.T) {
	w := newTown(t)
	before := w.people
	w.joinAs("anna", "12")
	if len(before.Persons) != 0 || len(before.Sessions) != 0 || len(before.Homes) != 0 {
		t.Fatalf("an older People changed: %+v", before)
	}
}

// TestTariffOfOld: a building that was stored when only the tariff set last was
// kept goes on with it, and counts on from its version.
func TestTariffOfOld(t *testing.T) {
	p, err := RestorePeople(Stored{Seq: 1, Rows: []Row{{Table: "tariff", Key: "energy", Value: []byte(`{"Tariff":{"Currency":"CHF","MicrosPerKWh":270000},"Version":3}`)}}})
	if err != nil {
		t.Fatal(err)
	}
	next, set, err := p.Step(noon, SetTariff{Tariff: Tariff{Currency: "CHF", MicrosPerKWh: 280_000}})
	if err != nil {
		t.Fatal(err)
	}
	again, err := RestorePeople(Stored{Seq: 2, Rows: append([]Row{{Table: "tariff", Key: "energy", Value: []byte(`{"Tariff":{"Currency":"CHF","MicrosPerKWh":270000},"Version":3}`)}}, set.Rows...)})
	if err != nil || !reflect.DeepEqual(again.Tariffs, next.Tariffs) || len(again.Tariffs) != 2 || again.Tariffs[0].Version != 3 || again.Tariffs[1].Version != 4 {
		t.Errorf("%+v, %v", again.Tariffs, err)
	}
}
