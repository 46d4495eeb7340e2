package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

func TestExitCode(t *testing.T) {
	broken := errors.New("the disk is full")
	for _, c := range []struct {
		err  error
		code int
		says string
	}{
		{nil, 0, ""},
		{context.Canceled, 0, ""},
		{fmt.Errorf("pages: %w", context.Canceled), 0, ""},
		{broken, 1, "drumturn: the disk is full\n"},
		{context.DeadlineExceeded, 1, "drumturn: context deadline exceeded\n"},
		{usageError{broken}, exitUsage, "drumturn: the disk is full\n"},
		{fmt.Errorf("serve: %w", usageError{broken}), exitUsage, "drumturn: serve: the disk is full\n"},
	} {
		var out bytes.Buffer
		if code := exitCode(c.err, &out); code != c.code || out.String() != c.says {
			t.Errorf("%v: %d %q, want %d %q", c.err, code, out.String(), c.code, c.says)
		}
	}
	if !errors.Is(usageError{broken}, broken) {
		t.Error("an error of use hides its cause")
	}
}

// TestHelpOfEachCommand: every command says what it does and names its options,
// on the standard output.
func TestHelpOfEachCommand(t *testing.T) {
	for name, words := range map[string][]string{
		"demo":   {"invented", "--listen", "--speed", "--seed", "--zone"},
		"serve":  {"building file", "building.toml", "--verbose"},
		"init":   {"building file", "--print"},
		"check":  {"--offline"},
		"replay": {"<trace>", "--kind", "--json", "--svg", "--idle-below-w", "--idle-for"},
		"score":  {"<dir>", "--baseline", "--plot", "--disturbed", "--calibrate"},
		"backup": {"--to", "keys"},
	} {
		out, errOut, code := command(t, name, "--help")
		if code != 0 || errOut != "" {
			t.Errorf("%s: %d %s", name, code, errOut)
		}
		for _, word := range append(words, "--help") {
			if !strings.Contains(out, word) {
				t.Errorf("%s --help does not say %q:\n%s", name, word, out)
			}
		}
	}
}

// TestOptionsMistaken: an option that is not there, or cannot be read, is an error of use.
func TestOptionsMistaken(t *testing.T) {
	for _, args := range [][]string{
		{"serve", "--port", "80"}, {"demo", "--speed", "fast"}, {"demo", "--speed", "3601"}, {"demo", "--speed", "0.09"},
		{"demo", "--speed", "NaN"}, {"demo", "--speed=-1"}, {"demo", "--seed=-1"}, {"replay", "x.csv", "--idle-for", "soon"},
		{"score"}, {"check", "a.toml", "b.toml"}, {"--version-of-what"}, {"backup", "--to"},
	} {
		_, errOut, code := command(t, args...)
		if code != exitUsage || !strings.HasPrefix(errOut, "drumturn: ") || !strings.Contains(errOut, "--help") {
			t.Errorf("%v: %d %q", args, code, errOut)
		}
	}
}

