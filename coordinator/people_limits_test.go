package coordinator

import (
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"
)

// TestNewLinksTakeTheOldOnesPlace: a link for somebody of the same name, however it is
// written, and one that has run out; others stay.
func TestNewLinksTakeTheOldOnesPlace(t *testing.T) {
	w := managed(t)
	invite := func(hash, name string, hours int) {
		w.do(InviteManager{By: "boss", Hash: hash, Name: name, Expires: w.now.Add(time.Duration(hours) * time.Hour)})
	}
	invite("a", "Cleo", 2)
	invite("b", "Dora", 1)
	invite("c", "Emil", 2)
	invite("d", "CLEO", 3)
	if got := sortedKeys(w.people.ManagerInvites); !slices.Equal(got, []string{"b", "c", "d"}) {
		t.Errorf("after another for Cleo there are %v", got)
	}
	w.now = w.now.Add(time.Hour) // to the instant at which Dora's ends
	invite("e", "Fred", 1)
	if got := sortedKeys(w.people.ManagerInvites); !slices.Equal(got, []string{"c", "d", "e"}) {
		t.Errorf("after Dora's ran out there are %v", got)
	}
	w.reload()
}

// TestKnownBrowsers: each once, the ten that were new last.
func TestKnownBrowsers(t *testing.T) {
	w := managed(t)
	sign := func(known string) {
		w.do(SignInManager{Person: "boss", Known: known})
	}
	for i := range 12 {
		w.now = w.now.Add(time.Minute)
		sign(fmt.Sprint("b", i))
		sign(fmt.Sprint("b", i))
		sign("")
	}
	var got []string
	for _, k := range w.people.WaysIn["boss"].Known {
		got = append(got, k.Hash)
	}
	if want := []string{"b2", "b3", "b4", "b5", "b6", "b7", "b8", "b9", "b10", "b11"}; !slices.Equal(got, want) {
		t.Errorf("known are %v, want %v", got, want)
	}
	w.reload()
}

// TestUsesOfABrowserAreNoted: every ten minutes at most, not after its end, and only of
// browsers whose session ends when they lie idle.
func TestUsesOfABrowserAreNoted(t *testing.T) {
	w := managed(t)
	w.joinAs("anna", "12")
	for _, c := range []struct {
		hash          string
		after         time.Duration // since the session was opened
		lately, noted bool
	}{
		{"m1", 10*time.Minute - 1, true, false},
		{"m1", 10 * time.Minute, false, true},
		{"m1", 20*time.Minute - 1, true, false},
		{"m1", 25 * time.Minute, false, true},
		{"session of anna", 50 * time.Minute, true, false},
		{"none", 50 * time.Minute, true, false},
		{"m1", 14*24*time.Hour + 25*time.Minute - 1, false, true},
		{"m1", 29 * 24 * time.Hour, false, false}, // 14 days and more without use
	} {
		w.now = noon.Add(c.after)
		if got := w.people.NotedLately(c.hash, w.now); got != c.lately {
			t.Errorf("%s after %v was noted lately: %v", c.hash, c.after, got)
		}
		w.do(SawSession{SessionHash: c.hash, Where: "192.0.2.1"})
		if w.last.Moves() != c.noted || c.noted && !w.people.Sessions[c.hash].Seen.Equal(w.now) {
			t.Errorf("%s after %v: noted %v", c.hash, c.after, w.last.Moves())
		}
		w.reload()
	}
}

// TestGuestsStayAsLongAsTheyMay: their browser no longer than their code, nor longer
// than others' browsers; the code for as many as it is for, until its end.
func TestGuestsStayAsLongAsTheyMay(t *testing.T) {
	w := settled(t)
	until := noon.Add(5 * time.Hour)
	w.do(InviteGuests{ID: "old", Room: "cellar", Home: HomeIDFor("13"), Code: "OLD", Most: 5, Until: noon.Add(time.Hour)})
	w.do(InviteGuests{ID: "g", Room: "cellar", Home: HomeIDFor("12"), Code: "GUEST", Most: 2, Until: until})
	w.reload()
	if len(w.people.Guests) != 2 {
		t.Fatalf("%d codes, want both", len(w.people.Guests))
	}
	join := func(id PersonID, hours int) JoinBuilding {
		return JoinBuilding{Room: "cellar", Code: "guest", NewID: id, SessionHash: "of " + string(id), Expires: noon.Add(time.Duration(hours) * time.Hour)}
	}
	w.do(join("short", 2))
	w.do(join("long", 9))
	w.refused(join("third", 2), "join.over")
	for id, end := range map[PersonID]time.Time{"short": noon.Add(2 * time.Hour), "long": until} {
		person := w.people.Persons[id]
		if got := w.people.Sessions["of "+string(id)].Expires; !got.Equal(end) || !person.Guest.Equal(until) || person.Home != HomeIDFor("12") {
			t.Errorf("%s: the browser until %v, want %v; %+v", id, got, end, person)
		}
		if person.Gone(until.Add(-1)) || !person.Gone(until) {
			t.Errorf("%s does not end with the code", id)
		}
	}
	if anna := w.people.Persons["anna"]; anna.Gone(until.Add(1000 * time.Hour)) {
		t.Error("who lives here is gone with the guests")
	}
	w.now = noon.Add(time.Hour)
	w.refused(JoinBuilding{Room: "cellar", Code: "OLD", NewID: "late"}, "join.over")
	w.do(InviteGuests{ID: "next", Room: "cellar", Home: HomeIDFor("12"), Code: "NEXT", Most: 1, Until: until})
	if got := sortedKeys(w.people.Guests); !slices.Equal(got, []string{"g", "next"}) {
		t.Errorf("codes %v, want those that hold", got)
	}
	w.reload()
}

