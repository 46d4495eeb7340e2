package coordinator

import (
	"bytes"
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestMergingKeepsTheNewestDevices: of two people's phones one person keeps as many as
// one may have, the newest, whoever's they were.
func TestMergingKeepsTheNewestDevices(t *testing.T) {
	w := managed(t)
	w.joinAs("anna", "12")
	w.joinAs("again", "12")
	for i := range 2 * devicesPerPerson {
		who := PersonID("anna")
		if i%3 > 0 && len(w.people.Devices("again")) < devicesPerPerson {
			who = "again"
		}
		w.now = w.now.Add(time.Minute)
		w.do(Subscribe{Subscription: Subscription{ID: fmt.Sprintf("%02d", i), Person: who}})
	}
	w.do(MergePersons{By: "boss", From: "again", Into: "anna"})
	var kept []string
	for _, d := range w.people.Devices("anna") {
		kept = append(kept, d.ID)
	}
	if want := []string{"08", "09", "10", "11", "12", "13", "14", "15"}; !slices.Equal(kept, want) || len(w.people.Subscriptions) != devicesPerPerson {
		t.Errorf("kept are %v, want %v; %d in all", kept, want, len(w.people.Subscriptions))
	}
	w.reload()
}

// TestADeviceThatChangesHandsMakesRoom: the phone of a flatmate is one more of mine.
func TestADeviceThatChangesHandsMakesRoom(t *testing.T) {
	w := newTown(t)
	w.joinAs("anna", "12")
	w.joinAs("ben", "12")
	w.do(Subscribe{Subscription: Subscription{ID: "shared", Person: "ben"}})
	for i := range devicesPerPerson {
		w.now = w.now.Add(time.Minute)
		w.do(Subscribe{Subscription: Subscription{ID: fmt.Sprint(i), Person: "anna"}})
	}
	w.now = w.now.Add(time.Minute)
	w.do(Subscribe{Subscription: Subscription{ID: "shared", Person: "anna"}})
	_, oldest := w.people.Subscriptions["0"]
	if n := len(w.people.Devices("anna")); n != devicesPerPerson || oldest || w.people.Subscriptions["shared"].Person != "anna" {
		t.Errorf("anna has %d devices, her oldest: %v", n, oldest)
	}
	w.reload()
}

// TestMergingMail: the address of who stays counts, else the other's; and an address
// that waits to be confirmed can be, whoever asked for it.
func TestMergingMail(t *testing.T) {
	used := Mail{Address: "a@example.org", Since: noon, Also: true, Off: "off a"}
	asked := Mail{Asked: MailAsked{Address: "b@example.org", Hash: "b", Expires: noon.Add(time.Hour)}}
	both := used
	both.Asked = asked.Asked
	other := Mail{Address: "c@example.org", Off: "off c", Asked: MailAsked{Address: "d@example.org", Hash: "d", Expires: noon}}
	othersUsed := Mail{Address: other.Address, Off: other.Off, Asked: asked.Asked}
	for _, c := range []struct {
		name             string
		into, from, want Mail
	}{
		{"nobody has one", Mail{}, Mail{}, Mail{}},
		{"who stays has one", used, Mail{}, used},
		{"who goes has one", Mail{}, used, used},
		{"both have one", used, Mail{Address: "c@example.org"}, used},
		{"who stays has asked for one", asked, Mail{}, asked},
		{"who goes has asked for one", Mail{}, asked, asked},
		{"who stays has one, who goes has asked", used, asked, both},
		{"who stays has asked, who goes has one", asked, used, both},
		{"both have asked", asked, other, othersUsed},
	} {
		w := managed(t)
		w.joinAs("into", "12")
		w.joinAs("from", "12")
		for id, mail := range map[PersonID]Mail{"into": c.into, "from": c.from} {
			p := w.people.Persons[id]
			p.Mail = mail
			w.people.Persons[id] = p
		}
		w.do(MergePersons{By: "boss", From: "from", Into: "into"})
		if got := w.people.Persons["into"].Mail; got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}

// TestMergingGuests: who lives here is no guest, and of two stays the longer counts.
func TestMergingGuests(t *testing.T) {
	short, long := noon.Add(time.Hour), noon.Add(48*time.Hour)
	for _, c := range []struct{ into, from, want time.Time }{
		{want: time.Time{}}, {into: short}, {from: short}, {short, long, long}, {long, short, long},
	} {
		w := managed(t)
		w.joinAs("into", "12")
		w.joinAs("from", "12")
		for id, until := range map[PersonID]time.Time{"into": c.into, "from": c.from} {
			p := w.people.Persons[id]
			p.Guest = until
			w.people.Persons[id] = p
		}
		w.do(MergePersons{By: "boss", From: "from", Into: "into"})
		if got := w.people.Persons["into"].Guest; !got.Equal(c.want) {
			t.Errorf("guests until %s and %s are one until %s, want %s", c.into, c.from, got, c.want)
		}
	}
}

// TestMergingIsAssociative: of three that are one, it makes no difference which two
// become one first: of persons, and of homes with all their names.
func TestMergingIsAssociative(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		first := threeOfOne(t, rt)
		second := &town{T: t, people: first.people, rows: map[[2]string]Row{}, now: first.now}
		for _, ev := range []PeopleEvent{
			MergePersons{By: "boss", From: "a", Into: "b"}, MergePersons{By: "boss", From: "b", Into: "c"},
			MergeHomes{By: "boss", From: HomeIDFor("1"), Into: HomeIDFor("2")}, MergeHomes{By: "boss", From: HomeIDFor("2"), Into: HomeIDFor("3")},
		} {
			first.do(ev)
		}
		for _, ev := range []PeopleEvent{
			MergePersons{By: "boss", From: "b", Into: "c"}, MergePersons{By: "boss", From: "a", Into: "c"},
			MergeHomes{By: "boss", From: HomeIDFor("2"), Into: HomeIDFor("3")}, MergeHomes{By: "boss", From: HomeIDFor("1"), Into: HomeIDFor("3")},
		} {
			second.do(ev)
		}
		if a, b := merged(rt, first.people), merged(rt, second.people); !bytes.Equal(a, b) {
			rt.Fatalf("one after the other:\n%s\nboth into the last:\n%s", a, b)
		}
	})
}

