package coordinator

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
)

// TestWhatIsKept: the whole of the record that an event makes or changes.
func TestWhatIsKept(t *testing.T) {
	const day = 24 * time.Hour
	twelve := HomeIDFor("12")
	at, later := noon.Add(time.Minute), noon.Add(2*time.Hour)
	session := NewSession{SessionHash: "s", Expires: later, Idle: day, Device: "firefox linux", Where: "192.0.2.9"}
	record := []byte("{}")
	for name, c := range map[string]struct {
		ev   PeopleEvent
		of   func(*People) any
		want any
	}{
		"a manager's session": {SignInManager{Person: "boss", NewSession: session}, func(p *People) any { return p.Sessions["s"] },
			Session{Hash: "s", Person: "boss", Made: at, Expires: later, Idle: day, Device: "firefox linux", Where: "192.0.2.9"}},
		"no session": {SignInManager{Person: "boss", Known: "k"}, func(p *People) any { _, there := p.Sessions[""]; return there }, false},
		"a known browser": {SignInManager{Person: "boss", Known: "k"}, func(p *People) any { return p.WaysIn["boss"].Known },
			[]KnownBrowser{{Hash: "k", Made: at}}},
		"a passkey": {AddPasskey{By: "boss", Handle: "h", Key: Passkey{ID: "k", Name: "n", Record: record}}, func(p *People) any { return p.WaysIn["boss"].Keys },
			[]Passkey{{ID: "k", Name: "n", Made: at, Record: record}}},
		"a link for a manager": {InviteManager{By: "ben", Hash: "i", Name: "Cleo", Expires: later}, func(p *People) any { return p.ManagerInvites["i"] },
			ManagerInvite{Hash: "i", By: "ben", Name: "Cleo", Made: at, Expires: later}},
		"another name": {RenameManager{By: "boss", Name: "Adele"}, func(p *People) any { return p.Persons["boss"] },
			Person{ID: "boss", Name: "Adele", Manager: true, Joined: noon}},
		"a resident": {JoinBuilding{Room: "cellar", Code: "K7QM2XRT", HomeName: "12", Open: true, Name: " Cleo ", Lang: "fr", NewID: "cleo"}, func(p *People) any { return p.Persons["cleo"] },
			Person{ID: "cleo", Home: twelve, Name: "Cleo", Lang: "fr", Joined: at}},
		"their session": {JoinBuilding{Room: "cellar", Code: "K7QM2XRT", HomeName: "12", Open: true, NewID: "cleo", SessionHash: "s", Expires: later}, func(p *People) any { return p.Sessions["s"] },
			Session{Hash: "s", Person: "cleo", Made: at, Expires: later}},
		"their home": {JoinBuilding{Room: "cellar", Code: "K7QM2XRT", HomeName: " flat  2", Open: true, NewHomeCode: "CODE", NewID: "cleo"}, func(p *People) any { return p.Homes[HomeIDFor("flat 2")] },
			Home{ID: HomeIDFor("flat 2"), Name: "flat 2", Code: "CODE", Joined: at}},
		"who is known stays": {JoinBuilding{Room: "cellar", Code: "K7QM2XRT", HomeName: "12", Open: true, Name: "X", Lang: "fr", NewID: "anna"}, func(p *People) any { return p.Persons["anna"] },
			Person{ID: "anna", Home: twelve, Joined: noon}},
		"who is known, of another home, moves": {JoinBuilding{Room: "cellar", Code: "K7QM2XRT", HomeName: "13", Open: true, Name: "X", NewID: "anna"}, func(p *People) any { return p.Persons["anna"] },
			Person{ID: "anna", Home: HomeIDFor("13"), Name: "X", Joined: at}},
		"the wall's code is counted": {JoinBuilding{Room: "cellar", Code: "K7QM2XRT", HomeName: "12", Open: true, NewID: "cleo"}, func(p *People) any { return p.Invitations["cellar"] },
			Invitation{Room: "cellar", Code: "K7QM-2XRT", Made: noon, Used: 3}},
		"and from inside it is not": {JoinBuilding{Room: "cellar", HomeName: "12", Open: true, Inside: true, NewID: "cleo"}, func(p *People) any { return p.Invitations["cellar"].Used }, 2},
		"a new code on the wall": {SetInvitation{Room: "cellar", Code: "C", Most: 3, Expires: later}, func(p *People) any { return p.Invitations["cellar"] },
			Invitation{Room: "cellar", Code: "C", Made: at, Most: 3, Expires: later}},
		"a machine's code": {SetMachineCode{Room: "cellar", Machine: "w1", Code: "C"}, func(p *People) any { return p.MachineCodes[Place{"cellar", "w1"}] },
			MachineCode{Place: Place{"cellar", "w1"}, Code: "C", Made: at}},
		"a one-time code": {OfferPass{Person: "anna", Hash: "p", Expires: later}, func(p *People) any { return p.Passes["p"] },
			Pass{Hash: "p", Person: "anna", Made: at, Expires: later}},
		"back by the home's code": {ReturnHome{HomeCode: "AAAA", Person: "anna", SessionHash: "s", Expires: later}, func(p *People) any { return p.Sessions["s"] },
			Session{Hash: "s", Person: "anna", Made: at, Expires: later}},
		"guests": {InviteGuests{ID: "g", Room: "cellar", Home: twelve, Code: "G", Most: 2, Until: later}, func(p *People) any { return p.Guests["g"] },
			GuestInvitation{ID: "g", Room: "cellar", Home: twelve, Code: "G", Made: at, Until: later, Most: 2}},
		"a phone": {Subscribe{Subscription: Subscription{ID: "d", Person: "anna", Endpoint: "https://push.example/1", Made: later}}, func(p *People) any { return p.Subscriptions["d"] },
			Subscription{ID: "d", Person: "anna", Endpoint: "https://push.example/1", Made: at}},
		"choices, in their order": {SetChoices{Person: "anna", Off: []NoticeKind{LoadNudge, TurnPassed, LoadNudge}, TellForHome: true, Quiet: Quiet{60, 60}}, func(p *People) any { return p.Persons["anna"] },
			Person{ID: "anna", Home: twelve, Joined: noon, Off: []NoticeKind{TurnPassed, LoadNudge}, TellForHome: true}},
		"muted":                        {Mute{Person: "anna", Until: later}, func(p *People) any { return p.Persons["anna"].MutedUntil }, later},
		"muted until now is not muted": {Mute{Person: "anna", Until: at}, func(p *People) any { return p.Persons["anna"].MutedUntil }, time.Time{}},
		"an address to confirm": {AskMail{Person: "anna", Address: " A.b@Example.ORG ", Hash: "h", Expires: later}, func(p *People) any { return p.Persons["anna"].Mail },
			Mail{Asked: MailAsked{Address: "A.b@example.org", Hash: "h", Expires: later}}},
		"moved out": {MoveOut{Home: twelve, Code: "C"}, func(p *People) any { return p.Homes[twelve] },
			Home{ID: twelve, Name: "12", Code: "C", Joined: at}},
		"a tariff": {SetTariff{Tariff: Tariff{Currency: "EUR", MicrosPerKWh: 1}}, func(p *People) any { return p.Tariffs },
			Tariffs{{Version: 1, Set: at, Tariff: Tariff{Currency: "EUR", MicrosPerKWh: 1}}}},
		"notices that were seen": {SeeNotices{By: "boss", At: later}, func(p *People) any { return p.NoticesSeen }, at}, // never ahead of now
	} {
		t.Run(name, func(t *testing.T) {
			w := settled(t)
			w.now = at
			w.do(c.ev)
			if got := c.of(w.people); !reflect.DeepEqual(got, c.want) {
				t.Errorf("kept is\n%+v, want\n%+v", got, c.want)
			}
			w.reload()
		})
	}
}

