package config_test

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"drumturn/config"
)

// expected is a problem that a file of testdata says it has, in a comment:
// "#! key: part of what is wrong" for an error on the same line, "#?" for a
// warning; "#! 12 key: …" for one of line 12.
type expected struct {
	line     int
	key      string
	part     string
	severity config.Severity
}

var expectation = regexp.MustCompile(`#([!?]) (?:(\d+) )?(\S*): (.+)$`)

func expectations(t *testing.T, text string) []expected {
	t.Helper()
	var out []expected
	for i, line := range strings.Split(text, "\n") {
		if !strings.Contains(line, "#!") && !strings.Contains(line, "#?") {
			continue
		}
		m := expectation.FindStringSubmatch(line)
		if m == nil {
			// Keys in quotes may have spaces.
			m = regexp.MustCompile(`#([!?]) (?:(\d+) )?(.*?): (.+)$`).FindStringSubmatch(line)
		}
		if m == nil {
			t.Fatalf("line %d: the expectation %q cannot be read", i+1, line)
		}
		e := expected{line: i + 1, key: m[3], part: m[4], severity: config.Mistake}
		if m[1] == "?" {
			e.severity = config.Warning
		}
		if m[2] != "" {
			e.line, _ = strconv.Atoi(m[2])
		}
		out = append(out, e)
	}
	return out
}

func (e expected) fits(p config.Problem) bool {
	return e.line == p.Line && e.key == p.Key && e.severity == p.Severity && strings.Contains(p.Wrong+"; "+p.Right, e.part)
}

// Every bad file of testdata gives the problems that it says, and no others.
func TestBadFiles(t *testing.T) {
	names, err := filepath.Glob("testdata/bad/*.toml")
	if err != nil || len(names) == 0 {
		t.Fatalf("no files: %v", err)
	}
	for _, name := range names {
		t.Run(filepath.Base(name), func(t *testing.T) {
			data, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			want := expectations(t, string(data))
			if !slices.ContainsFunc(want, func(e expected) bool { return e.severity == config.Mistake }) {
				t.Error("a bad file expects no error")
			}
			compare(t, want, problems(t, name, string(data)))
		})
	}
}

func compare(t *testing.T, want []expected, got []config.Problem) {
	t.Helper()
	left := slices.Clone(got)
	for _, e := range want {
		i := slices.IndexFunc(left, e.fits)
		if i < 0 {
			t.Errorf("line %d, %s: no %s about %q", e.line, e.key, e.severity, e.part)
			continue
		}
		left = slices.Delete(left, i, i+1)
	}
	for _, p := range left {
		t.Errorf("not expected: %s", p)
	}
	if !slices.IsSortedFunc(got, func(a, b config.Problem) int { return a.Line - b.Line }) {
		t.Error("the problems are not in the order of their lines")
	}
}

// What is said never gives a secret away: every text that follows the word
// password or token in a bad file is looked for in what is said about it.
func TestProblemsKeepSecrets(t *testing.T) {
	names, _ := filepath.Glob("testdata/bad/*.toml")
	secret := regexp.MustCompile(`(?m)^(?:password|token) = "?([^"\n#]{6,}?)"? *(?:#|$)`)
	found := 0
	for _, name := range names {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range secret.FindAllStringSubmatch(string(data), -1) {
			found++
			for _, p := range problems(t, name, string(data)) {
				if strings.Contains(p.String(), m[1]) {
					t.Errorf("%s gives the secret %q away", p, m[1])
				}
			}
		}
	}
	if found < 5 {
		t.Errorf("only %d secrets were looked for", found)
	}
}

// A secret that breaks the syntax is not repeated either.
func TestUnreadableSecretIsNotRepeated(t *testing.T) {
	for _, line := range []string{
		`password = hunter22`, `password = "hunter22`, `password = 'hunter22`, `password "hunter22"`,
		`password = "a\hunter22"`, `token = hunter22`, `password = {hunter22}`, `password = [hunter22`, `= "hunter22"`,
		`password = "x" hunter22`, `password = 2026-hunter22`, `password = 12hunter22`,
	} {
		for _, p := range problems(t, "b.toml", head+room+"[meters.a]\n"+line+"\ndriver = \"mqtt\"\n") {
			if strings.Contains(p.String(), "hunter") {
				t.Errorf("%s: %s gives it away", line, p)
			}
		}
	}
}