// threeOfOne are three people with this and that, of three homes.
func threeOfOne(t *testing.T, rt *rapid.T) *town {
	w := managed(t)
	for i, id := range []PersonID{"a", "b", "c"} {
		home := fmt.Sprint(i + 1)
		w.now = w.now.Add(time.Minute)
		w.joinAs(id, home)
		for n := range rapid.IntRange(0, 6).Draw(rt, "devices") {
			w.now = w.now.Add(time.Second)
			w.do(Subscribe{Subscription: Subscription{ID: fmt.Sprint(id, n), Person: id}})
		}
		if rapid.Bool().Draw(rt, "blocked") {
			w.do(Block{By: "boss", Person: id, On: true})
		}
		if rapid.Bool().Draw(rt, "home blocked") {
			w.do(Block{By: "boss", Home: HomeIDFor(home), On: true})
		}
		if rapid.Bool().Draw(rt, "mail") {
			w.do(AskMail{Person: id, Address: string(id) + "@example.org", Hash: "of " + string(id), Expires: w.now.Add(time.Hour)})
			if rapid.Bool().Draw(rt, "confirmed") {
				w.do(ConfirmMail{Hash: "of " + string(id), Off: "off " + string(id)})
			}
		}
	}
	return w
}

// merged is what is left of people, but for what rooms are still to be told.
func merged(rt *rapid.T, p *People) []byte {
	c := *p
	c.Seq, c.Departures = 0, nil
	for id, h := range c.Homes {
		h.Also = slices.Sorted(slices.Values(h.Also))
		c.Homes = put(c.Homes, id, h)
	}
	return bytesOf(rt, &c)
}