// TestOlderPeopleStayAsTheyWere: who holds the people of an earlier step sees no
// later change, of whatever record, deep down.
func TestOlderPeopleStayAsTheyWere(t *testing.T) {
	w := settled(t)
	twelve, later := HomeIDFor("12"), noon.Add(time.Hour)
	key := Passkey{ID: "k", Name: "n", Record: []byte("{}")}
	type held struct {
		people *People
		text   string
	}
	var all []held
	for _, ev := range []PeopleEvent{
		AddPasskey{By: "boss", Handle: "h", Key: key}, AddPasskey{By: "boss", Handle: "h", Key: Passkey{ID: "k2", Name: "n", Record: []byte("{}")}},
		SignInManager{Person: "boss", Key: "k", Known: "b1", Record: []byte("{1}"), NewSession: w.session("s1")},
		SignInManager{Person: "boss", Key: "k", Known: "b2", Record: []byte("{2}"), NewSession: w.session("s2")},
		NamePasskey{By: "boss", ID: "k", Name: "m"}, SuspectPasskey{Person: "boss", ID: "k"}, DropPasskey{By: "boss", ID: "k"}, ChangePassphrase{By: "boss", Passphrase: "$"},
		Subscribe{Subscription: Subscription{ID: "d", Person: "bob"}}, OfferPass{Person: "anna", Hash: "p", Expires: later},
		InviteGuests{ID: "g", Room: "cellar", Home: twelve, Code: "G", Most: 2, Until: later}, SetMachineCode{Room: "cellar", Machine: "w1", Code: "C"},
		SetChoices{Person: "anna", Off: []NoticeKind{LoadNudge}}, SetTariff{Tariff: Tariff{Currency: "EUR"}}, SetTariff{Tariff: Tariff{Currency: "CHF"}},
		MakeToken{Token: Token{Name: "n", Hash: longText(64), Scopes: []TokenScope{ScopeUse}}}, UseToken{ID: longText(16)}, RevokeToken{ID: longText(16)},
		AddWebhook{Webhook: Webhook{ID: "w", Secret: "s", URL: "https://one.example"}}, MoveWebhook{State: HookState{ID: "w", Fails: 1}}, RemoveWebhook{ID: "w"},
		MergeHomes{From: HomeIDFor("13"), Into: twelve}, MergePersons{From: "bob", Into: "anna"}, MoveOut{Home: twelve, Code: "C"}, RemoveManager{By: "boss", Person: "ben"},
	} {
		all = append(all, held{w.people, fmt.Sprintf("%+v", *w.people)})
		w.do(ev)
	}
	for i, h := range all {
		if now := fmt.Sprintf("%+v", *h.people); now != h.text {
			t.Errorf("the people before event %d were\n%s and are now\n%s", i+1, h.text, now)
		}
	}
}

