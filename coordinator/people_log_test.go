package coordinator

import (
	"slices"
	"testing"
	"time"
)

// TestWhatTheLogSays: the whole of what an event writes into the building's log, in
// the order of one history. What residents do of their own is not there.
func TestWhatTheLogSays(t *testing.T) {
	w := settled(t)
	twelve, thirteen := HomeIDFor("12"), HomeIDFor("13")
	soon := noon.Add(time.Hour)
	phone := Passkey{ID: "k", Name: " my  phone ", Record: []byte("{}")}
	hash := longText(64)
	for _, c := range []struct {
		name string
		ev   PeopleEvent
		want []Fact
	}{
		{"a manager is invited", InviteManager{By: "boss", Hash: "i", Name: " Cleo  C ", Expires: soon}, []Fact{{Kind: FactManagerInvited, Person: "boss", Note: "Cleo C"}}},
		{"by the operator", InviteManager{Operator: true, Hash: "j", Name: "Dora", Expires: soon}, []Fact{{Kind: FactManagerInvited, Note: "Dora"}}},
		{"the link is taken back", DropManagerInvite{By: "ben", Hash: "j"}, []Fact{{Kind: FactInviteDropped, Person: "ben", Note: "Dora"}}},
		{"the link is taken", TakeManagerInvite{Hash: "i", Passphrase: "$", NewID: "cleo", NewSession: w.session("c1")},
			[]Fact{{Kind: FactManagerMade, Person: "cleo", About: "person:cleo"}}},
		{"signed in by passphrase", SignInManager{Person: "cleo", NewSession: w.session("c2")}, []Fact{{Kind: FactSignedIn, Person: "cleo", Note: "passphrase"}}},
		{"a passkey", AddPasskey{By: "cleo", Handle: "h", Key: phone}, []Fact{{Kind: FactPasskeyAdded, Person: "cleo", Note: "my phone"}}},
		{"signed in by passkey", SignInManager{Person: "cleo", Key: "k", Record: []byte("{}"), NewSession: w.session("c3")}, []Fact{{Kind: FactSignedIn, Person: "cleo", Note: "passkey"}}},
		{"the passphrase removed", ChangePassphrase{By: "cleo", Keep: "c3"}, []Fact{{Kind: FactPassphrase, Person: "cleo", Note: "removed"}}},
		{"and set anew", ChangePassphrase{By: "cleo", Passphrase: "$2", Keep: "c3"}, []Fact{{Kind: FactPassphrase, Person: "cleo", Note: "set anew"}}},
		{"a copied passkey", SuspectPasskey{Person: "cleo", ID: "k"}, []Fact{{Kind: FactPasskeyCopied, Person: "cleo", Note: "my phone"}}},
		{"the passkey is dropped", DropPasskey{By: "cleo", ID: "k"}, []Fact{{Kind: FactPasskeyGone, Person: "cleo", Note: "my phone"}}},
		{"other browsers signed out", SignOutOthers{Person: "cleo", Keep: "c3"}, []Fact{{Kind: FactSessionsEnded, Person: "cleo", Note: "others"}}},
		{"signed out", SignOut{SessionHash: "c3"}, []Fact{{Kind: FactSignedOut, Person: "cleo"}}},
		{"a manager is removed", RemoveManager{By: "boss", Person: "cleo"}, []Fact{{Kind: FactManagerGone, Person: "boss", About: "person:cleo", Note: "Cleo C"}}},

		{"a home is added", AddHome{By: "boss", Name: "14", Code: "C"}, []Fact{{Kind: FactHomeAdded, Person: "boss", About: AboutHome(HomeIDFor("14"))}}},
		{"its code", SetHomeCode{By: "boss", Home: HomeIDFor("14"), Code: "D"}, []Fact{{Kind: FactHomeCode, Person: "boss", About: AboutHome(HomeIDFor("14"))}}},
		{"a home is blocked", Block{By: "boss", Home: thirteen, On: true}, []Fact{{Kind: FactBlocked, Person: "boss", About: AboutHome(thirteen)}}},
		{"no more", Block{By: "boss", Home: thirteen}, []Fact{{Kind: FactUnblocked, Person: "boss", About: AboutHome(thirteen)}}},
		{"somebody is blocked", Block{By: "boss", Person: "bob", On: true}, []Fact{{Kind: FactBlocked, Person: "boss", About: "person:bob"}}},
		{"no more", Block{By: "boss", Person: "bob"}, []Fact{{Kind: FactUnblocked, Person: "boss", About: "person:bob"}}},
		{"homes are one", MergeHomes{By: "ben", From: HomeIDFor("14"), Into: thirteen}, []Fact{{Kind: FactMerged, Person: "ben", About: AboutHome(thirteen)}}},
		{"people are one", MergePersons{By: "ben", From: "bob", Into: "anna"}, []Fact{{Kind: FactMerged, Person: "ben", About: "person:anna"}}},
		{"a home moves out", MoveOut{By: "ben", Home: thirteen, Code: "E"}, []Fact{{Kind: FactMovedAway, Person: "ben", About: AboutHome(thirteen)}}},

		{"a token", MakeToken{By: "boss", Token: Token{Name: " wall ", Hash: hash, Scopes: []TokenScope{ScopeUse}}}, []Fact{{Kind: FactTokenMade, Person: "boss", Note: "wall"}}},
		{"a webhook of the token's", AddWebhook{Token: "t", Webhook: Webhook{ID: "w", Secret: "s", URL: "https://one.example/secret"}}, []Fact{{Kind: FactHookAdded, About: "token:t", Note: "one.example"}}},
		{"a manager removes it", RemoveWebhook{By: "boss", Token: "t", ID: "w"}, []Fact{{Kind: FactHookRemoved, Person: "boss", Note: "one.example"}}},
		{"the token is revoked", RevokeToken{By: "boss", ID: hash[:16]}, []Fact{{Kind: FactTokenRevoked, Person: "boss", Note: "wall"}}},

		{"anna ends a browser of hers", EndSession{Person: "anna", Hash: "session of anna"}, nil},
		{"anna comes back", JoinBuilding{Room: "cellar", Code: "K7QM2XRT", HomeName: "12", Open: true, NewID: "anna", SessionHash: "a2", Expires: soon}, nil},
		{"bob, who is anna now, signs out", SignOut{SessionHash: "session of bob"}, nil},
		{"anna ends all others", SignOutOthers{Person: "anna", Keep: "none"}, nil},
		{"anna makes a pass", OfferPass{Person: "anna", Hash: "p", Expires: soon}, nil},
		{"anna is gone by herself", Forget{Person: "anna"}, nil},
		{"home 12 is moved out by nobody", MoveOut{Home: twelve, Code: "F"}, nil},
	} {
		w.do(c.ev)
		for i := range c.want {
			c.want[i].At = w.now
		}
		if !slices.Equal(w.last.Facts, c.want) {
			t.Errorf("%s: the log says %+v, want %+v", c.name, w.last.Facts, c.want)
		}
		w.now = w.now.Add(time.Second)
	}
	w.reload()
}