// TestNextEnd: the end of the guest who leaves first.
func TestNextEnd(t *testing.T) {
	guest := func(hours ...int) *People {
		p := &People{Persons: map[PersonID]Person{"anna": {ID: "anna"}}}
		for i, h := range hours {
			id := PersonID(fmt.Sprint("g", i))
			p.Persons[id] = Person{ID: id, Guest: noon.Add(time.Duration(h) * time.Hour)}
		}
		return p
	}
	for _, c := range []struct {
		p    *People
		want time.Time
	}{
		{guest(), time.Time{}}, {guest(3), noon.Add(3 * time.Hour)}, {guest(5, 2, 9, 4), noon.Add(2 * time.Hour)}, {guest(1, 2, 3), noon.Add(time.Hour)}, {guest(3, 2, 1), noon.Add(time.Hour)},
	} {
		for range 10 { // a table has no order
			if got := c.p.NextEnd(); !got.Equal(c.want) {
				t.Errorf("of %d the next ends at %v, want %v", len(c.p.Persons)-1, got, c.want)
			}
		}
	}
}

// TestARenewedPhone: a subscription that takes another's place ends that one, of the
// same person only.
func TestARenewedPhone(t *testing.T) {
	for _, c := range []struct {
		name string
		ev   Subscribe
		want []string
	}{
		{"another of anna's", Subscribe{Subscription: Subscription{ID: "new", Person: "anna"}}, []string{"annas", "bobs", "new"}},
		{"in place of hers", Subscribe{Subscription: Subscription{ID: "new", Person: "anna"}, Old: "annas"}, []string{"bobs", "new"}},
		{"in place of bob's", Subscribe{Subscription: Subscription{ID: "new", Person: "anna"}, Old: "bobs"}, []string{"annas", "bobs", "new"}},
		{"in place of none", Subscribe{Subscription: Subscription{ID: "new", Person: "anna"}, Old: "gone"}, []string{"annas", "bobs", "new"}},
		{"in place of itself", Subscribe{Subscription: Subscription{ID: "annas", Person: "anna"}, Old: "annas"}, []string{"annas", "bobs"}},
	} {
		w := settled(t)
		w.do(Subscribe{Subscription: Subscription{ID: "annas", Person: "anna"}})
		w.do(Subscribe{Subscription: Subscription{ID: "bobs", Person: "bob"}})
		w.do(c.ev)
		if got := sortedKeys(w.people.Subscriptions); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
		for _, row := range w.last.Rows {
			if c.ev.Old == c.ev.Subscription.ID && row.Value == nil {
				t.Errorf("%s: it is deleted on the way", c.name)
			}
		}
		w.reload()
	}
}

// TestWhatALostPhoneLeaves: who signs all other browsers out has no one-time code left
// and no phone; others keep theirs.
func TestWhatALostPhoneLeaves(t *testing.T) {
	w := settled(t)
	w.do(OfferPass{Person: "anna", Hash: "p1", Expires: noon.Add(time.Hour)})
	w.do(OfferPass{Person: "bob", Hash: "p2", Expires: noon.Add(time.Hour)})
	w.do(Subscribe{Subscription: Subscription{ID: "d1", Person: "anna"}})
	w.do(Subscribe{Subscription: Subscription{ID: "d2", Person: "bob"}})
	w.do(SignOutOthers{Person: "anna", Keep: "none"})
	if passes, phones := sortedKeys(w.people.Passes), sortedKeys(w.people.Subscriptions); !slices.Equal(passes, []string{"p2"}) || !slices.Equal(phones, []string{"d2"}) {
		t.Errorf("left are the codes %v and the phones %v, want bob's", passes, phones)
	}
	if w.in("session of anna") || !w.in("session of bob") || !w.in("m1") {
		t.Error("the wrong browsers are signed out")
	}
	w.do(EndSession{Person: "bob", Hash: "session of bob"})
	if w.in("session of bob") {
		t.Error("a browser that was ended is in")
	}
	w.reload()
}

