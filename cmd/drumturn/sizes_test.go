package main

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// Most lines of a file, and of a function from its first to its last.
const (
	longestFile     = 400
	longestFunction = 80
)

// longFunctions lists the functions of a file that are longer than may be.
func longFunctions(s source) []string {
	var found []string
	for _, d := range s.file.Decls {
		f, ok := d.(*ast.FuncDecl)
		if !ok {
			continue
		}
		if n := s.fset.Position(f.End()).Line - s.fset.Position(f.Pos()).Line + 1; n > longestFunction {
			found = append(found, fmt.Sprintf("%s: %s has %d lines", s.name, f.Name.Name, n))
		}
	}
	return found
}

// TestSizes: what nobody can read at a sitting is taken apart. Functions of
// tests are not measured: some are a table.
func TestSizes(t *testing.T) {
	for _, s := range sources(t) {
		for _, long := range longFunctions(s) {
			t.Errorf("%s, of at most %d", long, longestFunction)
		}
	}
	err := filepath.WalkDir("../..", func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && strings.HasPrefix(d.Name(), ".") && p != "../.." {
			return filepath.SkipDir
		}
		if d.IsDir() || !slices.Contains([]string{".go", ".css", ".js"}, filepath.Ext(p)) {
			return nil
		}
		data, err := os.ReadFile(p)
		if n := bytes.Count(data, []byte("\n")); n > longestFile {
			t.Errorf("%s has %d lines, of at most %d", p, n, longestFile)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestLongFunctionsAreFound: one of the most lines is not, one of a line more is.
func TestLongFunctionsAreFound(t *testing.T) {
	for lines, want := range map[int]int{longestFunction: 0, longestFunction + 1: 1} {
		fset := token.NewFileSet()
		file, err := parser.ParseFile(fset, "p.go", "package p\nfunc f() {"+strings.Repeat("\n", lines-1)+"}\n", 0)
		if err != nil {
			t.Fatal(err)
		}
		if got := longFunctions(source{"p", "p.go", file, fset}); len(got) != want {
			t.Errorf("of %d lines: %v", lines, got)
		}
	}
}

// TestNoFailuresAreKept: what the property tests write down of a failure is for
// the one who mends it.
func TestNoFailuresAreKept(t *testing.T) {
	out, err := exec.Command("git", "-C", "../..", "ls-files").Output()
	if err != nil {
		t.Skip("there is no git here to ask what is kept: ", err)
	}
	for name := range strings.Lines(string(out)) {
		if strings.Contains("/"+name, "/testdata/rapid/") {
			t.Errorf("%s is kept", strings.TrimSpace(name))
		}
	}
}