// TestAbout: what a fact is about is taken apart as it was put together.
func TestAbout(t *testing.T) {
	for _, c := range []struct{ text, want, kind, id string }{
		{AboutPerson("p1"), "person:p1", "person", "p1"},
		{AboutHome("h1"), "home:h1", "home", "h1"},
		{AboutRoom("cellar"), "room:cellar", "room", "cellar"},
		{AboutMachine("cellar", "w:1"), "machine:cellar/w:1", "machine", "cellar/w:1"},
		{AboutToken("ab12"), "token:ab12", "token", "ab12"},
		{"", "", "", ""},
	} {
		kind, id := About(c.text)
		if c.text != c.want || kind != c.kind || id != c.id {
			t.Errorf("%q is %q, %q; want %q, %q, %q", c.text, kind, id, c.want, c.kind, c.id)
		}
	}
}

// TestKindsOfActs: the words of the building's log, as they are stored for years.
func TestKindsOfActs(t *testing.T) {
	want := []FactKind{
		"manager-signed-in", "manager-signed-out", "manager-made", "manager-renamed", "manager-invited", "manager-invite-dropped", "manager-removed", "passphrase",
		"passkey-added", "passkey-renamed", "passkey-removed", "passkey-suspect", "sessions-ended",
		"invitation", "guest-invited", "guest-invitation-ended", "one-time-code", "machine-code",
		"home-added", "home-code", "blocked", "unblocked", "merged", "moved-away", "erased",
		"token-made", "token-revoked", "webhook-added", "webhook-removed", "tariff-set", "notices-seen",
	}
	if got := ActKinds(); !slices.Equal(got, want) {
		t.Errorf("the kinds are %v", got)
	}
}

