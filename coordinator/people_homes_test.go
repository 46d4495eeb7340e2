package coordinator

import (
	"errors"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestInvitationsRunOut(t *testing.T) {
	w := newTown(t)
	w.refused(SetInvitation{Room: "cellar"}, "invitation.code")
	w.refused(SetInvitation{Room: "cellar", Code: "AB", Most: -1}, "invitation.most")
	w.refused(SetInvitation{Room: "cellar", Code: "AB", Expires: w.now}, "invitation.until")
	w.do(SetInvitation{Room: "cellar", Code: "K7QM-2XRT", Most: 2, Expires: w.now.Add(time.Hour)})
	w.joinAs("anna", "12")
	w.joinAs("ben", "13")
	join := JoinBuilding{Room: "cellar", Code: "K7QM2XRT", HomeName: "14", Open: true, NewID: "eve", SessionHash: "s", Expires: w.now.Add(time.Hour)}
	w.refused(join, "join.over")
	w.do(SetInvitation{Room: "cellar", Code: "K7QM-2XRT", Expires: w.now.Add(time.Hour)})
	w.do(join)
	if inv := w.people.Invitations["cellar"]; inv.Used != 1 || !inv.Holds(w.now) || inv.Holds(w.now.Add(time.Hour)) {
		t.Fatalf("the invitation is %+v", inv)
	}
	w.now = w.now.Add(time.Hour)
	join.NewID = "flo"
	w.refused(join, "join.over")
	join.Inside, join.Code = true, ""
	w.do(join)
	if w.people.Invitations["cellar"].Used != 1 {
		t.Fatal("whom the manager lets in uses the invitation up")
	}
	w.reload()
}

func TestGuests(t *testing.T) {
	w := managed(t)
	w.joinAs("anna", "12")
	host := w.people.Persons["anna"].Home
	until := w.now.Add(48 * time.Hour)
	ask := InviteGuests{By: "boss", ID: "g1", Room: "cellar", Home: host, Code: "GUEST-CODE", Most: 1, Until: until}
	for key, change := range map[string]func(*InviteGuests){
		"home.unknown": func(e *InviteGuests) { e.Home = "other" },
		"guest.bad":    func(e *InviteGuests) { e.Code = " - " },
		"guest.most":   func(e *InviteGuests) { e.Most = 11 },
		"guest.until":  func(e *InviteGuests) { e.Until = w.now },
	} {
		bad := ask
		change(&bad)
		w.refused(bad, key)
	}
	w.do(ask)
	join := JoinBuilding{Room: "attic", Code: "guestcode", NewID: "gus", SessionHash: "sg", Expires: w.now.AddDate(1, 0, 0)}
	w.refused(join, "join.code")
	join.Room = "cellar"
	w.do(join)
	join.NewID = "gil"
	w.refused(join, "join.over")
	if gus := w.people.Persons["gus"]; gus.Home != host || !gus.Guest.Equal(until) || !w.people.NextEnd().Equal(until) {
		t.Fatalf("the guest is %+v", gus)
	}
	w.now = until
	if w.in("sg") {
		t.Fatal("a guest stays")
	}
	w.do(EndGuests{})
	if _, known := w.people.Persons["gus"]; known || len(w.people.Guests) != 0 || len(w.people.Departures) != 1 || !w.people.NextEnd().IsZero() {
		t.Fatalf("left: %+v", w.people.Departures)
	}
	w.reload()
}

func TestBlock(t *testing.T) {
	w := managed(t)
	w.joinAs("anna", "12")
	home := w.people.Persons["anna"].Home
	w.refused(Block{By: "boss", Person: "boss", On: true}, "person.manager")
	w.refused(Block{By: "boss", Home: "other", On: true}, "home.unknown")
	blocked := func() bool { return w.people.MayTakeTurn("anna", home) != nil }
	if blocked() {
		t.Fatal("blocked from the start")
	}
	w.do(Block{By: "boss", Person: "anna", On: true})
	if !blocked() || len(w.people.Departures) != 1 {
		t.Fatal("a blocked person may go on")
	}
	w.do(Block{By: "boss", Person: "anna"})
	w.do(Block{By: "boss", Home: home, On: true})
	if !blocked() {
		t.Fatal("one of a blocked home may go on")
	}
	w.do(Block{By: "boss", Home: home})
	if blocked() || len(w.people.Departures) != 2 {
		t.Fatalf("blocked for ever; departures %v", w.people.Departures)
	}
	w.reload()
}

func TestMergePersons(t *testing.T) {
	w := managed(t)
	w.joinAs("anna", "12")
	w.joinAs("again", "13")
	w.do(Subscribe{Subscription: Subscription{ID: "d", Person: "again"}})
	w.refused(MergePersons{By: "boss", From: "anna", Into: "anna"}, "merge.same")
	w.refused(MergePersons{By: "boss", From: "anna", Into: "boss"}, "person.manager")
	w.refused(MergePersons{By: "boss", From: "nobody", Into: "anna"}, "person.unknown")
	w.do(MergePersons{By: "boss", From: "again", Into: "anna"})
	for _, hash := range []string{"session of anna", "session of again"} {
		if p, ok := w.people.SessionPerson(hash, w.now); !ok || p.ID != "anna" {
			t.Errorf("%s leads to %+v", hash, p)
		}
	}
	if w.people.Subscriptions["d"].Person != "anna" || len(w.people.Departures) != 1 {
		t.Errorf("the device is told %q; %v", w.people.Subscriptions["d"].Person, w.people.Departures)
	}
	w.reload()
}

// TestMergeHomes: the home then answers to both names.
func TestMergeHomes(t *testing.T) {
	w := managed(t)
	w.joinAs("anna", "12")
	w.joinAs("ben", "flat 12")
	from, into := w.people.Persons["ben"].Home, w.people.Persons["anna"].Home
	w.do(MergeHomes{By: "boss", From: from, Into: into})
	w.refused(MergeHomes{By: "boss", From: into, Into: into}, "merge.same")
	w.joinAs("cleo", "Flat  12")
	if w.people.Persons["ben"].Home != into || w.people.Persons["cleo"].Home != into || len(w.people.Homes) != 1 {
		t.Fatalf("homes: %+v", w.people.Homes)
	}
	for id, d := range w.people.Departures {
		if d.Home != from || d.IntoHome != into {
			t.Fatalf("rooms are told %+v", d)
		}
		w.do(Departed{ID: id})
	}
	w.do(Departed{ID: "none"})
	if len(w.people.Departures) != 0 {
		t.Fatal("rooms are told for ever")
	}
	w.reload()
}

func TestMoveOut(t *testing.T) {
	w := managed(t)
	w.do(AddHome{By: "boss", Name: "12", Code: "OLD-CODE"})
	w.do(AddHome{By: "boss", Name: " 12 ", Code: "OTHER"})
	home := HomeIDFor("12")
	w.joinAs("anna", "12")
	w.joinAs("ben", "13")
	w.do(Subscribe{Subscription: Subscription{ID: "d", Person: "anna"}})
	w.do(InviteGuests{By: "boss", ID: "g", Room: "cellar", Home: home, Code: "G", Most: 1, Until: w.now.Add(time.Hour)})
	w.refused(MoveOut{By: "boss", Home: home}, "home.code")
	w.do(MoveOut{By: "boss", Home: home, Code: "NEW-CODE"})
	if w.in("session of anna") || !w.in("session of ben") || len(w.people.Subscriptions) != 0 || len(w.people.Guests) != 0 {
		t.Fatalf("left: %+v", w.people)
	}
	if _, ok := w.people.HomeByCode("old code"); ok || w.people.Homes[home].Code != "NEW-CODE" {
		t.Fatal("the old code opens the home")
	}
	w.do(SetHomeCode{By: "boss", Home: home, Code: "THIRD"})
	w.refused(SetHomeCode{By: "boss", Home: "none", Code: "X"}, "home.unknown")
	w.reload()
}

// TestActsAreNoted: each act of a manager is a fact with who did it, and names no resident.
func TestActsAreNoted(t *testing.T) {
	w := managed(t)
	w.joinAs("anna", "12")
	home := w.people.Persons["anna"].Home
	for _, c := range []struct {
		ev   PeopleEvent
		want Fact
	}{
		{SetInvitation{By: "boss", Room: "cellar", Code: "K7QM2XRT"}, Fact{Kind: FactInvitation, About: "room:cellar"}},
		{SetInvitation{Room: "cellar", Code: "K7QM2XRT"}, Fact{}},
		{SetMachineCode{By: "boss", Room: "cellar", Machine: "w1", Code: "C"}, Fact{Kind: FactMachineCode, About: "machine:cellar/w1"}},
		{Block{By: "boss", Person: "anna", On: true}, Fact{Kind: FactBlocked, About: "person:anna"}},
		{SetHomeCode{By: "boss", Home: home, Code: "C"}, Fact{Kind: FactHomeCode, About: AboutHome(home)}},
		{EndSession{Person: "boss", Hash: "m1"}, Fact{Kind: FactSessionsEnded, Note: "one"}},
		{SignInManager{Person: "boss", NewSession: w.session("m2")}, Fact{Kind: FactSignedIn, Note: "passphrase"}},
		{RenameManager{By: "boss", Name: " Adele "}, Fact{Kind: FactManagerRenamed, Note: "Adele"}},
		{AddPasskey{By: "boss", Handle: "h", Key: Passkey{ID: "k", Name: "phone", Record: []byte("{}")}}, Fact{Kind: FactPasskeyAdded, Note: "phone"}},
		{NamePasskey{By: "boss", ID: "k", Name: "tablet"}, Fact{Kind: FactPasskeyNamed, Note: "tablet"}},
		{SetTariff{By: "boss", Tariff: Tariff{Currency: "EUR", MicrosPerKWh: 320_000}}, Fact{Kind: FactTariffSet}},
		{SetTariff{Tariff: Tariff{Currency: "EUR", MicrosPerKWh: 330_000}}, Fact{}},
		{SeeNotices{By: "boss", At: w.now}, Fact{Kind: FactNoticesSeen}},
		{OfferPass{By: "boss", Person: "anna", Hash: "p1", Expires: w.now.Add(time.Hour)}, Fact{Kind: FactPassMade, About: "person:anna"}},
		{OfferPass{Person: "anna", Hash: "p2", Expires: w.now.Add(time.Hour)}, Fact{}},
		{InviteGuests{By: "boss", ID: "g", Room: "cellar", Home: home, Code: "GGGG", Most: 2, Until: w.now.Add(5 * time.Hour)}, Fact{Kind: FactGuestInvited, About: AboutHome(home)}},
		{DropGuestInvitation{By: "boss", ID: "g"}, Fact{Kind: FactGuestsEnded, About: AboutHome(home)}},
		{DropGuestInvitation{By: "boss", ID: "g"}, Fact{}},
		{SignOut{SessionHash: "m2"}, Fact{Kind: FactSignedOut}},
		{Forget{By: "boss", Person: "anna", Erase: true}, Fact{Kind: FactErased}},
	} {
		next, set, err := w.people.Step(w.now, c.ev)
		if err != nil {
			t.Fatalf("%T: %v", c.ev, err)
		}
		w.people = next
		if c.want.Kind == "" {
			if len(set.Facts) != 0 {
				t.Errorf("%T is noted: %+v", c.ev, set.Facts)
			}
			continue
		}
		c.want.At, c.want.Person = w.now, "boss"
		if !slices.Contains(set.Facts, c.want) || !slices.Contains(ActKinds(), c.want.Kind) {
			t.Errorf("%T is noted as %+v, want %+v", c.ev, set.Facts, c.want)
		}
	}
}

// TestPeopleOverTime: whatever managers do with people and homes, everybody has a
// home, every session and device somebody, nobody two homes of one name; what is
// stored is what is in memory; and whoever lost something is among the departures.
func TestPeopleOverTime(t *testing.T) {
	did := map[string]int{}
	histories(t, 1, func(rt *rapid.T) {
		w := managed(t)
		person := rapid.SampledFrom([]PersonID{"p0", "p1", "p2", "p3", "boss"})
		homes := []string{"1", "2", "flat 2", "3"}
		home := rapid.Custom(func(rt *rapid.T) HomeID { return HomeIDFor(rapid.SampledFrom(homes).Draw(rt, "home")) })
		act := func(name string, ev PeopleEvent) {
			before := w.people
			err := w.try(ev)
			var refused *Error
			if err != nil && !errors.As(err, &refused) {
				rt.Fatalf("%T: %v", ev, err)
			}
			if err == nil {
				did[name]++
				checkLeft(rt, before, w.people)
			}
		}
		w.joinAs("p0", "1")
		w.joinAs("p1", "2")
		w.joinAs("p2", "flat 2")
		rt.Repeat(map[string]func(*rapid.T){
			"join": func(rt *rapid.T) {
				id := person.Draw(rt, "who")
				if _, known := w.people.Persons[id]; known {
					rt.Skip("ids are new")
				}
				name := rapid.SampledFrom(homes).Draw(rt, "home")
				act("join", JoinBuilding{Room: "cellar", Code: "K7QM2XRT", HomeName: name, Open: true, NewID: id, NewHomeCode: "C-" + name, SessionHash: "s-" + string(id), Expires: w.now.Add(100 * time.Hour)})
			},
			"guest": func(rt *rapid.T) {
				act("guest", InviteGuests{By: "boss", ID: "g", Room: "cellar", Home: home.Draw(rt, "host"), Code: "GGGG", Most: 2, Until: w.now.Add(5 * time.Hour)})
				if id := PersonID("guest"); w.people.Persons[id].ID == "" {
					act("guest joins", JoinBuilding{Room: "cellar", Code: "gggg", NewID: id, SessionHash: "s-guest", Expires: w.now.Add(100 * time.Hour)})
				}
			},
			"device": func(rt *rapid.T) {
				act("device", Subscribe{Subscription: Subscription{ID: "d", Person: person.Draw(rt, "who")}})
			},
			"block": func(rt *rapid.T) {
				act("block", Block{By: "boss", Person: person.Draw(rt, "who"), On: rapid.Bool().Draw(rt, "on")})
			},
			"block h": func(rt *rapid.T) {
				act("block home", Block{By: "boss", Home: home.Draw(rt, "home"), On: rapid.Bool().Draw(rt, "on")})
			},
			"merge": func(rt *rapid.T) {
				act("merge", MergePersons{By: "boss", From: person.Draw(rt, "from"), Into: person.Draw(rt, "into")})
			},
			"merge h": func(rt *rapid.T) {
				act("merge homes", MergeHomes{By: "boss", From: home.Draw(rt, "from"), Into: home.Draw(rt, "into")})
			},
			"move":   func(rt *rapid.T) { act("move out", MoveOut{By: "boss", Home: home.Draw(rt, "home"), Code: "NEW"}) },
			"forget": func(rt *rapid.T) { act("forget", Forget{By: "boss", Person: person.Draw(rt, "who"), Erase: true}) },
			"end":    func(rt *rapid.T) { act("end guests", EndGuests{}) },
			"told": func(rt *rapid.T) {
				for id := range w.people.Departures {
					act("told", Departed{ID: id})
				}
			},
			"time": func(rt *rapid.T) {
				w.now = w.now.Add(time.Duration(rapid.IntRange(1, 20).Draw(rt, "hours")) * time.Hour)
			},
			"": func(rt *rapid.T) { checkPeople(rt, w.people); w.reload() },
		})
	}, func() []string {
		return neverDid(did, []string{"join", "guest joins", "device", "block", "block home", "merge", "merge homes", "move out", "forget", "told"})
	})
}

// checkPeople checks what always holds.
func checkPeople(rt *rapid.T, p *People) {
	names := map[string]bool{}
	for _, h := range p.Homes {
		for _, name := range append([]string{h.Name}, h.Also...) {
			if names[name] {
				rt.Fatalf("two homes are called %q", name)
			}
			names[name] = true
		}
	}
	for _, person := range p.Persons {
		if _, ok := p.Homes[person.Home]; !ok && !person.Manager {
			rt.Fatalf("%s is of home %q, which is not there", person.ID, person.Home)
		}
	}
	for _, s := range p.Sessions {
		if _, ok := p.Persons[s.Person]; !ok {
			rt.Fatalf("a session of %s, who is gone", s.Person)
		}
	}
	for _, d := range p.Subscriptions {
		if _, ok := p.Persons[d.Person]; !ok {
			rt.Fatalf("a device of %s, who is gone", d.Person)
		}
	}
}

// checkLeft checks that rooms will hear of whoever is gone or of another home.
func checkLeft(rt *rapid.T, before, after *People) {
	for id, was := range before.Persons {
		is, there := after.Persons[id]
		if there && is.Home == was.Home || was.Manager {
			continue // managers have nothing in the rooms
		}
		told := false
		for _, d := range after.Departures {
			told = told || d.Person == id || d.Person == "" && d.Home == was.Home
		}
		if !told {
			rt.Fatalf("%s left home %s and rooms will not hear of it: %v", id, was.Home, after.Departures)
		}
	}
}
