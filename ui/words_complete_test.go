package ui

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
)

// saying finds what a template says: the function, the key, and the rest of its arguments.
var saying = regexp.MustCompile(`\b(t|rich|count) "([^"]+)"((?:[^{}"]|"[^"]*")*)`)

var quoted = regexp.MustCompile(`"([^"]*)"`)

// checkSaid fails when the catalogue has not what is asked for, or asks for
// placeholders that it is not given. given may hold more than names.
func checkSaid(t *testing.T, where, key string, given []string) {
	t.Helper()
	en := words.English()
	if !en.Has(key) {
		t.Errorf("%s says %q, which is not in the catalogue", where, key)
		return
	}
	for _, name := range en.Placeholders(key) {
		if !slices.Contains(given, name) && !(name == "n" && en.Counts(key)) {
			t.Errorf("%s says %q without its {%s}", where, key, name)
		}
	}
}

// TestTemplatesSayWhatThereIs: every key of a template is in the catalogue, with
// all that it needs. What is missing in another language, push/words tests.
func TestTemplatesSayWhatThereIs(t *testing.T) {
	files, _ := filepath.Glob("templates/*.html")
	parts, _ := filepath.Glob("templates/parts/*.html")
	said := 0
	for _, file := range append(files, parts...) {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range saying.FindAllStringSubmatch(string(text), -1) {
			var given []string
			for _, q := range quoted.FindAllStringSubmatch(m[3], -1) {
				given = append(given, q[1])
			}
			if strings.HasPrefix(m[2], "script.") {
				given = append(given, "at", "ago") // the script puts these in
			}
			checkSaid(t, file, m[2], given)
			said++
		}
	}
	if said < 100 {
		t.Errorf("only %d sayings found: does this test still read templates?", said)
	}
}

// source walks over the syntax of a package's files.
func source(t *testing.T, dir string, visit func(*token.FileSet, ast.Node) bool) {
	t.Helper()
	files, err := filepath.Glob(dir + "/*.go")
	if err != nil || len(files) == 0 {
		t.Fatalf("%s: %v", dir, err)
	}
	set := token.NewFileSet()
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(set, name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool { return visit(set, n) })
	}
}

// calls lists the calls in a package's files with their literal strings, in order.
func calls(t *testing.T, dir string, then func(where, function string, literals []string)) {
	t.Helper()
	source(t, dir, func(set *token.FileSet, n ast.Node) bool {
		call, ok := n.(*ast.CallExpr)
		if !ok {
			return true
		}
		var literals []string
		for _, arg := range call.Args {
			literals = append(literals, literal(arg)...)
		}
		then(set.Position(call.Pos()).String(), called(call), literals)
		return true
	})
}

// called is the name of the function that is called, without its package.
func called(call *ast.CallExpr) string {
	switch f := call.Fun.(type) {
	case *ast.Ident:
		return f.Name
	case *ast.SelectorExpr:
		return f.Sel.Name
	}
	return ""
}

// literal is an argument's text, when it is one; pieces that are added are one text.
func literal(e ast.Expr) []string {
	switch e := e.(type) {
	case *ast.BasicLit:
		if e.Kind == token.STRING {
			text, _ := strconv.Unquote(e.Value)
			return []string{text}
		}
	case *ast.BinaryExpr:
		left, right := literal(e.X), literal(e.Y)
		if len(left) == 1 && len(right) == 1 {
			return []string{left[0] + right[0]}
		}
	}
	return nil
}

// wholeKey is a key that no code completes.
var wholeKey = regexp.MustCompile(`^[a-z-]+\.[a-z0-9.-]*[a-z0-9]$`)

// TestCodeSaysWhatThereIs: the same of keys in the pages' code.
func TestCodeSaysWhatThereIs(t *testing.T) {
	said := 0
	calls(t, ".", func(where, function string, literals []string) {
		switch function {
		case "Say", "Count", "Nth":
			if len(literals) > 0 && wholeKey.MatchString(literals[0]) {
				checkSaid(t, where, literals[0], literals[1:])
				said++
			}
		}
	})
	if said < 60 {
		t.Errorf("only %d sayings found: does this test still read the code?", said)
	}
}

// TestKeysMadeOfParts: those that code puts together.
func TestKeysMadeOfParts(t *testing.T) {
	en := words.English()
	var keys []string
	for _, kind := range append(coordinator.ResidentKinds(), coordinator.ManagerKinds()...) {
		keys = append(keys, "about."+string(kind), "notice-kind."+string(kind))
	}
	for _, hours := range muteChoices {
		keys = append(keys, "mute."+hours)
	}
	for _, why := range queue.Overtakings() {
		keys = append(keys, "overtaking."+string(why))
	}
	for status := coordinator.Free; status <= coordinator.Out; status++ {
		keys = append(keys, "status."+status.String())
	}
	for _, key := range keys {
		if !en.Has(key) {
			t.Errorf("the catalogue lacks %q", key)
		}
	}
}

// TestEveryRefusalIsInTheCatalogue, in English just as the code has it, with the
// same placeholders, so that every language can say it.
func TestEveryRefusalIsInTheCatalogue(t *testing.T) {
	en := words.English()
	found := 0
	for _, dir := range []string{".", "../coordinator", "../coordinator/loop", "../push"} {
		calls(t, dir, func(where, function string, literals []string) {
			if (function != "Refuse" && function != "invalid" && function != "about") || len(literals) < 2 {
				return
			}
			found++
			key, sentence := "refusal."+literals[0], literals[1]
			if strings.Contains(sentence, "%") {
				t.Errorf("%s: a refusal is written with {name}, not with %%: %q", where, sentence)
			}
			if function != "about" {
				checkSaid(t, where, key, literals[2:])
			}
			if en.Has(key) && en.Text(key) != sentence {
				t.Errorf("%s: %q, but the catalogue has %q", where, sentence, en.Text(key))
			}
		})
	}
	if found < 60 {
		t.Errorf("only %d refusals found", found)
	}
}
