package config

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Severity says how bad a Problem is.
type Severity uint8

// The severities. A file with an error is refused; a warning is only said.
const (
	Warning Severity = iota + 1
	Mistake
)

// String returns "warning" or "error".
func (s Severity) String() string {
	if s == Warning {
		return "warning"
	}
	return "error"
}

// Problem is one thing wrong with a building file.
type Problem struct {
	// File is the file as it was named; Line counts from 1.
	File string
	Line int
	// Key is the full name of the setting or section, such as
	// "rooms.cellar.machines[2].meter" (the second machine); empty for the file as a whole.
	Key string
	// Wrong says what is wrong, Right what would be right. Neither is empty.
	Wrong, Right string
	Severity     Severity
}

// String is the problem on one line: building.toml:14: key: wrong; right.
func (p Problem) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s:%d: ", p.File, p.Line)
	if p.Severity == Warning {
		b.WriteString("warning: ")
	}
	if p.Key != "" {
		b.WriteString(p.Key + ": ")
	}
	b.WriteString(p.Wrong + "; " + p.Right)
	return b.String()
}

// Error is a refused building: everything that is wrong with it, warnings
// included, in the order of files and lines.
type Error struct{ Problems []Problem }

// Error has one problem on each line.
func (e *Error) Error() string {
	lines := make([]string, len(e.Problems))
	for i, p := range e.Problems {
		lines[i] = p.String()
	}
	return strings.Join(lines, "\n")
}

// report gathers the problems of a building's files.
type report struct {
	files    []string // in reading order
	problems []Problem
	seen     map[Problem]bool
}

// add takes a problem, once.
func (r *report) add(p Problem) {
	p.Line = max(p.Line, 1)
	if r.seen == nil {
		r.seen = map[Problem]bool{}
	}
	if !r.seen[p] {
		r.seen[p] = true
		r.problems = append(r.problems, p)
	}
}

// refuses reports whether a mistake was found in the setting at a node.
func (r *report) refuses(file string, n *node) bool {
	return slices.ContainsFunc(r.problems, func(p Problem) bool {
		return p.Severity == Mistake && p.File == file && p.Line == n.line && p.Key == n.path()
	})
}

// sorted puts the problems in the order of files, then lines.
func (r *report) sorted() []Problem {
	slices.SortStableFunc(r.problems, func(a, b Problem) int {
		return cmp.Or(
			cmp.Compare(slices.Index(r.files, a.File), slices.Index(r.files, b.File)),
			cmp.Compare(a.Line, b.Line),
			cmp.Compare(a.Key, b.Key),
		)
	})
	return r.problems
}

func (r *report) refused() bool {
	return slices.ContainsFunc(r.problems, func(p Problem) bool { return p.Severity != Warning })
}
