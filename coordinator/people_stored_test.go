package coordinator

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
	"time"
)

// TestStoredNamesOfPeople: as TestStoredNames, of what the building stores.
func TestStoredNamesOfPeople(t *testing.T) {
	const at = `"2026-06-10T12:00:00Z"`
	for _, c := range []struct {
		v    any
		want string
	}{
		{Person{ID: "p", Former: []PersonID{"o"}, Home: "h", Name: "Anna", Manager: true, Lang: "de", Joined: noon, TellForHome: true, Off: []NoticeKind{LoadNudge},
			Quiet: Quiet{1320, 420}, MutedUntil: noon, Mail: Mail{Address: "a@example.org", Since: noon, Also: true, Off: "off", Asked: MailAsked{"b@example.org", "h", noon}}, Blocked: true, Guest: noon},
			`{"ID":"p","Former":["o"],"Home":"h","Name":"Anna","Manager":true,"Lang":"de","Joined":` + at + `,"TellForHome":true,"Off":["load-nudge"],` +
				`"Quiet":{"From":1320,"To":420},"MutedUntil":` + at + `,"Mail":{"Address":"a@example.org","Since":` + at + `,"Also":true,"Off":"off",` +
				`"Asked":{"Address":"b@example.org","Hash":"h","Expires":` + at + `}},"Blocked":true,"Guest":` + at + `}`},
		{Person{ID: "p", Joined: noon}, `{"ID":"p","Joined":` + at + `}`},
		{Home{ID: "h", Name: "12", Code: "C", Joined: noon, Also: []string{"twelve"}, Blocked: true}, `{"ID":"h","Name":"12","Code":"C","Joined":` + at + `,"Also":["twelve"],"Blocked":true}`},
		{Session{Hash: "s", Person: "p", Made: noon, Expires: noon, Idle: 1, Seen: noon, Device: "d", Where: "w"},
			`{"Hash":"s","Person":"p","Made":` + at + `,"Expires":` + at + `,"Idle":1,"Seen":` + at + `,"Device":"d","Where":"w"}`},
		{Invitation{Room: "r", Code: "C", Made: noon, Most: 3, Used: 1, Expires: noon}, `{"Room":"r","Code":"C","Made":` + at + `,"Most":3,"Used":1,"Expires":` + at + `}`},
		{GuestInvitation{ID: "g", Room: "r", Home: "h", Code: "C", Made: noon, Until: noon, Most: 2, Used: 1},
			`{"ID":"g","Room":"r","Home":"h","Code":"C","Made":` + at + `,"Until":` + at + `,"Most":2,"Used":1}`},
		{MachineCode{Place: Place{"r", "w1"}, Code: "C", Made: noon}, `{"Room":"r","Machine":"w1","Code":"C","Made":` + at + `}`},
		{Pass{"h", "p", noon, noon}, `{"Hash":"h","Person":"p","Made":` + at + `,"Expires":` + at + `}`},
		{WayIn{Person: "p", Passphrase: "$", Handle: "h", Keys: []Passkey{{ID: "k", Name: "n", Made: noon, Used: noon, Record: []byte("{}"), Suspect: true}}, Known: []KnownBrowser{{"b", noon}}},
			`{"Person":"p","Passphrase":"$","Handle":"h","Keys":[{"ID":"k","Name":"n","Made":` + at + `,"Used":` + at + `,"Record":"e30=","Suspect":true}],"Known":[{"Hash":"b","Made":` + at + `}]}`},
		{ManagerInvite{"h", "p", "n", noon, noon}, `{"Hash":"h","By":"p","Name":"n","Made":` + at + `,"Expires":` + at + `}`},
		{Departure{ID: "1", Person: "p", Home: "h", Into: "q", IntoHome: "i", TurnsOnly: true, Erase: []PersonID{"p"}},
			`{"ID":"1","Person":"p","Home":"h","Into":"q","IntoHome":"i","TurnsOnly":true,"Erase":["p"]}`},
		{Subscription{"d", "p", "https://push.example/1", "k", "a", noon}, `{"ID":"d","Person":"p","Endpoint":"https://push.example/1","P256dh":"k","Auth":"a","Made":` + at + `}`},
		{Token{"t", "n", "h", []TokenScope{ScopeStatus}, noon, noon}, `{"ID":"t","Name":"n","Hash":"h","Scopes":["status"],"Made":` + at + `,"Used":` + at + `}`},
		{Webhook{"w", "https://one.example", "s", []FactKind{FactCycle}, noon}, `{"ID":"w","URL":"https://one.example","Secret":"s","Kinds":["cycle"],"Made":` + at + `}`},
		{HookState{ID: "w", After: map[RoomID]FactID{"r": {noon, 7}}, Fails: 1, NextAt: noon, Ended: true, Calls: []HookCall{{noon, "r", FactID{noon, 7}, FactCycle, HookGivenUp, 500, "e", 2}}},
			`{"ID":"w","After":{"r":"1781092800000000000-7"},"Fails":1,"NextAt":` + at + `,"Ended":true,"Calls":[{"At":` + at + `,"Room":"r","Event":"1781092800000000000-7","Kind":"cycle","Outcome":"given-up","Status":500,"Error":"e","Tries":2}]}`},
		{TariffVersion{2, noon, Tariff{From: Date{2026, 1, 31}, Currency: "EUR", MicrosPerKWh: 1, StandingMicros: 2, StandingPer: PerYear, Rounding: HalfEven, CyclePrices: []CyclePrice{{"r", "w1", 3}}}},
			`{"Version":2,"Set":` + at + `,"Tariff":{"From":"2026-01-31","Currency":"EUR","MicrosPerKWh":1,"StandingMicros":2,"StandingPer":"year","Rounding":"half-even","CyclePrices":[{"Room":"r","Machine":"w1","Micros":3}]}}`},
		{managerRow{FirstToken: "t", NoticesSeen: noon}, `{"FirstToken":"t","NoticesSeen":` + at + `}`},
	} {
		got, err := json.Marshal(c.v)
		if err != nil || string(got) != c.want {
			t.Errorf("%T is stored as\n%s, want\n%s (%v)", c.v, got, c.want, err)
		}
	}
}

