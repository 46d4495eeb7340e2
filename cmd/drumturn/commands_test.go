package main

import (
	"bytes"
	"context"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// command runs drumturn as a shell does, and returns what it wrote and its exit code.
func command(t *testing.T, args ...string) (out, errOut string, code int) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(t.Context(), args, &o, &e)
	return o.String(), e.String(), code
}

// TestMistakes: errors of use go to stderr with exit code 2, and say what to
// type instead.
func TestMistakes(t *testing.T) {
	dir := t.TempDir()
	bad := filepath.Join(dir, "bad.toml")
	if err := os.WriteFile(bad, []byte("[building]\nname = 5\nzone = \"UTC\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	taken := filepath.Join(dir, "taken.toml")
	if err := os.WriteFile(taken, []byte("# mine\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		want []string
	}{
		{[]string{"serv"}, []string{`did you mean "serve"?`, "drumturn --help"}},
		{[]string{"replay"}, []string{"<trace>", "--help"}},
		{[]string{"replay", filepath.Join(dir, "none.csv")}, []string{"there is no file", "CSV"}},
		{[]string{"replay", taken, "--kind", "toaster"}, []string{"toaster", "--kind washer"}},
		{[]string{"serve", filepath.Join(dir, "none.toml")}, []string{"none.toml", "drumturn init"}},
		{[]string{"check", bad}, []string{"bad.toml:2", "building.name", "bad.toml:3", "building.zone", "time_zone"}},
		{[]string{"init", taken}, []string{"left as it is", "drumturn init another.toml"}},
		{[]string{"demo", "--speed", "0"}, []string{"--speed 60"}},
		{[]string{"demo", "--zone", "Atlantis"}, []string{"Atlantis", "Europe/Berlin"}},
		{[]string{"demo", "--listen", "nowhere"}, []string{"--listen", "127.0.0.1:8080"}},
	} {
		out, errOut, code := command(t, c.args...)
		if code != exitUsage {
			t.Errorf("%v: exit code %d, want %d\n%s%s", c.args, code, exitUsage, out, errOut)
		}
		for _, want := range c.want {
			if !strings.Contains(errOut, want) {
				t.Errorf("%v does not say %q:\n%s", c.args, want, errOut)
			}
		}
	}
	if content, err := os.ReadFile(taken); err != nil || string(content) != "# mine\n" {
		t.Errorf("init changed a file that was there: %q, %v", content, err)
	}
}

func TestHelp(t *testing.T) {
	for _, args := range [][]string{{}, {"--help"}} {
		out, _, code := command(t, args...)
		if code != 0 {
			t.Errorf("%v: exit code %d", args, code)
		}
		for _, name := range []string{"demo", "serve", "init", "check", "replay", "score", "backup"} {
			if !strings.Contains(out, name) {
				t.Errorf("%v does not name %s:\n%s", args, name, out)
			}
		}
	}
}

// TestInitThenCheck: what init writes is a good building file.
func TestInitThenCheck(t *testing.T) {
	path := filepath.Join(t.TempDir(), "building.toml")
	if out, errOut, code := command(t, "init", path); code != 0 || !strings.Contains(out, "drumturn serve") {
		t.Fatalf("init: %d\n%s%s", code, out, errOut)
	}
	out, errOut, code := command(t, "check", "--offline", path)
	if code != 0 {
		t.Fatalf("check: %d\n%s%s", code, out, errOut)
	}
	for _, want := range []string{"1 room, 3 machines", "Notices to phones", "fire risk", "licensed", "no store yet"} {
		if !strings.Contains(out, want) {
			t.Errorf("check does not say %q:\n%s", want, out)
		}
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("a file with passwords has mode %v, %v", info.Mode(), err)
	}
}

const plainBuilding = `
[building]
name = "Plain"
time_zone = "UTC"
[server]
listen = "127.0.0.1:0"
public_url = "http://localhost:1"
data = "data"
[rooms.cellar]
name = "Cellar"
[[rooms.cellar.machines]]
number = 1
kind = "washer"
`

// plainFile writes a building file of one machine that is run by hand.
func plainFile(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "building.toml")
	if err := os.WriteFile(path, []byte(plainBuilding), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// served runs "serve" on a file until the test ends, and waits until it answers.
func served(t *testing.T, path string) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	var out lockedBuffer
	ended := make(chan int, 1)
	go func() { ended <- run(ctx, []string{"serve", path}, &out, &out) }()
	t.Cleanup(func() {
		cancel()
		if code := <-ended; code != 0 {
			t.Errorf("serve ended with %d:\n%s", code, out.String())
		}
	})
	data := filepath.Join(filepath.Dir(path), "data")
	for deadline := time.Now().Add(patience); ; {
		if conn, err := net.Dial("unix", filepath.Join(data, controlName)); err == nil {
			_ = conn.Close()
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("serve does not start:\n%s", out.String())
		}
		time.Sleep(10 * time.Millisecond) // waits for another goroutine's socket, not for a duration
	}
}

// TestBackup: a backup can be made while the program runs, and while it does not.
func TestBackup(t *testing.T) {
	path := plainFile(t)
	to := t.TempDir()
	if _, errOut, code := command(t, "backup", path, "--to", to); code != exitUsage || !strings.Contains(errOut, "no store") {
		t.Errorf("before the first start: %d, %s", code, errOut)
	}
	t.Run("running", func(t *testing.T) {
		served(t, path)
		if out, errOut, code := command(t, "backup", path, "--to", to); code != 0 {
			t.Fatalf("%d\n%s%s", code, out, errOut)
		}
		// A second copy must not get at the store.
		if _, errOut, code := command(t, "serve", path); code != 1 || !strings.Contains(errOut, "another copy of drumturn") {
			t.Errorf("a second copy: %d, %s", code, errOut)
		}
	})
	time.Sleep(time.Until(time.Now().Truncate(time.Second).Add(time.Second))) // backups are named by the second
	if out, errOut, code := command(t, "backup", path, "--to", to); code != 0 {
		t.Fatalf("stopped: %d\n%s%s", code, out, errOut)
	}
	made, err := filepath.Glob(filepath.Join(to, "drumturn-*"))
	if err != nil || len(made) != 2 {
		t.Fatalf("there are %v, %v", made, err)
	}
	for _, folder := range made {
		for _, name := range []string{"drumturn.db", "push-keys.json", "wall-key"} {
			info, err := os.Stat(filepath.Join(folder, name))
			if err != nil || info.Size() == 0 || info.Mode().Perm() != 0o600 {
				t.Errorf("%s in %s: %v, %v", name, folder, info, err)
			}
		}
	}
}

// TestCheckComparesRules: check says where the rules in force are not those of the file.
func TestCheckComparesRules(t *testing.T) {
	path := plainFile(t)
	t.Run("first start", func(t *testing.T) { served(t, path) })
	if out, _, code := command(t, "check", "--offline", path); code != 0 || strings.Contains(out, "differ") {
		t.Errorf("unchanged: %d\n%s", code, out)
	}
	changed := plainBuilding + "[rules]\nhold = \"25m\"\n"
	if err := os.WriteFile(path, []byte(changed), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, _, code := command(t, "check", "--offline", path); code != 0 || !strings.Contains(out, "25m") {
		t.Errorf("changed: %d\n%s", code, out)
	}
}