// TestInitPrint: nothing is written but to the standard output.
func TestInitPrint(t *testing.T) {
	t.Chdir(t.TempDir())
	out, _, code := command(t, "init", "--print")
	if code != 0 || !strings.Contains(out, "[building]") {
		t.Errorf("%d\n%s", code, out)
	}
	if left := names(t, "."); len(left) != 0 {
		t.Errorf("written is %q", left)
	}
	// What is printed is a good file, with passwords that nobody else has.
	if err := os.WriteFile("building.toml", []byte(out), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, errOut, code := command(t, "check", "--offline"); code != 0 {
		t.Errorf("check: %d\n%s%s", code, out, errOut)
	}
	if other, _, _ := command(t, "init", "--print"); other == out {
		t.Error("two buildings get the same passwords")
	}
}

func TestInitCannotWrite(t *testing.T) {
	if _, errOut, code := command(t, "init", filepath.Join(t.TempDir(), "none", "b.toml")); code != 1 || !strings.Contains(errOut, "write the building file") {
		t.Errorf("%d %s", code, errOut)
	}
}

// recording writes a trace of a cold wash: idle, 40 minutes of work, idle again.
func recording(t *testing.T) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("time,watts\n")
	at := time.Date(2026, 3, 4, 18, 0, 0, 0, time.UTC)
	for i := range 720 {
		watts := 1.0
		if i >= 60 && i < 300 {
			watts = 150 + float64(i%7)*40
		}
		fmt.Fprintf(&b, "%s,%g\n", at.Add(time.Duration(i)*10*time.Second).Format(time.RFC3339), watts)
	}
	path := filepath.Join(t.TempDir(), "washer.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// began and ended are how the recording's wash is told, to the minute before or after.
var began, ended = regexp.MustCompile(`18:(09|10|11)`), regexp.MustCompile(`18:(49|50|51)`)

// TestReplayCommand: the story of a recording has its start and end, in words
// and in JSON, and is drawn.
func TestReplayCommand(t *testing.T) {
	path, svg := recording(t), filepath.Join(t.TempDir(), "story.svg")
	out, errOut, code := command(t, "replay", path, "--svg", svg)
	if code != 0 || !began.MatchString(out) || !ended.MatchString(out) {
		t.Errorf("%d\n%s%s", code, out, errOut)
	}
	if drawn, err := os.ReadFile(svg); err != nil || !bytes.Contains(drawn, []byte("<svg")) {
		t.Errorf("drawn is %.100s, %v", drawn, err)
	}
	out, _, code = command(t, "replay", path, "--json")
	lines := strings.Split(strings.TrimSpace(out), "\n")
	for _, line := range lines {
		if !json.Valid([]byte(line)) {
			t.Errorf("no JSON: %s", line)
		}
	}
	if code != 0 || len(lines) < 2 {
		t.Errorf("%d, %d lines", code, len(lines))
	}
}

// TestReplayCommandLeavesOutBadRows: a row that cannot be read is said, and the rest told.
func TestReplayCommandLeavesOutBadRows(t *testing.T) {
	path := recording(t)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	bad := regexp.MustCompile(`(?m)^2026-03-04T18:20:00Z,.*$`).ReplaceAll(text, []byte("2026-03-04T18:20:00Z,hot"))
	if err := os.WriteFile(path, bad, 0o600); err != nil {
		t.Fatal(err)
	}
	out, errOut, code := command(t, "replay", path)
	if code != 0 || !strings.Contains(errOut, "left out") || !ended.MatchString(out) {
		t.Errorf("%d\n%s%s", code, out, errOut)
	}
}

// TestScoreCommand: labels beside a recording give figures, as table and JSON.
func TestScoreCommand(t *testing.T) {
	path := recording(t)
	dir := filepath.Dir(path)
	labels := "machine,cycle_id,kind,start,end,quality\nwasher,1,washer,2026-03-04T18:10:00Z,2026-03-04T18:50:00Z,clean\n"
	if err := os.WriteFile(filepath.Join(dir, "labels.csv"), []byte(labels), 0o600); err != nil {
		t.Fatal(err)
	}
	out, errOut, code := command(t, "score", dir)
	if code != 0 || !strings.Contains(out, "washer") {
		t.Fatalf("%d\n%s%s", code, out, errOut)
	}
	out, errOut, code = command(t, "score", dir, "--json", "--baseline")
	if code != 0 || !json.Valid([]byte(out)) {
		t.Errorf("%d\n%s%s", code, out, errOut)
	}
	if _, errOut, code := command(t, "score", t.TempDir()); code == 0 || errOut == "" {
		t.Errorf("a folder without labels: %d %q", code, errOut)
	}
}

// TestServePortInUse: another program's port is named, and the store let go.
func TestServePortInUse(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	w := wiring(t, strings.Replace(handBuilding, "127.0.0.1:0", taken.Addr().String(), 1), nil)
	_, errOut, code := command(t, "serve", w.path("building.toml"))
	if code != 1 || !strings.Contains(errOut, "server.listen") || !strings.Contains(errOut, taken.Addr().String()) {
		t.Errorf("%d %s", code, errOut)
	}
	w.write("building.toml", handBuilding)
	w.open()
}

// TestServeSays: a start says where the pages are, how the manager gets in, and
// what is worth knowing about the file.
func TestServeSays(t *testing.T) {
	w := wiring(t, strings.Replace(handBuilding, "public_url = \"http://localhost:1\"", "public_url = \"http://laundry.weiher.org/wash\"", 1), nil)
	ctx, cancel := context.WithCancel(t.Context())
	var out, errOut lockedBuffer
	ended := make(chan int, 1)
	go func() { ended <- run(ctx, []string{"serve", w.path("building.toml")}, &out, &errOut) }()
	for deadline := time.Now().Add(patience); !strings.Contains(out.String(), "token="); time.Sleep(10 * time.Millisecond) { // another goroutine's text
		if time.Now().After(deadline) {
			t.Fatalf("it says\n%s%s", out.String(), errOut.String())
		}
	}
	cancel()
	if code := <-ended; code != 0 {
		t.Errorf("it ended with %d", code)
	}
	for _, want := range []string{"Hand: pages at http://laundry.weiher.org/wash", "listening at 127.0.0.1:", "http://laundry.weiher.org/wash/manager/first?token="} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("it does not say %q:\n%s", want, out.String())
		}
	}
	if !strings.Contains(errOut.String(), "warning") {
		t.Errorf("the file's warnings are not told:\n%s", errOut.String())
	}
}