// TestWhoBecomesOne: the name, what is blocked and how long guests stay, of two people
// or of two homes.
func TestWhoBecomesOne(t *testing.T) {
	for _, c := range []struct{ into, from, name string }{{"", "", ""}, {"Anna", "", "Anna"}, {"", "Ann", "Ann"}, {"Anna", "Ann", "Anna"}} {
		for blocked := range 4 {
			w := settled(t)
			w.people.Persons = map[PersonID]Person{
				"anna": {ID: "anna", Home: HomeIDFor("12"), Name: c.into, Blocked: blocked&1 > 0}, "bob": {ID: "bob", Home: HomeIDFor("13"), Name: c.from, Blocked: blocked&2 > 0},
			}
			w.do(MergePersons{From: "bob", Into: "anna"})
			if got := w.people.Persons["anna"]; got.Name != c.name || got.Blocked != (blocked > 0) || got.Home != HomeIDFor("12") || len(w.people.Persons) != 1 {
				t.Errorf("%+v, blocked %d, became %+v", c, blocked, w.people.Persons)
			}
			w.do(Block{Home: HomeIDFor("12"), On: blocked&1 > 0})
			w.do(Block{Home: HomeIDFor("13"), On: blocked&2 > 0})
			w.do(MergeHomes{From: HomeIDFor("13"), Into: HomeIDFor("12")})
			if got := w.people.Homes[HomeIDFor("12")].Blocked; got != (blocked > 0) {
				t.Errorf("of homes blocked as %d the one that is left is blocked: %v", blocked, got)
			}
		}
	}
}

// TestBrowsersOfWhoBecomesOne: those of the one are the other's; everybody else's stay.
func TestBrowsersOfWhoBecomesOne(t *testing.T) {
	w := settled(t)
	w.do(Subscribe{Subscription: Subscription{ID: "bens", Person: "ben"}})
	w.do(Subscribe{Subscription: Subscription{ID: "bobs", Person: "bob"}})
	w.joinAs("cleo", "13")
	w.do(MergePersons{From: "bob", Into: "anna"})
	for hash, want := range map[string]PersonID{"session of anna": "anna", "session of bob": "anna", "session of cleo": "cleo", "m1": "boss", "b1": "ben"} {
		if got := w.people.Sessions[hash].Person; got != want {
			t.Errorf("%s is that of %s, want %s", hash, got, want)
		}
	}
	if a, b := w.people.Subscriptions["bobs"].Person, w.people.Subscriptions["bens"].Person; a != "anna" || b != "ben" {
		t.Errorf("the phones are those of %s and %s", a, b)
	}
	w.reload()
}

// TestAHomeOfManyNames: the home that others become part of answers to all their names,
// each told once, and takes their guests; who joins by any of them is of it.
func TestAHomeOfManyNames(t *testing.T) {
	w := managed(t)
	for i, home := range []string{"12", "twelve", "12a", "13"} {
		w.joinAs(PersonID(fmt.Sprint("p", i)), home)
	}
	twelve, until := HomeIDFor("12"), noon.Add(time.Hour)
	w.do(InviteGuests{ID: "a", Room: "cellar", Home: HomeIDFor("12a"), Code: "A", Most: 1, Until: until})
	w.do(InviteGuests{ID: "b", Room: "cellar", Home: HomeIDFor("13"), Code: "B", Most: 1, Until: until})
	w.do(MergeHomes{From: HomeIDFor("twelve"), Into: HomeIDFor("12a")})
	w.do(MergeHomes{From: HomeIDFor("12a"), Into: twelve})
	if got := w.people.Homes[twelve]; !slices.Equal(got.Also, []string{"12a", "twelve"}) || len(w.people.Homes) != 2 {
		t.Errorf("the home is also called %q, and there are %d", got.Also, len(w.people.Homes))
	}
	if a, b := w.people.Guests["a"].Home, w.people.Guests["b"].Home; a != twelve || b != HomeIDFor("13") {
		t.Errorf("the guests are of %s and %s", a, b)
	}
	w.joinAs("new", " TWELVE")
	w.joinAs("other", "12A")
	if a, b := w.people.Persons["new"].Home, w.people.Persons["other"].Home; a != twelve || b != twelve {
		t.Errorf("who joins by another name is of %s and %s", a, b)
	}
	// A name that both have is told once.
	for _, c := range []struct{ into, from Home }{
		{Home{Name: "a", Also: []string{"b"}}, Home{Name: "B", Also: []string{"A", "c"}}}, {Home{Name: "a"}, Home{Name: "b", Also: []string{"c", "C"}}},
	} {
		if got := alsoCalled(c.into, c.from); !slices.Equal(got, []string{"b", "c"}) {
			t.Errorf("%+v with %+v is also called %q", c.into, c.from, got)
		}
	}
	w.reload()
}

