package config_test

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"drumturn/config"
)

// fullLines is the full good file, line by line.
func fullLines(t *testing.T) []string {
	t.Helper()
	data, err := os.ReadFile("testdata/good/full.toml")
	if err != nil {
		t.Fatal(err)
	}
	return strings.Split(strings.TrimRight(string(data), "\n"), "\n")
}

var settingLine = regexp.MustCompile(`^([a-z_0-9]+) = (.+)$`)

// change parses the full file with one line changed and returns the errors.
func change(t *testing.T, lines []string, at int, with ...string) []config.Problem {
	t.Helper()
	text := strings.Join(slices.Replace(slices.Clone(lines), at, at+1, with...), "\n")
	return slices.DeleteFunc(problems(t, "testdata/good/full.toml", text), func(p config.Problem) bool {
		return p.Severity == config.Warning
	})
}

// eachSetting calls f for every line of the full file that is a setting.
func eachSetting(t *testing.T, f func(t *testing.T, lines []string, at int, key, value string)) {
	lines := fullLines(t)
	settings := 0
	for i, line := range lines {
		m := settingLine.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		settings++
		f(t, lines, i, m[1], m[2])
	}
	if settings < 80 {
		t.Errorf("only %d settings were tried", settings)
	}
}

// A setting under a name that does not exist is found at its line, and the
// right name is suggested.
func TestEverySettingMisspelt(t *testing.T) {
	eachSetting(t, func(t *testing.T, lines []string, at int, key, value string) {
		if len(key) < 3 {
			return // two letters do not say what was meant
		}
		wrong := key[1:2] + key[:1] + key[2:] // the usual slip
		if wrong == key {
			wrong = key + "s"
		}
		got := change(t, lines, at, wrong+" = "+value)
		if !slices.ContainsFunc(got, func(p config.Problem) bool {
			return p.Line == at+1 && strings.HasSuffix(p.Key, wrong) && strings.Contains(p.Wrong, "no such setting") &&
				strings.Contains(p.Right, key)
		}) {
			t.Errorf("line %d, %s for %s: %v", at+1, wrong, key, got)
		}
	})
}

// A setting given twice is found at the second line, which names the first.
func TestEverySettingTwice(t *testing.T) {
	eachSetting(t, func(t *testing.T, lines []string, at int, key, value string) {
		got := change(t, lines, at, lines[at], lines[at])
		if len(got) != 1 || got[0].Line != at+2 || !strings.HasSuffix(got[0].Key, key) || !strings.Contains(got[0].Wrong, "second time") {
			t.Errorf("line %d, %s twice: %v", at+1, key, got)
		}
	})
}

// A setting of another type is found at its line, and nothing else is.
func TestEverySettingOfAnotherType(t *testing.T) {
	eachSetting(t, func(t *testing.T, lines []string, at int, key, value string) {
		for _, other := range []string{"2026-05-04", "{ a = 1 }"} {
			if strings.HasPrefix(value, "{") && strings.HasPrefix(other, "{") {
				continue
			}
			got := change(t, lines, at, key+" = "+other)
			if !slices.ContainsFunc(got, func(p config.Problem) bool {
				return p.Line == at+1 && strings.HasSuffix(p.Key, key) && strings.Contains(p.Wrong, "is wanted")
			}) {
				t.Errorf("line %d, %s = %s: %v", at+1, key, other, got)
			}
		}
	})
}

// A setting whose value cannot be read is found at its line, and is not called
// missing as well.
func TestEverySettingUnreadable(t *testing.T) {
	eachSetting(t, func(t *testing.T, lines []string, at int, key, value string) {
		got := change(t, lines, at, key+" = ")
		if !slices.ContainsFunc(got, func(p config.Problem) bool {
			return p.Line == at+1 && strings.HasSuffix(p.Key, key) && strings.Contains(p.Wrong, "cannot be read")
		}) {
			t.Errorf("line %d, %s: %v", at+1, key, got)
		}
		for _, p := range got {
			if strings.HasSuffix(p.Key, "."+key) && strings.Contains(p.Wrong, "is missing") {
				t.Errorf("line %d: %s", at+1, p)
			}
		}
	})
}

// Without a setting the file is taken, or what is wrong belongs to the section
// or file that the setting stood in, or to a machine that it was about.
func TestEverySettingLeftOut(t *testing.T) {
	must := map[string]bool{
		"name": true, "time_zone": true, "cert_file": true, "key_file": true, "currency": true, "price_per_kwh": true,
		"number": true, "kind": true, "driver": true, "topic": true, "url": true, "password": true, "password_file": true,
		"token_file": true, "file": true, "wh": true, "user": true, "tls": true,
		"from": true, "to": true, "season_from": true, "season_to": true, "room": true, "machine": true, "price": true, // of a tariff
	}
	eachSetting(t, func(t *testing.T, lines []string, at int, key, value string) {
		got := change(t, lines, at)
		if len(got) > 0 && !must[key] {
			t.Errorf("without line %d, %s, which may be left out: %v", at+1, lines[at], got)
		}
	})
}

// advice is what a message says to write, such as: write idle_for = "3m".
var advice = regexp.MustCompile(`^(?:write|add) ([a-z_]+) = ("[^"]*"|[0-9.]+|true|false|\[[^\]]*\])`)

// What a message says would be right is right: when it is written, the message
// goes away.
func TestAdviceHelps(t *testing.T) {
	tried := 0
	// What follows from the rest of the file is not the advice's to know.
	theRest := regexp.MustCompile(`does not exist|has this number|no places for|invented name|cannot be reached|there is no meter|front of another|same (topic|user)|is of no use|go to|share port|there is no (room|machine)`)
	eachSetting(t, func(t *testing.T, lines []string, at int, key, value string) {
		for _, broken := range [][]string{{key + " = 2026-05-04"}, nil} {
			for _, p := range change(t, lines, at, broken...) {
				m := advice.FindStringSubmatch(p.Right)
				if m == nil || m[1] != key || m[2] == `"text"` || strings.Contains(m[2], "…") {
					continue
				}
				tried++
				for _, q := range change(t, lines, at, key+" = "+m[2]) {
					if q.Line == at+1 && q.Key == p.Key && !theRest.MatchString(q.Wrong) {
						t.Errorf("line %d: after doing what %q says: %s", at+1, p, q)
					}
				}
			}
		}
	})
	if tried < 40 {
		t.Errorf("only %d pieces of advice were tried", tried)
	}
}

// Whatever line is lost, what is said is whole sentences with a place.
func TestEveryLineLeftOut(t *testing.T) {
	lines := fullLines(t)
	for at := range lines {
		text := strings.Join(slices.Delete(slices.Clone(lines), at, at+1), "\n")
		told(t, []byte(text), renamed(problems(t, "testdata/good/full.toml", text)))
	}
}

// renamed gives problems the file name that told expects.
func renamed(problems []config.Problem) []config.Problem {
	for i := range problems {
		problems[i].File = "b.toml"
	}
	return problems
}
