package ui

import (
	"bytes"
	"compress/gzip"
	"context"
	"io"
	"net/http"
	"strings"
	"sync"
	"testing"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/ui/specimen"
)

// keptIn asks for a page in a language as a browser does that takes gzip.
func keptIn(a ask, lang string) ask {
	a.header = http.Header{"Accept-Encoding": {"gzip"}, "Accept-Language": {lang}}
	return a
}

// unzipped is an answer's text.
func unzipped(t *testing.T, body io.Reader) string {
	t.Helper()
	r, err := gzip.NewReader(body)
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// TestKeptPagesAreThePages: what is put together from kept parts is, byte for
// byte, what the template makes of the same room for the same person. A query
// that means nothing takes the long way.
func TestKeptPagesAreThePages(t *testing.T) {
	s := newTestServer(t, specimen.NewHouse(hashSecret), nil)
	seen := map[string]bool{}
	for _, who := range []string{"", "ann", "bob", "cat", "dan", "fay", "zed", "gone"} {
		for _, room := range []string{"cellar", "attic", "yard", "shut"} {
			for _, lang := range []string{"en", "ar"} {
				a := get("/r/" + room)
				if who != "" {
					a = a.as("secret-of-"+who, "")
				}
				a.header = http.Header{"Accept-Language": {lang}}
				long := a
				long.path += "?nothing=1"
				want := long.of(s).Body.String()
				for range 2 {
					if got := a.of(s).Body.String(); got != want {
						t.Fatalf("%s in %s, %s: kept\n%s\nmade\n%s", who, room, lang, got, want)
					}
				}
				if got := unzipped(t, keptIn(a, lang).of(s).Body); got != want {
					t.Errorf("%s in %s, %s: compressed it is another", who, room, lang)
				}
				seen[want] = true
			}
		}
	}
	if len(seen) < 20 {
		t.Errorf("only %d pages differ: does this test look at anybody?", len(seen))
	}
}

// TestKeptPagesFollow the room, the people and the session: nothing outlives them.
func TestKeptPagesFollow(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.resident("fay", "h8")
	s := newTestServer(t, h, nil)
	page := func() string { return get("/r/cellar").as("secret-of-fay", "").of(s).Body.String() }
	if p := page(); !strings.Contains(p, "data-push-ask") || !strings.Contains(p, "You will be called as") {
		t.Fatalf("no turn of fay's: %s", p)
	}
	next := *h.People()
	next.Subscriptions = map[string]coordinator.Subscription{"d": {ID: "d", Person: "fay"}}
	h.mu.Lock()
	h.people = &next
	h.mu.Unlock()
	if strings.Contains(page(), "data-push-ask") {
		t.Error("who has a device is still asked for one")
	}
	h.change("cellar", func(s *coordinator.Snapshot) { s.Turns = nil })
	if p := page(); strings.Contains(p, "You will be called as") || !strings.Contains(p, `id="take"`) {
		t.Error("a turn that is over still shows")
	}
	last := next
	last.Sessions = nil
	h.mu.Lock()
	h.people = &last
	h.mu.Unlock()
	if p := page(); strings.Contains(p, `name="need"`) {
		t.Error("who was signed out still sees a resident's page")
	}
}

// TestKeptPagesAreOnesOwn: many at once, while the room changes; nobody sees a
// word by which another is called.
func TestKeptPagesAreOnesOwn(t *testing.T) {
	h := newFakeHouse(fullRoom())
	turns := map[string]coordinator.TurnID{"cat": 5, "dan": 6, "eve": 7, "fay": 8}
	for who := range turns {
		h.resident(coordinator.PersonID(who), coordinator.HomeID("h-"+who))
	}
	s := newTestServer(t, h, nil)
	ctx, stop := context.WithCancel(t.Context())
	var all sync.WaitGroup
	all.Go(func() {
		for ctx.Err() == nil {
			h.change("cellar", func(s *coordinator.Snapshot) { s.Machines[0].Status = coordinator.Free })
		}
	})
	var askers sync.WaitGroup
	for who, own := range turns {
		askers.Go(func() {
			for range 25 {
				p := get("/r/cellar").as("secret-of-"+who, "").of(s).Body.String()
				mine, _, _ := strings.Cut(p, `id="board"`)
				for _, id := range turns {
					if has := strings.Contains(mine, "<strong>"+callWord(id)+"</strong>"); has != (id == own) {
						t.Errorf("%s, turn %d: %v", who, id, has)
					}
				}
			}
		})
	}
	askers.Wait()
	stop()
	all.Wait()
}

// TestKeptPagesAreMadeOnce for all to whom nothing belongs, and once for each other.
func TestKeptPagesAreMadeOnce(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.resident("kim", "h20")
	h.resident("lou", "h21")
	h.resident("fay", "h8")
	s := newTestServer(t, h, nil)
	file := func(who string) *keptPage {
		t.Helper()
		_ = get("/r/cellar").as("secret-of-"+who, "").of(s)
		value, ok := s.scenes.get("cellar", words.English()).kept.own.Load(coordinator.PersonID(who))
		if !ok {
			t.Fatalf("nothing is kept for %s", who)
		}
		return value.(*ownPage).page
	}
	fay := file("fay")
	if file("kim") != file("lou") || file("kim") == fay || fay != file("fay") {
		t.Error("pages are made for the wrong people")
	}
	if a, b := file("fay").file, file("kim").file; bytes.Equal(a.plain, b.plain) {
		t.Error("fay's page is as kim's")
	}
}
