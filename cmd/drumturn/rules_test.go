package main

import (
	"os"
	"strings"
	"testing"
)

// TestRulesCommand moves house rules out of a building and into it, while the
// program is stopped and while it runs.
func TestRulesCommand(t *testing.T) {
	for name, running := range map[string]bool{"stopped": false, "running": true} {
		t.Run(name, func(t *testing.T) {
			w := wiring(t, handBuilding, nil).open()
			w.end()
			if running {
				w.start()
				w.awaitControl()
			}
			file := w.path("rules.toml")
			run := func(args ...string) string {
				t.Helper()
				out, errOut, code := command(t, append([]string{"rules"}, args...)...)
				if code != 0 {
					t.Fatalf("%v: %d\n%s%s", args, code, out, errOut)
				}
				return out
			}
			run("export", w.path("building.toml"), "--room", "cellar", "--to", file)
			text, err := os.ReadFile(file)
			if err != nil || !strings.Contains(string(text), "# House rules of room cellar, version 1.") {
				t.Fatalf("%s, %v", text, err)
			}
			if out := run("import", file, w.path("building.toml"), "--room", "cellar"); !strings.Contains(out, "in force already") {
				t.Errorf("the same rules: %s", out)
			}
			changed := strings.Replace(string(text), `grace = "10m"`, `grace = "8m"`, 1)
			if changed == string(text) {
				t.Fatalf("no grace in\n%s", text)
			}
			if err := os.WriteFile(file, []byte(changed), 0o600); err != nil {
				t.Fatal(err)
			}
			if out := run("import", file, w.path("building.toml"), "--room", "cellar", "--look"); !strings.Contains(out, "would change") || !strings.Contains(out, "grace: 8m, was 10m") {
				t.Errorf("looking: %s", out)
			}
			if out := run("import", file, w.path("building.toml"), "--room", "cellar"); !strings.Contains(out, "Version 2") {
				t.Errorf("importing: %s", out)
			}
			if out := run("export", w.path("building.toml"), "--room", "cellar"); !strings.Contains(out, "version 2") || !strings.Contains(out, `grace = "8m"`) {
				t.Errorf("exported then: %s", out)
			}
		})
	}
}

// TestRulesCommandRefuses: what is wrong is said with line and key, and nothing changes.
func TestRulesCommandRefuses(t *testing.T) {
	w := wiring(t, handBuilding, nil).open()
	w.end()
	file := w.path("rules.toml")
	if err := os.WriteFile(file, []byte("[rules]\nhold = \"soon\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"rules", "import", file, w.path("building.toml"), "--room", "cellar"}, "rules.toml:2"},
		{[]string{"rules", "export", w.path("building.toml"), "--room", "loft"}, "no room"},
		{[]string{"rules", "import", w.path("none.toml"), w.path("building.toml")}, "none.toml"},
	} {
		if out, errOut, code := command(t, c.args...); code == 0 || !strings.Contains(errOut+out, c.want) {
			t.Errorf("%v: %d\n%s%s", c.args, code, out, errOut)
		}
	}
}