// TestCheckSaysWhatDiffers: each room's rules are compared on their own, and a
// store in use or of something else is no reason to fail.
func TestCheckSaysWhatDiffers(t *testing.T) {
	w := wiring(t, handBuilding, nil).open()
	check := func() string {
		t.Helper()
		out, errOut, code := command(t, "check", "--offline", w.path("building.toml"))
		if code != 0 {
			t.Errorf("%d %s", code, errOut)
		}
		return out
	}
	if out := check(); !strings.Contains(out, "cannot be compared") || !strings.Contains(out, "another copy") {
		t.Errorf("while another copy runs:\n%s", out)
	}
	w.end()
	if out := check(); strings.Contains(out, "differ from the file") || strings.Contains(out, "no store yet") {
		t.Errorf("unchanged:\n%s", out)
	}
	w.write("building.toml", handBuilding+"[rooms.attic.rules]\nhold = \"25m\"\nkeep_days = 30\n")
	out := check()
	for _, want := range []string{
		"Room attic, house rules in force differ from the file: hold: 25m in the file, 10m in force",
		"Room attic, house rules in force differ from the file: keep_days: 30 in the file, 90 in force",
		"Hand, 2 rooms, 3 machines, 0 meters",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("changed: %q is not said\n%s", want, out)
		}
	}
	if strings.Contains(out, "Room cellar") {
		t.Errorf("the cellar's rules did not change:\n%s", out)
	}
	w.write("building.toml", handBuilding+"[tariff]\ncurrency = \"EUR\"\nprice_per_kwh = \"0.32\"\n")
	if out := check(); !strings.Contains(out, "No tariff is in force yet") {
		t.Errorf("without a tariff:\n%s", out)
	}
	w.open()
	w.end()
	if out := check(); strings.Contains(out, "ariff") && !strings.Contains(out, "meter approved") || strings.Contains(out, "Tariff set last") {
		t.Errorf("the same tariff:\n%s", out)
	}
	w.write("building.toml", handBuilding+"[tariff]\ncurrency = \"EUR\"\nprice_per_kwh = \"0.35\"\n[[tariff.windows]]\nname = \"night\"\nprice_per_kwh = \"0.2\"\nfrom = \"22:00\"\nto = \"06:00\"\n")
	out = check()
	for _, want := range []string{"Tariff set last differs from the file: price_per_kwh: 0.35 in the file, 0.32 in force", "windows[1].name: night in the file, none in force"} {
		if !strings.Contains(out, want) {
			t.Errorf("another tariff: %q is not said\n%s", want, out)
		}
	}
	w.write("data/drumturn.db", strings.Repeat("not a store ", 1000))
	if out, _, code := command(t, "check", "--offline", w.path("building.toml")); code != 1 || !strings.Contains(out, "cannot be compared") {
		t.Errorf("a foreign file: %d\n%s", code, out)
	}
}

// TestCounted is the plural.
func TestCounted(t *testing.T) {
	for n, want := range map[int]string{0: "0 meters", 1: "1 meter", 2: "2 meters"} {
		if got := count(n, "meter"); got != want {
			t.Errorf("%d: %s", n, got)
		}
	}
}
