package config_test

import (
	"strings"
	"testing"

	"drumturn/config"
)

// What is said about lines that cannot be read: which line, what setting, and
// what to write instead.
func TestBrokenLines(t *testing.T) {
	for name, c := range map[string]struct {
		lines string // from line 5 on, within [building]
		line  int
		key   string
		right string
	}{
		"no quotes":            {"x = some text", 5, "building.x", `put a text in quotes, as in x = "text"`},
		"quote not closed":     {`x = "some text`, 5, "building.x", `close the text with a "`},
		"backslash":            {`x = "C:\data"`, 5, "building.x", `write \\ for each \`},
		"no equals sign":       {`x "text"`, 5, "building.x", "write an = between"},
		"colon":                {`x: "text"`, 5, "building.x", "write an = between"},
		"no value":             {"x =", 5, "building.x", "one setting on a line"},
		"two on a line":        {`x = 1 y = 2`, 5, "building.x", `in quotes`},
		"no name":              {`= 1`, 5, "", "one setting on a line"},
		"list not closed":      {"x = [1, 2\ny = 3\n", 6, "building.x", "close each bracket"},
		"list of bare words":   {"x = [one, two]", 5, "building.x", "close each bracket"},
		"header not closed":    {"[rooms.cellar", 5, "", "header in square brackets"},
		"header of a list":     {"[[rooms.cellar.machines]", 5, "", "doubled square brackets"},
		"header and setting":   {"[rooms] x = 1", 5, "", "alone on its line"},
		"behind a good line":   {"x = 1\n# a remark\n\ny = z", 8, "building.y", "put a text in quotes"},
		"behind a good header": {"[server]\nlisten = :8080", 6, "server.listen", `listen = "text"`},
		"number with a unit":   {"x = 10 kg", 5, "building.x", "in quotes"},
		"number with a comma":  {"x = 0,32", 5, "building.x", "in quotes"},
		"control character":    {"x = \"a\x01b\"", 5, "building.x", "close the text"},
		"typographic quotes":   {"x = “text”", 5, "building.x", "put a text in quotes"},
		"last line":            {"x", 5, "building.x", "write an ="},
	} {
		t.Run(name, func(t *testing.T) {
			var broken []config.Problem
			for _, p := range problems(t, "b.toml", head+c.lines) {
				if strings.Contains(p.Wrong, "cannot be read") {
					broken = append(broken, p)
				}
			}
			if len(broken) != 1 {
				t.Fatalf("problems %v, want one", broken)
			}
			if p := broken[0]; p.Line != c.line || p.Key != c.key || !strings.Contains(p.Right, c.right) {
				t.Errorf("got %s; want line %d, key %q, about %q", p, c.line, c.key, c.right)
			}
		})
	}
}

// After a line that cannot be read, those below it still count.
func TestReadingGoesOn(t *testing.T) {
	text := head + "x = what\n" + room + "[server]\nlisten = nothing\npublic_url = \"http://localhost\"\npush_subject = \"no\"\n"
	want := []string{"building.x", "building.x", "server.listen", "server.push_subject"}
	got := problems(t, "b.toml", text)
	if len(got) != len(want) {
		t.Fatalf("problems:\n%v", &config.Error{Problems: got})
	}
	for i, p := range got {
		if p.Key != want[i] {
			t.Errorf("problem %d is of %s, want %s", i, p.Key, want[i])
		}
	}
}

// A text over many lines, or a list, may hold what looks like settings.
func TestTextsOverManyLines(t *testing.T) {
	f := parse(t, head+"[server]\ntrusted_proxies = [\n  \"127.0.0.1\", # the one here\n\n  \"::1\",\n]\npublic_url = '''\nhttps://laundry.weiher.org'''\n"+room)
	if len(f.Server.TrustedProxies) != 2 || f.Server.PublicURL != "https://laundry.weiher.org" {
		t.Errorf("server %+v", f.Server)
	}
}

// The place of a problem in a list over many lines is its own line.
func TestLineWithinAList(t *testing.T) {
	text := head + "[rooms.cellar]\nmachines = [\n  { number = 1, kind = \"washer\" },\n  # a remark\n  { number = 2, kind = \"mangle\" },\n]\n"
	got := errorsAt(t, "rooms.cellar.machines[2].kind", text)
	if len(got) != 1 || got[0].Line != 9 {
		t.Errorf("got %v, want line 9", got)
	}
}

func TestProblemString(t *testing.T) {
	p := config.Problem{File: "building.toml", Line: 14, Key: "rooms.cellar.machines[2].meter", Wrong: "there is none", Right: "add one", Severity: config.Mistake}
	if got, want := p.String(), "building.toml:14: rooms.cellar.machines[2].meter: there is none; add one"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	p.Key, p.Severity = "", config.Warning
	if got, want := p.String(), "building.toml:14: warning: there is none; add one"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if config.Mistake.String() != "error" || config.Warning.String() != "warning" {
		t.Errorf("severities are %s and %s", config.Mistake, config.Warning)
	}
}

func TestErrorHasOneProblemOnALine(t *testing.T) {
	e := &config.Error{Problems: []config.Problem{{File: "a", Line: 1, Wrong: "b", Right: "c"}, {File: "d", Line: 2, Wrong: "e", Right: "f"}}}
	if got, want := e.Error(), "a:1: b; c\nd:2: e; f"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// Deep nesting neither overflows nor takes for ever.
func TestDeepNesting(t *testing.T) {
	for _, text := range []string{
		"a = " + strings.Repeat("[", 9000) + strings.Repeat("]", 9000), "a = " + strings.Repeat("[", 20_000),
		"a = " + strings.Repeat("{a=", 5000), strings.Repeat("a.", 20_000) + "a = 1", "[" + strings.Repeat("a.", 20_000) + "a]",
	} {
		if got := problems(t, "b.toml", text); len(got) == 0 || len(got) > 30 {
			t.Errorf("%d problems", len(got))
		}
	}
}