// TestWhoDeparts: rooms are told of exactly those who lost something, of how much,
// and of who takes over; in the order in which it happened.
func TestWhoDeparts(t *testing.T) {
	twelve, thirteen := HomeIDFor("12"), HomeIDFor("13")
	for _, c := range []struct {
		name string
		ev   PeopleEvent
		want Departure // empty: nobody
	}{
		{"blocked", Block{Person: "anna", On: true}, Departure{Person: "anna", TurnsOnly: true}},
		{"blocked, though a home is named too", Block{Person: "anna", Home: thirteen, On: true}, Departure{Person: "anna", TurnsOnly: true}},
		{"a home is blocked", Block{Home: twelve, On: true}, Departure{Home: twelve, TurnsOnly: true}},
		{"merged", MergePersons{From: "anna", Into: "bob"}, Departure{Person: "anna", Into: "bob", IntoHome: thirteen}},
		{"homes merged", MergeHomes{From: twelve, Into: thirteen}, Departure{Home: twelve, IntoHome: thirteen}},
		{"moved out", MoveOut{Home: twelve, Code: "C"}, Departure{Home: twelve}},
		{"gone", Forget{Person: "anna"}, Departure{Person: "anna"}},
		{"a manager is removed", RemoveManager{By: "boss", Person: "ben"}, Departure{}},
		{"a home is added", AddHome{Name: "14", Code: "C"}, Departure{}},
		{"a phone is lost", SignOutOthers{Person: "anna"}, Departure{}},
	} {
		w := settled(t)
		seq := w.people.Seq
		w.do(c.ev)
		var got []Departure
		for id, d := range w.people.Departures {
			if id != d.ID {
				t.Errorf("%s: stored as %q under %q", c.name, d.ID, id)
			}
			got = append(got, d)
		}
		switch {
		case c.want.Person == "" && c.want.Home == "":
			if len(got) != 0 {
				t.Errorf("%s: %+v departs", c.name, got)
			}
			continue
		case len(got) != 1:
			t.Errorf("%s: %d departures", c.name, len(got))
			continue
		}
		c.want.ID = got[0].ID
		if got[0].Person != c.want.Person || got[0].Home != c.want.Home || got[0].Into != c.want.Into || got[0].IntoHome != c.want.IntoHome || got[0].TurnsOnly != c.want.TurnsOnly || got[0].Erase != nil {
			t.Errorf("%s: %+v, want %+v", c.name, got[0], c.want)
		}
		w.reload()
		// Ids sort as people left, however many steps the building has seen.
		w.people.Seq = seq + 1_000_000
		w.do(Block{Person: "bob", On: true})
		if ids := sortedKeys(w.people.Departures); len(ids) != 2 || ids[0] != got[0].ID {
			t.Errorf("%s: what came first is not the first of %v", c.name, ids)
		}
	}
}
