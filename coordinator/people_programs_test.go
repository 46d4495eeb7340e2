package coordinator

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"drumturn/queue"
)

// programsOf steps events about other programs, one a minute.
type programsOf struct {
	*testing.T
	people *People
	now    time.Time
	facts  []Fact
	sets   []ChangeSet
}

func newProgramsOf(t *testing.T) *programsOf {
	people, err := RestorePeople(Stored{})
	if err != nil {
		t.Fatal(err)
	}
	return &programsOf{T: t, people: people, now: time.Date(2026, 3, 17, 12, 0, 0, 0, time.UTC)}
}

// do steps an event; what is refused has the key, and changes nothing.
func (p *programsOf) do(ev PeopleEvent, refused string) {
	p.Helper()
	p.now = p.now.Add(time.Minute)
	next, set, err := p.people.Step(p.now, ev)
	key := ""
	if e, ok := errors.AsType[*Error](err); ok {
		key = e.Key
	}
	if key != refused || err != nil && (next != p.people || set.Moves()) {
		p.Errorf("%T%+v: %v, want %q", ev, ev, err, refused)
	}
	if e, ok := errors.AsType[*Error](err); ok && e.Code != codeOf[key] {
		p.Errorf("%T is refused as %q with the code %d, want %d", ev, key, e.Code, codeOf[key])
	}
	p.people, p.facts = next, append(p.facts, set.Facts...)
	p.sets = append(p.sets, set)
}

// restored is what a store gives back of all that was stored.
func (p *programsOf) restored() *People {
	p.Helper()
	rows := map[string]Row{}
	for _, set := range p.sets {
		for _, r := range set.Rows {
			if rows[r.Table+r.Key] = r; r.Value == nil {
				delete(rows, r.Table+r.Key)
			}
		}
	}
	stored := Stored{}
	for _, r := range rows {
		stored.Rows = append(stored.Rows, r)
	}
	people, err := RestorePeople(stored)
	if err != nil {
		p.Fatal(err)
	}
	return people
}

func TestTokens(t *testing.T) {
	p := newProgramsOf(t)
	good := Token{Name: " Screen ", Hash: strings.Repeat("ab", 32), Scopes: []TokenScope{ScopeStatus, ScopeEvents}}
	for key, spoil := range map[string]func(*Token){
		"token.name": func(t *Token) { t.Name = "  " }, "token.hash": func(t *Token) { t.Hash = "abc" }, "token.scopes": func(t *Token) { t.Scopes = nil },
	} {
		bad := good
		spoil(&bad)
		p.do(MakeToken{Token: bad, By: "boss"}, key)
	}
	p.do(MakeToken{Token: Token{Name: "Scr\xffen", Hash: good.Hash, Scopes: good.Scopes}}, "token.name") // would not read back
	foreign := good
	foreign.Scopes = []TokenScope{ScopeStatus, "everything"}
	p.do(MakeToken{Token: foreign}, "token.scopes")
	p.do(MakeToken{Token: good, By: "boss"}, "")
	made := p.now
	token, ok := p.people.TokenByHash(good.Hash)
	if !ok || token.Name != "Screen" || !token.Made.Equal(made) || !token.May(ScopeEvents) || token.May(ScopeMetrics) {
		t.Fatalf("%+v", token)
	}
	if _, ok := p.people.TokenByHash(good.Hash[:16] + strings.Repeat("0", 48)); ok {
		t.Error("another secret with the same beginning passes")
	}
	p.do(UseToken{ID: token.ID}, "")
	used := p.now
	p.do(UseToken{ID: token.ID}, "")
	if got := p.people.Tokens[token.ID].Used; !got.Equal(used) || p.sets[len(p.sets)-1].Moves() {
		t.Errorf("used %v, want %v, noted once an hour", got, used)
	}
	p.do(UseToken{ID: "gone"}, "")
	if back := p.restored().Tokens[token.ID]; !back.Used.Equal(used) || back.Hash != good.Hash {
		t.Errorf("restored as %+v", back)
	}
	p.do(RevokeToken{ID: token.ID, By: "boss"}, "")
	p.do(RevokeToken{ID: token.ID, By: "boss"}, "token.unknown")
	if len(p.restored().Tokens) != 0 {
		t.Error("a revoked token is restored")
	}
	if len(p.facts) != 2 || p.facts[0].Kind != FactTokenMade || p.facts[0].Person != "boss" || p.facts[0].Note != "Screen" || p.facts[1].Kind != FactTokenRevoked {
		t.Errorf("the log says %+v", p.facts)
	}
	for i := range mostTokens {
		p.do(MakeToken{Token: Token{Name: "x", Hash: fmt.Sprintf("%02d", i) + strings.Repeat("c", 62), Scopes: good.Scopes}}, "")
	}
	p.do(MakeToken{Token: good}, "token.many")
}

