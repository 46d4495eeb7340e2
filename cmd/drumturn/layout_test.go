package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// topLevel is everything that the root of the module may hold, besides dot-files.
var topLevel = []string{"cmd", "coordinator", "queue", "push", "ui", "config", "go.mod", "go.sum", "README.md", "DEVELOPERS.md"}

// arrows says which packages of this module each folder (the longest match
// counts) may import. The middle is pure: arrows point to it.
var arrows = map[string][]string{
	"queue":             {},
	"coordinator/cycle": {},
	"coordinator":       {"queue", "coordinator/cycle"},
	"coordinator/meter": {"queue", "coordinator", "coordinator/cycle", "coordinator/meter"},
	"coordinator/loop":  {"queue", "coordinator", "coordinator/cycle"},
	"coordinator/store": {"queue", "coordinator", "coordinator/cycle"},
	"coordinator/usage": {"queue", "coordinator", "coordinator/cycle", "coordinator/usage"},
	"push":              {"queue", "coordinator", "push"},
	"push/webpush":      {"queue", "coordinator", "push"},
	"push/hooks":        {"queue", "coordinator", "push"},
	"push/mail":         {"queue", "coordinator", "push", "push/words"},
	"push/words":        {},
	"ui":                {"queue", "coordinator", "coordinator/cycle", "coordinator/usage", "coordinator/usage/hindsight", "coordinator/usage/wear", "coordinator/usage/enough", "push/words", "ui"},
	"ui/chart":          {},
	"config":            {"queue", "coordinator", "coordinator/cycle"},
	"cmd":               {"*"},
}

// pure are the packages without clock, goroutine, log, or I/O.
var pure = []string{"queue", "coordinator", "coordinator/cycle", "coordinator/usage/wear", "coordinator/usage/enough", "ui/chart"}

// impureImports are the packages that bring a clock, a goroutine's tools, a log, or I/O.
var impureImports = []string{
	"os", "os/exec", "os/signal", "io", "io/fs", "bufio", "net", "net/http", "log", "log/slog", "sync", "sync/atomic",
	"context", "syscall", "runtime", "crypto/rand", "math/rand", "path/filepath", "embed", "unsafe", "testing",
}

// impureTime are the functions of package time that read the clock or wait.
var impureTime = []string{"Now", "Since", "Until", "After", "AfterFunc", "Tick", "NewTicker", "NewTimer", "Sleep", "LoadLocation", "Local"}

// source is one parsed file.
type source struct {
	folder string // slash-separated, relative to the root
	name   string
	file   *ast.File
	fset   *token.FileSet
}

// sources parses every Go file of the module that is no test.
func sources(t *testing.T) []source { return parsed(t, func(test bool) bool { return !test }) }

