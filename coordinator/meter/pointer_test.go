package meter

import (
	"encoding/json"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// rfc6901 is the document of RFC 6901 section 5.
const rfc6901 = `{
	"foo": ["bar", "baz"],
	"": 0,
	"a/b": 1,
	"c%d": 2,
	"e^f": 3,
	"g|h": 4,
	"i\\j": 5,
	"k\"l": 6,
	" ": 7,
	"m~n": 8
}`

// The pointers and values of RFC 6901 section 5 ("JSON String Representation").
func TestPointerExamplesOfRFC6901(t *testing.T) {
	var doc any
	if err := json.Unmarshal([]byte(rfc6901), &doc); err != nil {
		t.Fatal(err)
	}
	for pointer, want := range map[string]string{
		"/foo":   `["bar","baz"]`,
		"/foo/0": `"bar"`,
		"/":      "0",
		"/a~1b":  "1",
		"/c%d":   "2",
		"/e^f":   "3",
		"/g|h":   "4",
		"/i\\j":  "5",
		"/k\"l":  "6",
		"/ ":     "7",
		"/m~0n":  "8",
	} {
		p, err := ParsePointer(pointer)
		if err != nil {
			t.Errorf("%q: %v", pointer, err)
			continue
		}
		v, ok := p.In(doc)
		got, _ := json.Marshal(v)
		if !ok || string(got) != want {
			t.Errorf("%q finds %s (%v), want %s", pointer, got, ok, want)
		}
	}
	whole, err := ParsePointer("")
	if err != nil {
		t.Fatal(err)
	}
	if v, ok := whole.In(doc); !ok || len(v.(map[string]any)) != 10 {
		t.Error("the empty pointer is not the whole document")
	}
}

// What RFC 6901 sections 3 and 4 forbid: a pointer without a leading slash, a
// bare ~, leading zeros in an index, the element after the last.
func TestPointerErrors(t *testing.T) {
	for _, bad := range []string{"power", "/a~", "/a~2b", "~1", "/~/x"} {
		if _, err := ParsePointer(bad); err == nil {
			t.Errorf("%q was taken", bad)
		}
	}
	doc := map[string]any{"a": []any{"x", "y"}, "b": 3}
	for _, absent := range []string{"/a/2", "/a/-", "/a/01", "/a/-1", "/a/+1", "/a/x", "/a/0/z", "/b/c", "/c", "/a/99999999999"} {
		p, err := ParsePointer(absent)
		if err != nil {
			t.Errorf("%q: %v", absent, err)
		} else if v, ok := p.In(doc); ok {
			t.Errorf("%q finds %v", absent, v)
		}
	}
}

// "~01" is "~1" and never a slash (RFC 6901 section 4).
func TestPointerUnescapesInOrder(t *testing.T) {
	p, err := ParsePointer("/~01")
	if err != nil {
		t.Fatal(err)
	}
	if v, ok := p.In(map[string]any{"~1": "right", "/": "wrong"}); !ok || v != "right" {
		t.Errorf("found %v", v)
	}
}

// Whatever the keys are, the pointer that the hint gives finds the number.
func TestPointerHintsFindTheirNumbers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		keys := rapid.SliceOfN(rapid.StringOf(rapid.RuneFrom([]rune("ab~/0 1é"))), 1, 4).Draw(t, "keys")
		var doc any = json.Number("42")
		for _, key := range keys {
			if rapid.Bool().Draw(t, "array") {
				doc = []any{"filler", doc}
			} else {
				doc = map[string]any{key: doc}
			}
		}
		hints := pointersToNumbers(doc, "", 8)
		if len(hints) != 1 {
			t.Fatalf("hints %q", hints)
		}
		p, err := ParsePointer(hints[0])
		if err != nil {
			t.Fatal(err)
		}
		if v, ok := p.In(doc); !ok || v != json.Number("42") {
			t.Fatalf("%q finds %v", hints[0], v)
		}
	})
}

func TestPointerHintsAreLimited(t *testing.T) {
	doc := map[string]any{}
	for i := range 50 {
		doc[strings.Repeat("k", i+1)] = json.Number("1")
	}
	if n := len(pointersToNumbers(doc, "", 8)); n != 8 {
		t.Errorf("%d hints", n)
	}
}
