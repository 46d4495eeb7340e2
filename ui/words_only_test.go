package ui

import (
	"go/ast"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"text/template/parse"
	"unicode"

	"drumturn/push/words"
)

// templateTexts are the texts of all template files by their names.
func templateTexts(t *testing.T) map[string]string {
	t.Helper()
	files, _ := filepath.Glob("templates/*.html")
	parts, _ := filepath.Glob("templates/parts/*.html")
	out := map[string]string{}
	for _, file := range append(files, parts...) {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		out[file] = string(text)
	}
	if len(out) < 20 {
		t.Fatalf("only %d templates found", len(out))
	}
	return out
}

// action stands in a template's text for what is put in there.
const action = "\x00"

var (
	actions = regexp.MustCompile(`(?s)\{\{.*?\}\}`)
	tag     = regexp.MustCompile(`(?s)<[a-zA-Z/!][^>]*>`)
	// read are the attributes that a person reads or hears.
	read = regexp.MustCompile(`\s(?:alt|aria-label|aria-description|aria-roledescription|aria-valuetext|title|placeholder|label|data-[a-z-]+)="([^"]*)"`)
)

// spoken lists the texts of a template that are its own: between tags, and in
// attributes that are read. A path or an id that begins with an action is none.
func spoken(text string) []string {
	text = actions.ReplaceAllString(text, action)
	out := strings.Split(tag.ReplaceAllString(text, "\n"), "\n")
	for _, t := range tag.FindAllString(text, -1) {
		for _, m := range read.FindAllStringSubmatch(t, -1) {
			if !strings.HasPrefix(m[1], action) && m[1] != "true" && m[1] != "false" {
				out = append(out, m[1])
			}
		}
	}
	return slices.DeleteFunc(out, func(s string) bool { return !strings.ContainsFunc(s, unicode.IsLetter) })
}

// entity is "&nbsp;", which is no text.
var entity = regexp.MustCompile(`&[a-z]+;`)

// TestTemplatesSayNothingThemselves: every text of a page is in the catalogue.
func TestTemplatesSayNothingThemselves(t *testing.T) {
	for file, text := range templateTexts(t) {
		for _, own := range spoken(entity.ReplaceAllString(text, "")) {
			t.Errorf("%s says %q itself: put it into push/words", file, strings.TrimSpace(own))
		}
	}
	for html, want := range map[string]int{
		`<p>Stop</p>`: 1, `<p>{{t "a.b"}}</p>`: 0, `<p>{{if .X}}yes{{else}}no{{end}}</p>`: 1, `<img alt="A code">`: 1, `<img alt="{{t "a.b"}}" class="big">`: 0,
		`<p data-push="{{base}}/x">1: {{.A}}</p>`: 0, `<p aria-hidden="true">`: 0, `<input placeholder="Name">`: 1,
	} {
		if got := spoken(html); len(got) != want {
			t.Errorf("%s: %q are %d texts, want %d", html, got, len(got), want)
		}
	}
}

// takesText are the functions of templates that are given texts which nobody reads.
var takesText = []string{"t", "rich", "count", "span", "link", "file", "eq", "ne", "index", ".Was", "print"}

// TestTemplatesPrintNoLiterals: no {{"text"}}, nor one handed to a function that writes it.
func TestTemplatesPrintNoLiterals(t *testing.T) {
	for file, text := range templateTexts(t) {
		tree := parse.New(file)
		tree.Mode = parse.SkipFuncCheck
		trees := map[string]*parse.Tree{}
		if _, err := tree.Parse(text, "", "", trees); err != nil {
			t.Fatal(err)
		}
		for _, tree := range trees {
			walkTemplate(tree.Root, func(c *parse.CommandNode) {
				first := c.Args[0].String()
				for _, arg := range c.Args {
					if s, ok := arg.(*parse.StringNode); ok && !slices.ContainsFunc(takesText, func(f string) bool { return first == f || strings.HasSuffix(first, f) && f[0] == '.' }) {
						t.Errorf("%s: %s has the text %s", file, c, s)
					}
				}
			})
		}
	}
}