// parsed parses the Go files that are wanted.
func parsed(t *testing.T, wanted func(test bool) bool) []source {
	t.Helper()
	root := "../.."
	var all []source
	err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && strings.HasPrefix(d.Name(), ".") && p != root {
			return filepath.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(p, ".go") || !wanted(strings.HasSuffix(p, "_test.go")) {
			return nil
		}
		rel, err := filepath.Rel(root, p)
		if err != nil {
			return err
		}
		fset := token.NewFileSet()
		file, err := parser.ParseFile(fset, p, nil, 0)
		all = append(all, source{path.Dir(filepath.ToSlash(rel)), filepath.ToSlash(rel), file, fset})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(all) < 20 {
		t.Fatalf("found only %d files: the test looks in the wrong place", len(all))
	}
	return all
}

// imports lists a file's import paths.
func (s source) imports() []string {
	var paths []string
	for _, spec := range s.file.Imports {
		p, _ := strconv.Unquote(spec.Path.Value)
		paths = append(paths, p)
	}
	return paths
}

// mayImport reports whether the dependency rule lets a folder import another.
func mayImport(folder, target string) bool {
	for f := folder; f != "."; f = path.Dir(f) {
		allowed, ok := arrows[f]
		if !ok {
			continue
		}
		for _, a := range allowed {
			if a == "*" || a == target || target == folder {
				return true
			}
			// Folders below one's own folder are its own business.
			if a == f && strings.HasPrefix(target, f+"/") {
				return true
			}
		}
		return false
	}
	return false
}

func TestDependencyRule(t *testing.T) {
	for _, s := range sources(t) {
		for _, imported := range s.imports() {
			target, own := strings.CutPrefix(imported, "drumturn/")
			switch {
			case own && !mayImport(s.folder, target):
				t.Errorf("%s imports %s: the dependency rule does not allow it", s.name, imported)
			case !own && fenced(s.folder, imported, false):
				t.Errorf("%s imports %s, which is fenced in elsewhere", s.name, imported)
			}
		}
	}
}

func TestPurity(t *testing.T) {
	for _, s := range sources(t) {
		if !slices.Contains(pure, s.folder) {
			continue
		}
		for _, imported := range s.imports() {
			standard := !strings.Contains(strings.Split(imported, "/")[0], ".")
			ours := strings.HasPrefix(imported, "drumturn/")
			if slices.Contains(impureImports, imported) || (!standard && !ours && !strings.HasPrefix(imported, "gonum.org/")) {
				t.Errorf("%s imports %s: the package is pure", s.name, imported)
			}
		}
		for _, where := range impurities(s) {
			t.Errorf("%s: the package is pure", where)
		}
	}
}

// impurities finds goroutines, channels, and clock readings in a file.
func impurities(s source) []string {
	var found []string
	add := func(n ast.Node, what string) {
		found = append(found, s.fset.Position(n.Pos()).String()+" "+what)
	}
	ast.Inspect(s.file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			add(n, "starts a goroutine")
		case *ast.SelectStmt, *ast.SendStmt:
			add(n, "uses a channel")
		case *ast.SelectorExpr:
			if x, ok := n.X.(*ast.Ident); ok && x.Name == "time" && slices.Contains(impureTime, n.Sel.Name) {
				add(n, "calls time."+n.Sel.Name)
			}
		case *ast.CallExpr:
			if f, ok := n.Fun.(*ast.Ident); ok && (f.Name == "print" || f.Name == "println") {
				add(n, "prints")
			}
		}
		return true
	})
	return found
}

func TestTopLevel(t *testing.T) {
	entries, err := os.ReadDir("../..")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") && !slices.Contains(topLevel, e.Name()) {
			t.Errorf("%s does not belong at the top level", e.Name())
		}
	}
}

// TestRulesCanFail shows that each rule finds what it is there to find.
func TestRulesCanFail(t *testing.T) {
	for _, c := range []struct{ folder, target string }{
		{"queue", "coordinator"}, {"coordinator/cycle", "queue"}, {"coordinator", "coordinator/store"},
		{"ui", "coordinator/store"}, {"push", "ui"}, {"ui", "config"}, {"coordinator/loop", "coordinator/store"},
		{"coordinator/meter/mqtt", "coordinator/loop"}, {"ui", "push"}, {"push/words", "coordinator"}, {"config", "coordinator/meter"},
	} {
		if mayImport(c.folder, c.target) {
			t.Errorf("%s may import %s", c.folder, c.target)
		}
	}
	for _, c := range []struct{ folder, target string }{
		{"cmd/drumturn", "config"}, {"coordinator/meter/mqtt", "coordinator/meter"}, {"push/webpush", "push"}, {"ui", "push/words"}, {"push", "push/words"}, {"coordinator", "queue"},
	} {
		if !mayImport(c.folder, c.target) {
			t.Errorf("%s may not import %s", c.folder, c.target)
		}
	}
	const impure = "package p\nimport \"time\"\nfunc f(c chan int) { go f(c); c <- 1; _ = time.Now(); println() }"
	fset := token.NewFileSet()
	file, err := parser.ParseFile(fset, "p.go", impure, 0)
	if err != nil {
		t.Fatal(err)
	}
	if got := impurities(source{"p", "p.go", file, fset}); len(got) != 4 {
		t.Errorf("found %d impurities of 4: %v", len(got), got)
	}
}
