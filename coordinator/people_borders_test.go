package coordinator

import (
	"reflect"
	"strings"
	"testing"
	"time"
)

// TestAnothersPassHolds: a new one-time code ends the person's older one, nobody else's,
// and a code opens nothing from its last instant on.
func TestAnothersPassHolds(t *testing.T) {
	w := settled(t)
	offer := func(who PersonID, hash string) {
		w.do(OfferPass{Person: who, Hash: hash, Expires: noon.Add(10 * time.Minute)})
	}
	offer("bob", "bobs")
	offer("anna", "one")
	offer("anna", "two")
	w.refused(UsePass{Hash: "one", SessionHash: "s"}, "pass.unknown")
	w.now = noon.Add(10*time.Minute - 1)
	w.do(UsePass{Hash: "bobs", SessionHash: "s", Expires: noon.Add(time.Hour)})
	if got := w.people.Sessions["s"]; got.Person != "bob" || !got.Made.Equal(w.now) || !got.Expires.Equal(noon.Add(time.Hour)) {
		t.Errorf("opened is %+v", got)
	}
	w.now = noon.Add(10 * time.Minute)
	w.refused(UsePass{Hash: "two", SessionHash: "t"}, "pass.unknown")
	w.reload()
}

// TestNamesThatAreTakenMeanwhile: a link makes no second manager of one name, and the
// first manager's name is checked like any.
func TestNamesThatAreTakenMeanwhile(t *testing.T) {
	w := managed(t)
	w.do(InviteManager{By: "boss", Hash: "i", Name: "Cleo", Expires: noon.Add(time.Hour)})
	w.do(RenameManager{By: "boss", Name: "cleo"})
	w.refused(TakeManagerInvite{Hash: "i", Passphrase: "$", NewID: "cleo", NewSession: w.session("c")}, "manager.name-taken")
	w.do(RenameManager{By: "boss", Name: "Ada"})
	w.do(TakeManagerInvite{Hash: "i", Passphrase: "$", NewID: "cleo", NewSession: w.session("c")})
	w = newTown(t)
	w.do(SetFirstToken{Hash: "t1"})
	w.reload() // the link of the first start outlives a restart
	w.refused(FirstManager{TokenHash: "t1", Name: longText(61), Passphrase: "$", NewID: "boss"}, "manager.name")
	w.do(FirstManager{TokenHash: "t1", Name: " Ada  A ", Passphrase: "$", NewID: "boss"})
	if got := w.people.Persons["boss"].Name; got != "Ada A" {
		t.Errorf("the manager is called %q", got)
	}
	w.reload()
}

// TestPasskeysThatAreLeft: the last that opens something stays where there is no
// passphrase; one that was copied is no way in, for its manager or for others.
func TestPasskeysThatAreLeft(t *testing.T) {
	w := managed(t).second()
	for _, id := range []string{"k1", "k2", "k3"} {
		w.do(AddPasskey{By: "boss", Handle: "h", Key: Passkey{ID: id, Name: id, Record: []byte("{}")}})
	}
	w.do(NamePasskey{By: "boss", ID: "k2", Name: " my  tablet "})
	w.do(ChangePassphrase{By: "boss"})
	w.do(DropPasskey{By: "boss", ID: "k1"}) // two are left
	way := w.people.WaysIn["boss"]
	if key, _ := way.Key("k2"); key.Name != "my tablet" || len(way.Keys) != 2 || !way.HasKey() || way.OnlyKeys() != 2 {
		t.Errorf("left are %+v", way)
	}
	w.do(SuspectPasskey{Person: "boss", ID: "k3"})
	w.refused(DropPasskey{By: "boss", ID: "k2"}, "passkey.last")
	w.do(RemoveManager{By: "boss", Person: "ben"}) // k2 lets boss in
	w.do(InviteManager{By: "boss", Hash: "i2", Name: "Dora", Expires: noon.Add(time.Hour)})
	w.do(TakeManagerInvite{Hash: "i2", NewKey: NewKey{Handle: "hd", Key: Passkey{ID: "d1", Name: "d", Record: []byte("{}")}}, NewID: "dora", NewSession: w.session("d")})
	w.do(SuspectPasskey{Person: "boss", ID: "k2"})
	way = w.people.WaysIn["boss"]
	if way.HasKey() || way.OnlyKeys() != 0 || len(way.Keys) != 2 {
		t.Errorf("copied passkeys count: %+v", way)
	}
	w.refused(RemoveManager{By: "dora", Person: "dora"}, "manager.last")
	w.do(RemoveManager{By: "dora", Person: "boss"})
	w.reload()
}