// walkTemplate visits every command below a node.
func walkTemplate(n parse.Node, visit func(*parse.CommandNode)) {
	switch n := n.(type) {
	case *parse.ListNode:
		if n != nil {
			for _, below := range n.Nodes {
				walkTemplate(below, visit)
			}
		}
	case *parse.ActionNode:
		walkTemplate(n.Pipe, visit)
	case *parse.IfNode:
		walkBranch(&n.BranchNode, visit)
	case *parse.RangeNode:
		walkBranch(&n.BranchNode, visit)
	case *parse.WithNode:
		walkBranch(&n.BranchNode, visit)
	case *parse.TemplateNode:
		walkTemplate(n.Pipe, visit)
	case *parse.PipeNode:
		if n != nil {
			for _, c := range n.Cmds {
				visit(c)
				for _, arg := range c.Args {
					walkTemplate(arg, visit)
				}
			}
		}
	}
}

func walkBranch(n *parse.BranchNode, visit func(*parse.CommandNode)) {
	walkTemplate(n.Pipe, visit)
	walkTemplate(n.List, visit)
	walkTemplate(n.ElseList, visit)
}

// sentence is a literal that reads like one: three words.
var sentence = regexp.MustCompile(`\pL+[,;:]? \pL+[,;:]? \pL+`)

// forNobodyOnPages are functions whose sentences go to the log, to whoever
// programs, or into refusals, which the catalogue has by their keys.
var forNobodyOnPages = []string{"Refuse", "invalid", "about", "New", "Errorf", "panic", "Error", "Warn", "Info", "Debug", "MustCompile", "String"}

// TestCodeMakesNoSentences: what code puts on a page comes from the catalogue.
func TestCodeMakesNoSentences(t *testing.T) {
	allowed := map[ast.Node]bool{}
	source(t, ".", func(set *token.FileSet, n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CallExpr:
			allow(allowed, n, slices.Contains(forNobodyOnPages, called(n)))
		case *ast.CompositeLit:
			allow(allowed, n, madeOf(n) == "statusError" || madeOf(n) == "field")
		case *ast.Field:
			allowed[n.Tag] = true
		case *ast.BasicLit:
			if n.Kind == token.STRING && !allowed[n] && sentence.MatchString(n.Value) && !strings.Contains(n.Value, "=") {
				t.Errorf("%s: %s reads like a sentence for a page: put it into push/words", set.Position(n.Pos()), n.Value)
			}
		}
		return true
	})
	if !sentence.MatchString(words.English().Text("frame.safety")) || sentence.MatchString("private, no-cache") {
		t.Error("what reads like a sentence is not told from what does not")
	}
}

// chosen are fields that nobody types: one of several buttons, boxes or entries
// of a list, or hidden. A refusal of one calls it in English.
var chosen = []string{
	"do", "token", "lang", "back", "person", "accessible", "lower", "dry-after", "leave-at-closing", "minutes", "also", "endpoint", "p256dh", "auth", "old",
	"sure", "hours", "machine", "turn", "load", "need", "version", "key",
}

// TestFieldsHaveNames: a refusal of what was typed into a field can call it in every language.
func TestFieldsHaveNames(t *testing.T) {
	found := 0
	source(t, ".", func(set *token.FileSet, n ast.Node) bool {
		lit, ok := n.(*ast.CompositeLit)
		if !ok || madeOf(lit) != "field" || len(lit.Elts) == 0 {
			return true
		}
		first := lit.Elts[0]
		if _, list := first.(*ast.CompositeLit); list {
			for _, one := range lit.Elts {
				one.(*ast.CompositeLit).Type = ast.NewIdent("field") // as the list says
			}
			return true
		}
		found++
		for _, field := range literal(first) {
			if !slices.Contains(chosen, field) && !words.English().Has("field."+field) {
				t.Errorf("%s: the catalogue lacks field.%s", set.Position(lit.Pos()), field)
			}
		}
		return true
	})
	if found < 20 {
		t.Errorf("only %d fields found", found)
	}
}

// madeOf names the type that a literal is of, or a list of.
func madeOf(lit *ast.CompositeLit) string {
	of := lit.Type
	if list, ok := of.(*ast.ArrayType); ok {
		of = list.Elt
	}
	if name, ok := of.(*ast.Ident); ok {
		return name.Name
	}
	return ""
}

// allow marks the literals below a node.
func allow(allowed map[ast.Node]bool, n ast.Node, really bool) {
	if !really {
		return
	}
	ast.Inspect(n, func(below ast.Node) bool {
		if lit, ok := below.(*ast.BasicLit); ok {
			allowed[lit] = true
		}
		return true
	})
}