// TestListsHaveAnOrder: by age, and by id where two are as old; whatever the order in
// which a table gives them.
func TestListsHaveAnOrder(t *testing.T) {
	const twelve = HomeID("h12")
	old, young := noon, noon.Add(time.Second)
	p := &People{Persons: map[PersonID]Person{}, Subscriptions: map[string]Subscription{}, Tokens: map[string]Token{}, Webhooks: map[string]Webhook{}}
	for i, id := range []string{"d", "a", "c", "b", "f", "e"} {
		made := young
		if i < 3 {
			made = old
		}
		who := PersonID(id)
		p.Persons[who] = Person{ID: who, Home: twelve, Joined: made, Mail: Mail{Address: "X@example.org"}}
		p.Persons["m"+who] = Person{ID: "m" + who, Name: "M " + id, Manager: true, Home: twelve, Joined: made}
		p.Subscriptions[id] = Subscription{ID: id, Person: "a", Made: made}
		p.Tokens[id] = Token{ID: id, Made: made}
		p.Webhooks[id] = Webhook{ID: id, Made: made}
	}
	p.Persons["z"] = Person{ID: "z", Home: "h13"}
	p.Subscriptions["z"] = Subscription{ID: "z", Person: "z"}
	var members, managers, devices, tokens, hooks, mail []string
	for _, v := range p.Members(twelve) {
		members = append(members, string(v.ID))
	}
	for _, v := range p.Managers() {
		managers = append(managers, strings.TrimPrefix(string(v.ID), "m"))
	}
	for _, v := range p.Devices("a") {
		devices = append(devices, v.ID)
	}
	for _, v := range p.TokensByAge() {
		tokens = append(tokens, v.ID)
	}
	for _, v := range p.WebhooksByAge() {
		hooks = append(hooks, v.ID)
	}
	want := []string{"a", "c", "d", "b", "e", "f"}
	for name, got := range map[string][]string{"members of a home": members, "managers": managers, "devices": devices, "tokens": tokens, "webhooks": hooks} {
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", name, got, want)
		}
	}
	for _, v := range p.ByMail("x@EXAMPLE.org") {
		mail = append(mail, string(v.ID))
	}
	if !slices.Equal(mail, []string{"a", "b", "c", "d", "e", "f"}) {
		t.Errorf("who has an address: %v, want them by their ids", mail)
	}
	if none := p.ByMail(""); none != nil {
		t.Errorf("no address is that of %+v", none)
	}
}

// TestWhatIsNotThere: what is looked for by an empty secret, or by one that nobody has,
// is not found, although records without such a secret are there.
func TestWhatIsNotThere(t *testing.T) {
	w := settled(t)
	p := w.people
	for _, text := range []string{"", "none"} {
		person, asked := p.MailAskedBy(text, noon)
		off, ended := p.MailOff(text)
		way, handled := p.ByHandle(text)
		named, called := p.ManagerNamed(text)
		token, let := p.TokenByHash(text)
		home, coded := p.HomeByCode(text)
		guest, invited := p.GuestByCode("cellar", text)
		invite, held := p.InviteOf(text, noon)
		boss := p.WaysIn["boss"]
		key, has := boss.Key(text)
		who, in := p.SessionPerson(text, noon)
		for what, got := range map[string]struct {
			ok bool
			v  any
		}{
			"an address to confirm": {asked, person}, "an address to end": {ended, off}, "a way in": {handled, way}, "a manager": {called, named}, "a token": {let, token},
			"a home": {coded, home}, "guests": {invited, guest}, "a link": {held, invite}, "a passkey": {has, key}, "a session": {in, who},
		} {
			if got.ok || !reflect.ValueOf(got.v).IsZero() {
				t.Errorf("by %q there is %s: %+v", text, what, got.v)
			}
		}
		if boss.Knows(text) || p.AtMachine("cellar", "w1", text) || p.AtMachine("cellar", "none", text) {
			t.Errorf("%q is taken for a known browser or the code of a machine", text)
		}
		if name, ok := p.HomeName(HomeID(text)); ok || name != "" {
			t.Errorf("the home %q is called %q", text, name)
		}
	}
	if name, ok := p.HomeName(HomeIDFor("12")); !ok || name != "12" {
		t.Errorf("home 12 is called %q", name)
	}
	nameless := &People{Homes: map[HomeID]Home{"h": {ID: "h"}}}
	if _, ok := nameless.HomeName("h"); ok {
		t.Error("a home without a name has one")
	}
}
