package config

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
	"pgregory.net/rapid"
)

// plainTree turns a tree into what a general decoder would give, as far as texts,
// lists and tables go; other scalars are left out.
func plainTree(n *node) any {
	switch n.shape {
	case tableShape:
		out := map[string]any{}
		for key, child := range n.keys {
			out[key] = plainTree(child)
		}
		return out
	case listShape:
		out := make([]any, len(n.list))
		for i, child := range n.list {
			out[i] = plainTree(child)
		}
		return out
	case textShape:
		return n.text
	case truthShape:
		return n.text == "true"
	}
	return nil
}

// plainMap does the same to the decoder's result.
func plainMap(v any) any {
	switch v := v.(type) {
	case map[string]any:
		out := map[string]any{}
		for key, child := range v {
			out[key] = plainMap(child)
		}
		return out
	case []any:
		out := make([]any, len(v))
		for i, child := range v {
			out[i] = plainMap(child)
		}
		return out
	case string, bool:
		return v
	}
	return nil
}

// agree compares the tree of a valid document with the library's own decoder.
func agree(t interface {
	Errorf(string, ...any)
}, text string) {
	var want map[string]any
	if err := toml.Unmarshal([]byte(text), &want); err != nil {
		t.Errorf("the document is not valid: %v\n%s", err, text)
		return
	}
	rep := &report{files: []string{"x"}}
	got := read("x", []byte(text), rep)
	if len(rep.problems) > 0 || got == nil {
		t.Errorf("a valid document is refused: %v\n%s", rep.problems, text)
		return
	}
	if g, w := fmt.Sprint(plainTree(got)), fmt.Sprint(plainMap(want)); g != w {
		t.Errorf("%s\n got %s\nwant %s", text, g, w)
	}
}

func TestTreeAgreesWithDecoder(t *testing.T) {
	for _, text := range []string{
		"", "\n\n# only a comment", "a = 'x'\r\nb = \"y\"\r\n",
		"a.b.c = 1\na.b.d = 2\n[a.e]\nf = 3", "[a]\n[a.b]\n[a.b.c]\nd = true", "[a.b]\nc = 1\n[a]\nd = 2",
		"[[a]]\nb = 1\n[a.c]\nd = 'x'\n[[a]]\n[a.c]\nd = 'y'", "[[a.b]]\n[[a.b]]\n[[a.b.c]]\nd = 1",
		"a = [[1, 2], ['x', \"y\"], [{b = 'c'}]]", "a = { b.c = 'd', e = { f = ['g'] } }",
		"\"quoted key\" = 'v'\n'lit.eral' = 'w'\n\"\" = 'empty'", "a = \"\"\"\nmany\nlines\"\"\"\nb = '''\nx'''",
		"a = \"\\u00e9\\t\\\"\"", "d = 2026-01-02\nt = 21:30:00\no = 2026-01-02T03:04:05Z",
	} {
		agree(t, text)
	}
	names, _ := filepath.Glob("testdata/good/*.toml")
	for _, name := range names {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		agree(t, string(data))
	}
	agree(t, string(Template(TemplateOptions{})))
}

// document draws a document that the library's own encoder writes.
func document(t *rapid.T, depth int) map[string]any {
	out := map[string]any{}
	for i := range rapid.IntRange(0, 4).Draw(t, "keys") {
		key := rapid.SampledFrom([]string{"a", "b-1", "c d", "é", "x.y", "long_name"}).Draw(t, "key") + fmt.Sprint(i)
		switch kind := rapid.IntRange(0, 4).Draw(t, "kind"); {
		case kind == 0 && depth > 0:
			out[key] = document(t, depth-1)
		case kind == 1 && depth > 0:
			out[key] = []map[string]any{document(t, depth-1), document(t, depth-1)}
		case kind == 2:
			out[key] = []string{rapid.String().Draw(t, "item"), "z"}
		case kind == 3:
			out[key] = rapid.Bool().Draw(t, "truth")
		default:
			out[key] = rapid.String().Draw(t, "text")
		}
	}
	return out
}

func TestTreeAgreesWithDecoderOnAny(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text, err := toml.Marshal(document(t, 3))
		if err != nil {
			t.Skip(err)
		}
		agree(t, string(text))
	})
}

// A document is refused exactly when the library's own decoder refuses it.
func TestRefusesWhatTheDecoderRefuses(t *testing.T) {
	lines := []string{
		"[a]", "[[a]]", "[a.b]", "[[a.b]]", "[b]", "a = 1", "a.b = 2", "b = { c = 1 }", "b.d = 2", "c = [{}]", "[[c]]",
		"[c]", "[b.c]", "x = ", "= 1", "[a", "y = 'z' z", "e = 007", "[a.b.c]", "[[a.b.c]]", "b.c.d = 1", "[b.c.d]", "a = { b.c = 1, b = 2 }", "f = \"\\q\"", "a.b.c = 1", "\"a\" = 5",
	}
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOfN(rapid.SampledFrom(lines), 0, 6).Draw(t, "lines"), "\n")
		var v map[string]any
		want := toml.Unmarshal([]byte(text), &v)
		rep := &report{files: []string{"x"}}
		read("x", []byte(text), rep)
		if (len(rep.problems) > 0) != (want != nil) {
			t.Errorf("problems %v, but the decoder says %v:\n%s", rep.problems, want, text)
		}
	})
}