func TestWebhooks(t *testing.T) {
	p := newProgramsOf(t)
	good := Webhook{ID: "h1", URL: "https://hooks.example.org/secret-path", Secret: "s", Kinds: []FactKind{FactFault}}
	for key, spoil := range map[string]func(*Webhook){
		"webhook.secret": func(w *Webhook) { w.Secret = "" }, "webhook.url": func(w *Webhook) { w.URL = strings.Repeat("x", 501) },
		"webhook.kinds": func(w *Webhook) { w.Kinds = []FactKind{FactFault, FactNudged} },
	} {
		bad := good
		spoil(&bad)
		p.do(AddWebhook{Webhook: bad}, key)
	}
	p.do(AddWebhook{Webhook: good, By: "boss"}, "")
	p.do(AddWebhook{Webhook: good}, "webhook.twice")
	if w := p.people.WebhooksByAge(); len(w) != 1 || !w[0].Wants(FactFault) || w[0].Wants(FactOut) || !w[0].Made.Equal(p.now.Add(-time.Minute)) {
		t.Fatalf("%+v", w)
	}
	st := HookState{ID: "h1", After: map[RoomID]FactID{"cellar": {At: p.now, N: 7}}, Fails: 2, Calls: make([]HookCall, hookCallsKept+5)}
	p.do(MoveWebhook{State: st}, "")
	p.do(MoveWebhook{State: HookState{ID: "gone"}}, "")
	back := p.restored()
	if got := back.HookStates["h1"]; got.After["cellar"] != (FactID{p.now.Add(-2 * time.Minute), 7}) || got.Fails != 2 || len(got.Calls) != hookCallsKept {
		t.Errorf("restored as %+v", got)
	}
	if len(back.HookStates) != 1 {
		t.Errorf("%v", back.HookStates)
	}
	p.do(RemoveWebhook{ID: "h1", By: "boss"}, "")
	p.do(RemoveWebhook{ID: "h1"}, "webhook.unknown")
	if back := p.restored(); len(back.Webhooks)+len(back.HookStates) != 0 {
		t.Errorf("something is left: %+v", back)
	}
	if len(p.facts) != 2 || p.facts[0].Note != "hooks.example.org" || p.facts[1].Kind != FactHookRemoved {
		t.Errorf("the log says %+v", p.facts)
	}
}

