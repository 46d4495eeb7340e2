package main

import (
	"go/ast"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// oneThread are packages besides the pure ones in which nothing happens at the same
// time as anything: the race detector has nothing to see in their tests.
var oneThread = []string{"coordinator/usage/hindsight", "cmd/drumturn/score", "cmd/drumturn/tracestory", "cmd/drumturn/year"}

// TestOneThread: the gate leaves the packages without goroutines out of what the race
// detector watches, which takes minutes, and only those.
func TestOneThread(t *testing.T) {
	script, err := os.ReadFile("../../.ci/run")
	if err != nil {
		t.Fatal(err)
	}
	found := regexp.MustCompile(`(?m)^one_thread='(.*)'$`).FindSubmatch(script)
	if found == nil {
		t.Fatal(".ci/run has no line one_thread='...'")
	}
	left := strings.Fields(string(found[1]))
	if all := slices.Concat(pure, oneThread); !slices.Equal(slices.Sorted(slices.Values(left)), slices.Sorted(slices.Values(all))) {
		t.Errorf("the gate leaves out %q, and without goroutines are %q", left, all)
	}
	for _, s := range sources(t) {
		if slices.Contains(left, s.folder) && atOnce(s) {
			t.Errorf("%s may do two things at once: the race detector must watch it", s.name)
		}
	}
}

// atOnce reports whether a file may start something beside itself.
func atOnce(s source) (found bool) {
	for _, imported := range s.imports() {
		found = found || slices.Contains([]string{"sync", "sync/atomic", "net/http", "drumturn/coordinator/loop", "golang.org/x/sync/errgroup"}, imported)
	}
	ast.Inspect(s.file, func(n ast.Node) bool {
		_, starts := n.(*ast.GoStmt)
		found = found || starts
		return true
	})
	return found
}

// TestAtOnceCanBeFound: the rule sees what it is there for.
func TestAtOnceCanBeFound(t *testing.T) {
	some := map[string]bool{}
	for _, s := range sources(t) {
		some[s.folder] = some[s.folder] || atOnce(s)
	}
	for _, folder := range []string{"coordinator/loop", "push", "ui", "cmd/drumturn"} {
		if !some[folder] {
			t.Errorf("nothing is found in %s", folder)
		}
	}
}
