package config_test

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"drumturn/config"
)

// folder writes files below a new folder and returns the building file's path.
func folder(t *testing.T, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(dir, "building.toml")
}

const twoMachines = head + `
[rooms.cellar]
machines = [{ number = 1, kind = "washer", meter = "a" }, { number = 2, kind = "washer", meter = "b" }]
[meters.a]
driver = "httppush"
token_file = "secrets/a"
`

func TestLoadWithFurtherMeters(t *testing.T) {
	path := folder(t, map[string]string{
		"building.toml":         twoMachines,
		"secrets/a":             "0123456789abcdef",
		"meters.d/b.toml":       "[meters.b]\ndriver = \"replay\"\nfile = \"b.csv\"\n",
		"meters.d/b.csv":        "time,watts\n",
		"meters.d/b.toml~":      "an editor's copy",
		"meters.d/.hidden.toml": "an editor's copy",
		"meters.d/sub.toml/x":   "a folder",
	})
	f, err := config.Load(path, config.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Meters) != 2 || f.Meters[0].Name != "a" || f.Meters[1].Name != "b" {
		t.Fatalf("meters %+v", f.Meters)
	}
	if got := f.Meters[0].Options.(*config.HTTPPushMeter).Token.Reveal(); got != "0123456789abcdef" {
		t.Errorf("the token read from its file is %q", got)
	}
	// A path starts from the folder of the file that it stands in.
	if got, want := f.Meters[1].Options.(*config.ReplayMeter).File, filepath.Join(filepath.Dir(path), "meters.d", "b.csv"); got != want {
		t.Errorf("the recording is %s, want %s", got, want)
	}
	if f.Rooms[0].Machines[1].Meter != "b" {
		t.Errorf("the second machine has the meter %q", f.Rooms[0].Machines[1].Meter)
	}
}

// refusal loads and returns what is said.
func refusal(t *testing.T, path string) []config.Problem {
	t.Helper()
	_, err := config.Load(path, config.Options{})
	refused, ok := errors.AsType[*config.Error](err)
	if !ok {
		t.Fatalf("the error is %v", err)
	}
	if want := len(refused.Problems); strings.Count(err.Error(), "\n")+1 != want {
		t.Errorf("%d problems do not give as many lines:\n%v", want, err)
	}
	return refused.Problems
}

func TestLoadNamesTheFileOfEachProblem(t *testing.T) {
	path := folder(t, map[string]string{
		"building.toml":   twoMachines,
		"meters.d/1.toml": "[meters.a]\ndriver = \"sim\"\n[meters.b]\ndriver = \"simm\"\n",
		"meters.d/2.toml": "# no meter\n",
		"meters.d/3.toml": "[rules]\nhold = \"1m\"\n[meters.c]\ndriver = \"none\"\n",
	})
	want := []struct{ file, key, part string }{
		{"building.toml", "", "there is no section [server]"},
		{"building.toml", "meters.a.token_file", "does not exist"},
		{"1.toml", "meters.a", "building.toml line 8"},
		{"1.toml", "meters.b.driver", "simm"},
		{"2.toml", "meters", "no meter"},
		{"3.toml", "rules", "no such setting"},
		{"3.toml", "meters.c", "no machine has this meter"},
	}
	got := refusal(t, path)
	if len(got) != len(want) {
		t.Fatalf("problems:\n%v", &config.Error{Problems: got})
	}
	for i, w := range want {
		p := got[i]
		if filepath.Base(p.File) != w.file || w.key != "" && p.Key != w.key || !strings.Contains(p.Wrong, w.part) {
			t.Errorf("problem %d is %s, want %+v", i, p, w)
		}
	}
}

// A meter that may stand in a file too broken to read is not called missing.
func TestLoadWithBrokenMeterFile(t *testing.T) {
	path := folder(t, map[string]string{
		"building.toml": twoMachines, "secrets/a": "0123456789abcdef",
		"meters.d/b.toml": "[meters.b\ndriver = \"sim\"\n",
	})
	for _, p := range refusal(t, path) {
		if p.Severity == config.Mistake && filepath.Base(p.File) != "b.toml" {
			t.Errorf("not expected: %s", p)
		}
	}
}

func TestLoadWithBrokenMain(t *testing.T) {
	path := folder(t, map[string]string{
		"building.toml": "[building\nname = 4\n", "meters.d/b.toml": "[meters.b]\ndriver = \"simm\"\n",
	})
	got := refusal(t, path)
	if len(got) != 2 || got[0].Line != 1 || got[1].Key != "meters.b.driver" {
		t.Errorf("problems:\n%v", &config.Error{Problems: got})
	}
}

func TestLoadWithoutAFile(t *testing.T) {
	dir := t.TempDir()
	for path, part := range map[string]string{
		filepath.Join(dir, "gone.toml"): "does not exist",
		dir:                             "a folder",
	} {
		_, err := config.Load(path, config.Options{})
		if err == nil || !strings.Contains(err.Error(), part) || !strings.Contains(err.Error(), "init") {
			t.Errorf("%s: error %v, want about %q, and what to type instead", path, err, part)
		}
	}
}

func TestLoadWithUnreadableMeters(t *testing.T) {
	path := folder(t, map[string]string{"building.toml": twoMachines, "meters.d": "a file, not a folder"})
	if _, err := config.Load(path, config.Options{}); err == nil || !strings.Contains(err.Error(), "meters.d") {
		t.Errorf("error %v, want about meters.d", err)
	}
	if runtime.GOOS == "windows" {
		t.Skip("links need a right of their own there")
	}
	path = folder(t, map[string]string{"building.toml": twoMachines, "meters.d/x": ""})
	if err := os.Symlink("gone", filepath.Join(filepath.Dir(path), "meters.d", "b.toml")); err != nil {
		t.Fatal(err)
	}
	if _, err := config.Load(path, config.Options{}); err == nil || !strings.Contains(err.Error(), "b.toml") {
		t.Errorf("error %v, want about b.toml", err)
	}
}

// A secret is not looked for in a file that has no end.
func TestSecretFileIsBounded(t *testing.T) {
	path := folder(t, map[string]string{"building.toml": twoMachines, "secrets/a": strings.Repeat("x", 10_000)})
	found := false
	for _, p := range refusal(t, path) {
		found = found || p.Key == "meters.a.token_file" && strings.Contains(p.Wrong, "larger than")
	}
	if !found {
		t.Error("a secret of 10,000 bytes is taken")
	}
}