// TestWhoMayTakeTurns: nobody who is blocked, or whose home is.
func TestWhoMayTakeTurns(t *testing.T) {
	p := &People{
		Persons: map[PersonID]Person{"anna": {ID: "anna", Home: "h12"}, "eve": {ID: "eve", Home: "h12", Blocked: true}},
		Homes:   map[HomeID]Home{"h12": {ID: "h12"}, "h13": {ID: "h13", Blocked: true}},
	}
	for _, c := range []struct {
		who  PersonID
		home HomeID
		may  bool
	}{{"anna", "h12", true}, {"anna", "h13", false}, {"eve", "h12", false}, {"", "h12", true}, {"", "h13", false}} {
		err := p.MayTakeTurn(c.who, c.home)
		refusal, ok := err.(*Error)
		if (err == nil) != c.may || err != nil && (!ok || refusal.Code != NotAllowed || refusal.Key != "join.blocked") {
			t.Errorf("%q of %s: %v", c.who, c.home, err)
		}
	}
}

// TestWhenACodeHolds: for as many as it is for, until its end, if there is one.
func TestWhenACodeHolds(t *testing.T) {
	for _, c := range []struct {
		v    Invitation
		want bool
	}{
		{Invitation{Code: "C"}, true}, {Invitation{}, false}, {Invitation{Most: 5}, false},
		{Invitation{Code: "C", Used: 1000}, true}, {Invitation{Code: "C", Most: 2, Used: 1}, true}, {Invitation{Code: "C", Most: 2, Used: 2}, false},
		{Invitation{Code: "C", Expires: noon.Add(1)}, true}, {Invitation{Code: "C", Expires: noon}, false},
	} {
		if got := c.v.Holds(noon); got != c.want {
			t.Errorf("%+v holds: %v", c.v, got)
		}
	}
}

// TestWhoseBrowserItIs: until the session or the guest's stay is over, whichever is first.
func TestWhoseBrowserItIs(t *testing.T) {
	p := &People{
		Persons: map[PersonID]Person{"anna": {ID: "anna"}, "guest": {ID: "guest", Guest: noon.Add(time.Hour)}},
		Sessions: map[string]Session{
			"a": {Hash: "a", Person: "anna", Made: noon, Expires: noon.Add(2 * time.Hour)}, "g": {Hash: "g", Person: "guest", Made: noon, Expires: noon.Add(2 * time.Hour)},
			"idle": {Hash: "idle", Person: "anna", Made: noon, Seen: noon.Add(time.Minute), Expires: noon.Add(2 * time.Hour), Idle: 30 * time.Minute},
			"x":    {Hash: "x", Person: "gone", Made: noon, Expires: noon.Add(2 * time.Hour)},
		},
	}
	for _, c := range []struct {
		hash  string
		after time.Duration
		who   PersonID // empty: nobody's
	}{
		{"a", 2*time.Hour - 1, "anna"}, {"a", 2 * time.Hour, ""}, {"g", time.Hour - 1, "guest"}, {"g", time.Hour, ""},
		{"idle", 31*time.Minute - 1, "anna"}, {"idle", 31 * time.Minute, ""}, {"x", 0, ""}, {"none", 0, ""},
	} {
		who, ok := p.SessionPerson(c.hash, noon.Add(c.after))
		if ok != (c.who != "") || ok && who.ID != c.who {
			t.Errorf("%s after %v is that of %q, %v", c.hash, c.after, who.ID, ok)
		}
	}
}