// TestWebhooksOfPrograms: what was done with a token is in the log with the
// token in a manager's place; a manager who is known comes first; what is refused is not there.
func TestWebhooksOfPrograms(t *testing.T) {
	p := newProgramsOf(t)
	hook := Webhook{ID: "h1", URL: "https://hooks.example.org/x", Secret: "s"}
	p.do(AddWebhook{Webhook: hook, Token: "abc"}, "")
	p.do(AddWebhook{Webhook: hook, Token: "abc"}, "webhook.twice")
	p.do(RemoveWebhook{ID: "h1", Token: "def"}, "")
	p.do(RemoveWebhook{ID: "h1", Token: "def"}, "webhook.unknown")
	p.do(AddWebhook{Webhook: hook, By: "boss", Token: "abc"}, "")
	p.do(RemoveWebhook{ID: "h1"}, "")
	want := []Fact{
		{Kind: FactHookAdded, About: "token:abc", Note: "hooks.example.org"},
		{Kind: FactHookRemoved, About: "token:def", Note: "hooks.example.org"},
		{Kind: FactHookAdded, Person: "boss", Note: "hooks.example.org"},
	}
	if len(p.facts) != len(want) {
		t.Fatalf("the log says %+v", p.facts)
	}
	for i := range want {
		want[i].At = p.facts[i].At
		if p.facts[i] != want[i] {
			t.Errorf("fact %d is %+v, want %+v", i, p.facts[i], want[i])
		}
	}
	if kind, id := About(AboutToken("abc")); kind != "token" || id != "abc" {
		t.Errorf("it is about %s %s", kind, id)
	}
}

// TestFactIDs are read back as they were written; what is none is refused.
func TestFactIDs(t *testing.T) {
	id := FactID{time.Date(2026, 3, 17, 12, 0, 0, 123456789, time.UTC), 42}
	if got, err := ParseFactID(id.String()); err != nil || got != id || id.String() != "1773748800123456789-42" {
		t.Errorf("%v, %v", got, err)
	}
	if got, err := ParseFactID(""); err != nil || !got.IsZero() || got.String() != "" {
		t.Errorf("%v, %v", got, err)
	}
	for _, bad := range []string{"x", "1", "1-", "-1", "1-x", "-1-1", "1-1-1", "99999999999999999999-1", " 1-1"} {
		if id, err := ParseFactID(bad); err == nil {
			t.Errorf("%q is %v", bad, id)
		}
	}
}

func FuzzParseFactID(f *testing.F) {
	f.Add("1773748800123456789-42")
	f.Add("0-0")
	f.Fuzz(func(t *testing.T, text string) {
		id, err := ParseFactID(text)
		if err != nil || id.IsZero() {
			return
		}
		if again, err := ParseFactID(id.String()); err != nil || again != id {
			t.Errorf("%q: %v, then %v, %v", text, id, again, err)
		}
	})
}

// TestPublicEvents: what other programs are told names nobody.
func TestPublicEvents(t *testing.T) {
	at := time.Date(2026, 3, 17, 13, 0, 0, 0, time.FixedZone("", 3600))
	full := Fact{
		At: at, Machine: "1", Person: "anna", Home: "h6", Turn: 3, By: 4, Why: queue.OverLimit, Load: 7, Cycle: 5, Start: at.Add(-time.Hour), End: at,
		EnergyWh: 500, PeakW: 2000, Wait: 90 * time.Second, Note: "typed by somebody",
	}
	for _, kind := range PublicKinds() {
		f := StoredFact{ID: FactID{at, 9}, Fact: full}
		f.Kind = kind
		ev, ok := f.Public("cellar")
		text := fmt.Sprintf("%+v", ev)
		if !ok || ev.ID != f.ID.String() || ev.At.Location() != time.UTC || strings.Contains(text, "anna") || strings.Contains(text, "h6") || ev.WaitS != 90 {
			t.Errorf("%s: %s", kind, text)
		}
		if typed := map[FactKind]bool{FactFault: true, FactOut: true, FactBack: true, FactStarted: true}; typed[kind] && ev.Detail != "" {
			t.Errorf("%s says %q", kind, ev.Detail)
		}
		if (kind == FactCycle) != (ev.EnergyWh != nil) {
			t.Errorf("%s: %s", kind, text)
		}
	}
	for _, kind := range append(ActKinds(), FactNudged, FactRules, FactClaimed, FactOvertaken, "something new") {
		f := StoredFact{Fact: full}
		f.Kind = kind
		if ev, ok := f.Public("cellar"); ok {
			t.Errorf("%s is told as %+v", kind, ev)
		}
	}
}