// TestHomeIDs: a building file names homes whose ids are to stay the same for ever:
// the first 8 octets of SHA-256 of "home " and the name, in hex, checked with sha256sum.
func TestHomeIDs(t *testing.T) {
	for name, want := range map[string]HomeID{"12": "ha68e2433f5ba3034", " 2ND  floor left ": "h24fed71a07bdb1ba"} {
		if got := HomeIDFor(name); got != want {
			t.Errorf("%q is %s, want %s", name, got, want)
		}
	}
}

// TestBoundsOfPrograms: each limit at its last allowed value and one beyond.
func TestBoundsOfPrograms(t *testing.T) {
	w := managed(t)
	token := func(id int, name string) MakeToken {
		return MakeToken{Token: Token{Name: name, Hash: fmt.Sprintf("%016d", id) + longText(48), Scopes: []TokenScope{ScopeUse}}}
	}
	hook := func(n int) AddWebhook {
		return AddWebhook{Webhook: Webhook{ID: fmt.Sprint(n), Secret: "s", URL: "https://" + longText(492)}}
	}
	w.refused(token(0, longText(61)), "token.name")
	for i := range 50 {
		w.do(token(i, longText(60)))
	}
	w.refused(token(50, "n"), "token.many")
	for _, spoil := range []func(*Webhook){func(h *Webhook) { h.ID = "" }, func(h *Webhook) { h.Secret = "" }} {
		bad := hook(0)
		spoil(&bad.Webhook)
		w.refused(bad, "webhook.secret")
	}
	for _, url := range []string{"", "https://" + longText(493)} {
		bad := hook(0)
		bad.Webhook.URL = url
		w.refused(bad, "webhook.url")
	}
	for i := range 20 {
		w.do(hook(i))
	}
	w.refused(hook(20), "webhook.many")
	w.reload()
	w.do(RemoveWebhook{ID: "7"})
	w.refused(hook(8), "webhook.twice")
	w.do(hook(20))
	w.do(MoveWebhook{State: HookState{ID: "8", Fails: 2, Calls: make([]HookCall, 31)}})
	if got := w.people.HookStates["8"]; got.Fails != 2 || len(got.Calls) != 30 {
		t.Errorf("of a webhook's deliveries %d are kept, after %d failures", len(got.Calls), got.Fails)
	}
	// When a token was last used is kept to the hour.
	id := fmt.Sprintf("%016d", 7)
	for _, c := range []struct {
		after time.Duration
		noted bool
	}{{0, true}, {time.Hour - 1, false}, {time.Hour, true}, {2*time.Hour - 1, false}, {5 * time.Hour, true}} {
		w.now = noon.Add(c.after)
		if w.do(UseToken{ID: id}); w.last.Moves() != c.noted {
			t.Errorf("a use after %v is noted: %v", c.after, w.last.Moves())
		}
	}
	if got := w.people.Tokens[id].Used; !got.Equal(noon.Add(5 * time.Hour)) {
		t.Errorf("last used at %v", got)
	}
	w.reload()
}

// TestTokensAreFoundByAllOfTheirHash: the id is a part of it, and opens nothing.
func TestTokensAreFoundByAllOfTheirHash(t *testing.T) {
	w := managed(t)
	hash := "0123456789abcdef" + longText(48)
	w.do(MakeToken{Token: Token{Name: "n", Hash: hash, Scopes: []TokenScope{ScopeUse}}})
	for text, want := range map[string]bool{hash: true, hash[:16]: false, hash[:63]: false, hash[:63] + "y": false, "": false, "01": false} {
		if _, ok := w.people.TokenByHash(text); ok != want {
			t.Errorf("%q opens: %v", text, ok)
		}
	}
	if got := sortedKeys(w.people.Tokens); !slices.Equal(got, []string{"0123456789abcdef"}) {
		t.Errorf("its id is %q", got)
	}
	if got := TokenScopes(); !reflect.DeepEqual(got, []TokenScope{"status", "use", "events", "manage-webhooks", "metrics"}) {
		t.Errorf("the scopes are %q", got)
	}
}

// TestWhatAWebhookWants: what it names; all, where it names nothing.
func TestWhatAWebhookWants(t *testing.T) {
	all, some := Webhook{}, Webhook{Kinds: []FactKind{FactCycle, FactOut}}
	if !all.Wants(FactCycle) || !all.Wants(FactFault) || !some.Wants(FactOut) || some.Wants(FactFault) {
		t.Error("a webhook gets what it does not want, or does not get what it wants")
	}
}