// TestJoiningFromInside: who is let in by somebody in the room lives here, whatever code
// was typed; and who asks for no session gets none.
func TestJoiningFromInside(t *testing.T) {
	w := settled(t)
	w.do(InviteGuests{ID: "g", Room: "cellar", Home: HomeIDFor("12"), Code: "GUEST", Most: 2, Until: noon.Add(time.Hour)})
	sessions := len(w.people.Sessions)
	w.do(JoinBuilding{Room: "cellar", Code: "guest", HomeName: "13", Open: true, Inside: true, NewID: "cleo", Expires: noon.Add(time.Hour)})
	if got := w.people.Persons["cleo"]; !got.Guest.IsZero() || got.Home != HomeIDFor("13") || w.people.Guests["g"].Used != 0 || len(w.people.Sessions) != sessions {
		t.Errorf("in is %+v, with %d sessions more", got, len(w.people.Sessions)-sessions)
	}
	w.do(Subscribe{Subscription: Subscription{ID: "d", Person: "cleo"}})
	if w.do(Unsubscribe{Person: "cleo", ID: "d"}); len(w.people.Subscriptions) != 0 {
		t.Error("a person cannot remove their own phone")
	}
	w.do(SignOut{SessionHash: "session of bob"})
	if len(w.last.Facts) != 0 || w.in("session of bob") {
		t.Errorf("a resident who signs out is in the log: %+v", w.last.Facts)
	}
	w.reload()
}

// TestLengthsOfAddresses: RFC 5321 section 4.5.3.1: a path has 256 octets with its
// brackets, a local part 64; RFC 1035 section 2.3.4: a label has 63. RFC 1123 section
// 2.1 allows labels that begin with a digit, and RFC 3696 section 2 no top level of
// digits alone.
func TestLengthsOfAddresses(t *testing.T) {
	label := strings.Repeat("a", 63)
	long := "a@" + strings.Join([]string{label, label, label}, ".") // 2 + 191
	for text, ok := range map[string]bool{
		"a@" + label + ".org": true, "a@" + label + "a.org": false,
		long + "." + strings.Repeat("b", 254-len(long)-5) + ".org": true, long + "." + strings.Repeat("b", 255-len(long)-5) + ".org": false,
		"z@example.org": true, "a@z.az": true, "Z0@example.org": true, "A9@0z9.org": true, "a@9.Z0": true, "a@example.0": false, "a@example.9": false, "a@example.a1": true,
		"a@b": false, "a@b.c": true, "{a@b.c": true, "a{@b.c": true, "a@b{.c": false, "[a@b.c": false, "a:@b.c": false, "a/b@c.de": true, "a@b/c.de": false, "a@b.c`": false, "a@@b.c": false,
	} {
		if _, err := MailAddress(text); (err == nil) != ok {
			t.Errorf("%q (%d octets): %v", text, len(text), err)
		}
	}
}

// TestOldBuildingsGoOver: whatever is done first in a building of the time when there was
// one manager without a name, the passphrase is stored in the new form with it.
func TestOldBuildingsGoOver(t *testing.T) {
	rows := []Row{{"person", "boss", []byte(`{"ID":"boss","Name":"Building manager","Manager":true,"Joined":"2026-06-10T12:00:00Z"}`)}, {"manager", "way-in", []byte(`{"Passphrase":"$old"}`)}}
	for name, ev := range map[string]PeopleEvent{
		"notices are seen": SeeNotices{By: "boss", At: noon}, "signing in": SignInManager{Person: "boss", Known: "b"}, "another passphrase": ChangePassphrase{By: "boss", Passphrase: "$new"},
	} {
		people, err := RestorePeople(Stored{Rows: rows})
		if err != nil || !reflect.DeepEqual(people.WaysIn, map[PersonID]WayIn{"boss": {Person: "boss", Passphrase: "$old"}}) {
			t.Fatalf("read as %+v, %v", people, err)
		}
		w := &town{T: t, people: people, rows: map[[2]string]Row{}, now: noon}
		for _, row := range rows {
			w.rows[[2]string{row.Table, row.Key}] = row
		}
		w.do(ev)
		if got := string(w.rows[[2]string{"manager", "way-in"}].Value); strings.Contains(got, "$") {
			t.Errorf("%s: the old form is still %s", name, got)
		}
		if got := string(w.rows[[2]string{"way-in", "boss"}].Value); !strings.Contains(got, `"Person":"boss","Passphrase":"$`) {
			t.Errorf("%s: the new form is %s", name, got)
		}
		w.reload()
	}
}
