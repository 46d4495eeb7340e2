package ui

import (
	"context"
	"errors"
	"go/ast"
	"go/token"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/push/words"
	"drumturn/queue"
)

// TestLogPage: the manager reads a day newest first, with homes and the reason of
// each overtaking; a failing store is no empty day.
func TestLogPage(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	h.resident("dan", "h6")
	s := newTestServer(t, h, nil)
	var failure error
	s.o.Facts = func(_ context.Context, room coordinator.RoomID, from, to time.Time, each func(coordinator.Fact) bool) error {
		if room != "cellar" || to.Sub(from) < 23*time.Hour {
			t.Errorf("asked for %s from %s to %s", room, from, to)
		}
		each(coordinator.Fact{At: from.Add(9 * time.Hour), Kind: coordinator.FactJoined, Home: "h6", Turn: 4, Note: "wash"})
		each(coordinator.Fact{At: from.Add(10 * time.Hour), Kind: coordinator.FactOvertaken, Machine: "w4", Turn: 4, By: 5, Why: queue.OverReserved})
		return failure
	}
	page := get("/manager/r/cellar/log?day=2026-06-10").as("", "secret-of-boss").of(s)
	body := page.Body.String()
	joined, over := strings.Index(body, "Joined the queue"), strings.Index(body, "was called before "+callWord(4)+": the machine is for other homes")
	if page.Code != http.StatusOK || joined < 0 || over < 0 || over > joined || !strings.Contains(body, "Wednesday 10 June 2026") {
		t.Errorf("%d: joined at %d, overtaken at %d\n%s", page.Code, joined, over, body)
	}
	failure = errors.New("disk")
	if page := get("/manager/r/cellar/log").as("", "secret-of-boss").of(s); page.Code != http.StatusInternalServerError {
		t.Errorf("a store that fails gives %d", page.Code)
	}
	if page := get("/manager/r/cellar/log").as("secret-of-dan", "").of(s); page.Code != http.StatusForbidden {
		t.Errorf("a resident gets %d", page.Code)
	}
}

// TestEveryFactHasWords: what rooms write down, by the constants and notes of their own code.
func TestEveryFactHasWords(t *testing.T) {
	kinds, notes := factsInCode(t)
	if len(kinds) < 30 || len(notes) < 25 {
		t.Fatalf("only %d kinds and %d notes found: does this test still read the code?", len(kinds), len(notes))
	}
	en := words.English()
	for _, kind := range kinds {
		if kind != string(coordinator.FactOvertaken) && !en.Has("fact."+kind) {
			t.Errorf("the catalogue lacks fact.%s", kind)
		}
	}
	for manner := coordinator.Allowed; manner <= coordinator.Reported; manner++ {
		notes = append(notes, manner.String())
	}
	for need := queue.Wash; need <= queue.WashAndDry; need++ {
		notes = append(notes, need.String())
	}
	for _, end := range []cycle.Kind{cycle.Finished, cycle.StoppedEarly, cycle.Presumed} {
		notes = append(notes, end.String())
	}
	for _, note := range append(notes, string(coordinator.EndReported)) {
		if !en.Has(noteKey(note)) {
			t.Errorf("the catalogue lacks %s", noteKey(note))
		}
	}
}

// factsInCode reads the kinds of facts, and the notes that rooms put behind them.
func factsInCode(t *testing.T) (kinds, notes []string) {
	t.Helper()
	source(t, "../coordinator", func(_ *token.FileSet, n ast.Node) bool {
		switch n := n.(type) {
		case *ast.ValueSpec:
			for i, value := range n.Values {
				of, _ := n.Type.(*ast.Ident)
				switch name := n.Names[i].Name; {
				case of != nil && of.Name == "FactKind":
					kinds = append(kinds, literal(value)...)
				case name == "earlyNote" || regexp.MustCompile("^by[A-Z]").MatchString(name):
					notes = append(notes, literal(value)...)
				}
			}
		case *ast.KeyValueExpr:
			if key, ok := n.Key.(*ast.Ident); ok && key.Name == "Note" {
				notes = append(notes, literal(n.Value)...)
			}
		case *ast.AssignStmt:
			for i, left := range n.Lhs {
				if name, ok := left.(*ast.Ident); ok && name.Name == "note" && len(n.Lhs) == len(n.Rhs) {
					notes = append(notes, literal(n.Rhs[i])...)
				}
			}
		}
		return true
	})
	return kinds, slices.DeleteFunc(notes, func(s string) bool { return s == "" })
}

// TestFactWords: what a line of the log says, in English and in a language that
// is written from right to left.
func TestFactWords(t *testing.T) {
	for _, c := range []struct {
		fact     coordinator.Fact
		en, want string
	}{
		{coordinator.Fact{Kind: coordinator.FactJoined, Turn: 4, Note: "wash"}, "Joined the queue, turn beacon, to wash.", "انضم إلى الطابور، الدور \u2068" + callWord(4) + "\u2069، للغسل."},
		{coordinator.Fact{Kind: coordinator.FactCalled, Wait: 95 * time.Minute}, "Called, after 1 h 35 min.", "نودي عليه، بعد 1 س 35 د."},
		{coordinator.Fact{Kind: coordinator.FactFault, Note: "it leaks"}, "A fault was reported, “it leaks”.", "بلاغ عن عطل، «\u2068it leaks\u2069»."},
		{coordinator.Fact{Kind: coordinator.FactNudged, Note: "step 2: next"}, "A reminder went out, step 2: the next in the queue.", "تواصلت التذكيرات، الخطوة 2: التالي في الطابور."},
		{coordinator.Fact{Kind: "of-tomorrow"}, "of-tomorrow.", "of-tomorrow."},
	} {
		if got := factWords(words.English(), &c.fact); got != strings.Replace(c.en, "beacon", callWord(4), 1) {
			t.Errorf("%q, want %q", got, c.en)
		}
		if got := factWords(words.Exactly("ar"), &c.fact); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}