// TestNoHomeReplacesAnother: names that are the same home's by their id are one home,
// with its code and what a manager said about it, even where the letters' cases differ
// by more than a fold: the small letter of "İ" is "i", and neither folds to the other
// (Unicode 16, CaseFolding.txt: 0130 is of status T and F only).
func TestNoHomeReplacesAnother(t *testing.T) {
	w := managed(t)
	w.do(AddHome{By: "boss", Name: "inci 3", Code: "FIRST"})
	w.do(Block{By: "boss", Home: HomeIDFor("inci 3"), On: true})
	w.do(AddHome{By: "boss", Name: "İnci 3", Code: "SECOND"})
	w.joinAs("anna", "İnci 3")
	home := w.people.Homes[w.people.Persons["anna"].Home]
	if len(w.people.Homes) != 1 || home.Name != "inci 3" || home.Code != "FIRST" || !home.Blocked {
		t.Errorf("homes %+v", w.people.Homes)
	}
	w.reload()
}

// TestRoomsAreToldInOrder: who left is told of in the order in which they left, by the
// length of the ids and then by the ids, as rooms are told; those stored by earlier
// editions come first.
func TestRoomsAreToldInOrder(t *testing.T) {
	w := managed(t)
	w.people.Departures = map[string]Departure{"7-12": {ID: "7-12", Person: "earlier"}}
	want := []PersonID{"earlier"}
	for n := range 25 {
		id := PersonID(fmt.Sprint("p", n))
		w.joinAs(id, "12")
		w.do(Forget{By: "boss", Person: id})
		want = append(want, id)
	}
	ids := sortedKeys(w.people.Departures)
	slices.SortStableFunc(ids, func(a, b string) int { return len(a) - len(b) })
	for i, id := range ids {
		if got := w.people.Departures[id].Person; got != want[i] {
			t.Fatalf("told of %s as number %d (%s), want %s", got, i, id, want[i])
		}
	}
}

// TestGuestsEndInOrder: of many whose time is over at once, too.
func TestGuestsEndInOrder(t *testing.T) {
	w := managed(t)
	w.joinAs("anna", "12")
	w.do(InviteGuests{By: "boss", ID: "g", Room: "cellar", Home: HomeIDFor("12"), Code: "GUEST", Most: MostGuests, Until: w.now.Add(time.Hour)})
	for n := range MostGuests {
		w.do(JoinBuilding{Room: "cellar", Code: "guest", NewID: PersonID(fmt.Sprint("g", n))})
	}
	w.now = w.now.Add(time.Hour)
	w.do(EndGuests{})
	for i, id := range sortedKeys(w.people.Departures) {
		if got, want := w.people.Departures[id].Person, PersonID(fmt.Sprint("g", i)); got != want {
			t.Errorf("number %d is %s, want %s", i, got, want)
		}
	}
	if len(w.people.Departures) != MostGuests || len(w.people.Guests) != 0 {
		t.Errorf("%d guests left, %d invitations are there", len(w.people.Departures), len(w.people.Guests))
	}
}

// TestTheLastWhoCanSignInStays: a manager whose only passkey was copied cannot sign
// in, and is none of those for whom another may be removed.
func TestTheLastWhoCanSignInStays(t *testing.T) {
	w := managed(t).second()
	w.do(AddPasskey{By: "boss", Handle: "h", Key: Passkey{ID: "k1", Name: "phone", Record: []byte("{}")}})
	w.do(ChangePassphrase{By: "boss", Keep: "m1"})
	w.do(SuspectPasskey{Person: "boss", ID: "k1"})
	w.refused(RemoveManager{By: "boss", Person: "ben"}, "manager.last")
	w.refused(RemoveManager{By: "ben", Person: "ben"}, "manager.last")
	w.do(RemoveManager{By: "ben", Person: "boss"})
	if all := w.people.Managers(); len(all) != 1 || all[0].ID != "ben" {
		t.Errorf("managers %+v", all)
	}
}