// storedPeople is what a store has of a building in which everything was done once.
func storedPeople(t *testing.T) *town {
	w := settled(t)
	later := noon.Add(time.Hour)
	for _, ev := range []PeopleEvent{
		Subscribe{Subscription: Subscription{ID: "d", Person: "bob"}}, OfferPass{Person: "anna", Hash: "p", Expires: later}, Block{Person: "anna", On: true},
		InviteGuests{ID: "g", Room: "cellar", Home: HomeIDFor("12"), Code: "G", Most: 2, Until: later}, SetMachineCode{Room: "cellar", Machine: "w1", Code: "C"},
		MakeToken{Token: Token{Name: "n", Hash: longText(64), Scopes: []TokenScope{ScopeUse}}}, AddWebhook{Webhook: Webhook{ID: "w", Secret: "s", URL: "https://one.example"}},
		MoveWebhook{State: HookState{ID: "w", Fails: 1}}, SetTariff{Tariff: Tariff{Currency: "EUR"}}, InviteManager{By: "boss", Hash: "i", Name: "Cleo", Expires: later},
	} {
		w.do(ev)
	}
	w.reload()
	return w
}

// TestEveryTableOfPeople: a building in which everything was done has a row in each of
// the tables, and one that does not read is an error which names it.
func TestEveryTableOfPeople(t *testing.T) {
	keys := map[string]string{
		"person": "anna", "home": string(HomeIDFor("12")), "session": "m1", "invitation": "cellar", "subscription": "d", "pass": "p", "machine-code": "cellar/w1",
		"tariff": "000001", "token": longText(16), "webhook": "w", "webhook-state": "w", "manager": "way-in", "way-in": "boss", "manager-invite": "i", "guest-invitation": "g", "departure": "",
	}
	w := storedPeople(t)
	for table, key := range keys {
		found := false
		for at := range w.rows {
			found = found || at[0] == table && (at[1] == key || key == "")
		}
		if !found {
			t.Errorf("nothing is stored as %s %q", table, key)
		}
		for _, text := range []string{`"?"`, `{"`, ""} {
			_, err := RestorePeople(Stored{Rows: []Row{{Table: table, Key: "k 1", Value: []byte(text)}}})
			if err == nil || !strings.Contains(err.Error(), table+` "k 1"`) {
				t.Errorf("%s that is %q: %v, want an error that names it", table, text, err)
			}
		}
	}
	for at := range w.rows {
		if _, known := keys[at[0]]; !known {
			t.Errorf("%s is stored, and not in this test", at[0])
		}
	}
	if p, err := RestorePeople(Stored{Seq: 3, Rows: []Row{{Table: "of a later edition", Key: "k", Value: []byte("?")}}}); err != nil || p.Seq != 3 {
		t.Errorf("a table that is not known: %v", err)
	}
}

// TestAManagerWithoutAWayInIsNone: a record of a manager whose way in is not there, or
// the other way round, lets nobody do anything.
func TestAManagerWithoutAWayInIsNone(t *testing.T) {
	for name, rows := range map[string][]Row{
		"no way in":           {{"person", "x", []byte(`{"ID":"x","Manager":true}`)}},
		"no person":           {{"way-in", "x", []byte(`{"Person":"x","Passphrase":"$"}`)}},
		"a resident":          {{"person", "x", []byte(`{"ID":"x"}`)}, {"way-in", "x", []byte(`{"Person":"x","Passphrase":"$"}`)}},
		"the passphrase only": {{"manager", "way-in", []byte(`{"Passphrase":"$"}`)}},
	} {
		people, err := RestorePeople(Stored{Rows: rows})
		if err != nil {
			t.Fatal(err)
		}
		w := &town{T: t, people: people, rows: map[[2]string]Row{}, now: noon}
		w.refused(RenameManager{By: "x", Name: "X"}, "manager.unknown")
		w.refused(SignInManager{Person: "x", NewSession: w.session("s")}, "manager.unknown")
		if name == "the passphrase only" && people.HasManager() {
			t.Errorf("%s: there is a manager", name)
		}
	}
}

// TestTariffsComeInTheirOrder, in whatever order the rows do.
func TestTariffsComeInTheirOrder(t *testing.T) {
	var set ChangeSet
	var want Tariffs
	for i := range 12 {
		want = append(want, TariffVersion{Version: i + 1, Set: noon, Tariff: Tariff{Currency: "EUR", MicrosPerKWh: int64(i)}})
	}
	for _, i := range []int{7, 0, 11, 3, 9, 1, 10, 2, 8, 4, 6, 5} {
		set.Put("tariff", "x", want[i])
	}
	if p, err := RestorePeople(Stored{Rows: set.Rows}); err != nil || !reflect.DeepEqual(p.Tariffs, want) {
		t.Errorf("they come as %+v, %v", p.Tariffs, err)
	}
	w := newTown(t)
	for range 11 {
		w.do(SetTariff{Tariff: Tariff{Currency: "EUR"}})
	}
	if key := w.last.Rows[0].Key; key != "000011" { // keys of one length sort as numbers do
		t.Errorf("the eleventh is stored as %q", key)
	}
	w.reload()
}