// The first line that cannot be read is the one that the decoder names.
func TestFirstBrokenLineIsTheDecoders(t *testing.T) {
	for _, text := range []string{
		"a = 1\nb = \nc = 2", "a = 1\n\n\nb c", "[a]\nb = 'x\n", "a = [1,\n2,\nx]\n", "a = 1 2", "[a]]\n", "a = \"\\q\"", "\n\n[a\nb = 1", "a = {\nb = c }",
	} {
		var v map[string]any
		err := toml.Unmarshal([]byte(text), &v)
		decode, ok := errors.AsType[*toml.DecodeError](err)
		if !ok {
			t.Fatalf("%q: %v", text, err)
		}
		want, _ := decode.Position()
		rep := &report{files: []string{"x"}}
		read("x", []byte(text), rep)
		if got := rep.sorted(); len(got) == 0 || got[0].Line != want {
			t.Errorf("%q: problems %v, want the first in line %d", text, got, want)
		}
	}
}

// Some editors put a mark before the first line.
func TestByteOrderMark(t *testing.T) {
	rep := &report{files: []string{"x"}}
	n := read("x", []byte("\ufeffa = 1\nb = 2"), rep)
	if len(rep.problems) > 0 || n.child("a").line != 1 || n.child("b").line != 2 {
		t.Errorf("problems %v, tree %+v", rep.problems, n)
	}
}

func TestPath(t *testing.T) {
	root := &node{}
	machines := root.put("rooms", &node{}).put("the cellar", &node{}).put("machines", &node{shape: listShape})
	machines.push(&node{})
	n := machines.push(&node{}).put("meter", &node{})
	if got, want := n.path(), `rooms."the cellar".machines[2].meter`; got != want {
		t.Errorf("path %s, want %s", got, want)
	}
	if got := root.path(); got != "" {
		t.Errorf("the root's path is %q", got)
	}
}

// Lines are counted as by splitting the text.
func TestLineIndex(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		data := []byte(rapid.StringMatching(`[ab\n]{0,40}`).Draw(t, "text"))
		index := indexLines(data)
		offset := rapid.IntRange(0, len(data)).Draw(t, "offset")
		want := strings.Count(string(data[:offset]), "\n") + 1
		if got := index.at(offset); got != want {
			t.Errorf("offset %d of %q is in line %d, want %d", offset, data, got, want)
		}
		if got := index.start(want, len(data)); got != strings.LastIndex("\n"+string(data[:offset]), "\n") {
			t.Errorf("line %d of %q starts at %d", want, data, got)
		}
	})
}

func TestTooLargeAFile(t *testing.T) {
	rep := &report{files: []string{"x"}}
	if n := read("x", make([]byte, maxFile+1), rep); n != nil || len(rep.problems) != 1 {
		t.Errorf("a file of %d bytes: %v", maxFile+1, rep.problems)
	}
}

// Many unreadable lines do not become many pages.
func TestUnreadableLinesAreBounded(t *testing.T) {
	rep := &report{files: []string{"x"}}
	read("x", []byte(strings.Repeat("what is this\n", 1000)), rep)
	if n := len(rep.problems); n < 2 || n > 20 {
		t.Errorf("%d problems", n)
	}
}

func TestNearest(t *testing.T) {
	known := []string{"hold", "grace", "keep_days", "plug_rated_w", "meter", "number"}
	for word, want := range map[string]string{
		"hlod": "hold", "Hold": "hold", "holds": "hold", "keepdays": "keep_days", "metre": "meter", "nubmer": "number",
		"plug_rating_w": "plug_rated_w", "colour": "", "x": "", "": "", "mtr": "meter",
	} {
		if got := nearest(word, known); got != want {
			t.Errorf("nearest to %q is %q, want %q", word, got, want)
		}
	}
}

// Distances of pairs that are printed in the literature: kitten/sitting 3 and
// saturday/sunday 3 (Levenshtein's distance, where no swap helps; from memory),
// and one for a swap (Damerau).
func TestEdits(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"kitten", "sitting", 3}, {"saturday", "sunday", 3}, {"ab", "ba", 1}, {"", "abc", 3}, {"abc", "", 3}, {"é", "e", 1}, {"same", "same", 0}} {
		if got := edits(c.a, c.b); got != c.want {
			t.Errorf("edits(%q, %q) = %d, want %d", c.a, c.b, got, c.want)
		}
	}
	if got := edits(strings.Repeat("a", 100_000), "a"); got < 10 {
		t.Errorf("an endless word is %d from a short one", got)
	}
}

func TestEditsIsADistance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.StringMatching(`[abc]{0,8}`).Draw(t, "a"), rapid.StringMatching(`[abc]{0,8}`).Draw(t, "b")
		d := edits(a, b)
		if d != edits(b, a) || (d == 0) != (a == b) || d > max(len(a), len(b)) {
			t.Errorf("edits(%q, %q) = %d, back %d", a, b, d, edits(b, a))
		}
	})
}

func TestDriversAreListed(t *testing.T) {
	want := []string{"httppush", "mqtt", "mqtt-client", "none", "replay", "sim"}
	if got := Drivers(); !slices.Equal(got, want) {
		t.Errorf("drivers %v, want %v", got, want)
	}
}
