package main

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
)

// badText is what a file of settings may be instead, and what must be said of it:
// the line (0: of none) and words of what is wrong and how it is mended.
type badText struct {
	data string
	line int
	says []string
}

// badTexts are those that neither a building file nor house rules can be.
func badTexts() map[string]badText {
	return map[string]badText{
		"a program":         {"\x7fELF\x02\x01\x01\x00\x00", 1, []string{"no text file", "correct its name"}},
		"a database":        {"SQLite format 3\x00\x10\x00", 1, []string{"no text file", "correct its name"}},
		"UTF-16":            {"\xff\xfe[\x00r\x00", 1, []string{"UTF-16", "UTF-8"}},
		"Latin-1":           {"# one\n# K\xfcche\n", 2, []string{"another encoding", "UTF-8"}},
		"JSON":              {`{"building": {"name": "x"}}`, 1, []string{"JSON", "drumturn init --print"}},
		"a web page":        {"<!doctype html>", 1, []string{"web page", "save the file itself"}},
		"another notation":  {"building:\n  name: x\n", 1, []string{"write an = between"}},
		"a sheet of values": {"time,watts\n2026-01-05T10:00:00Z,3\n", 1, []string{"cannot be read"}},
	}
}

// badBuildings are building files with one mistake each.
func badBuildings() map[string]badText {
	all := badTexts()
	with := func(old, new string) string { return strings.Replace(plainBuilding, old, new, 1) }
	for name, b := range map[string]badText{
		"empty":                   {"", 1, []string{"[building] is missing", "add [building]"}},
		"a setting twice":         {with("[server]", "name = \"Twice\"\n[server]"), 5, []string{"set a second time", "line 3", "keep one"}},
		"a section twice":         {plainBuilding + "[building]\nname = \"x\"\n", 14, []string{"there twice", "line 2"}},
		"an unknown setting":      {with("time_zone", "time_zon"), 4, []string{"no such setting", "did you mean time_zone?"}},
		"an unknown section":      {plainBuilding + "[servr]\n", 14, []string{"no such setting", "did you mean server?"}},
		"a number for a text":     {with(`"Plain"`, "5"), 3, []string{"a text is wanted", `name = "`}},
		"a text for a number":     {with("number = 1", `number = "one"`), 12, []string{"number"}},
		"out of range":            {plainBuilding + "[rules]\nhold = \"900h\"\n", 15, []string{"too long", "from 1m to 3h"}},
		"a time that is none":     {plainBuilding + "[rules]\nnight_from = \"25:00\"\n", 15, []string{"25:00"}},
		"a zone that is none":     {with(`"UTC"`, `"Atlantis"`), 4, []string{"no time zone of that name", "Europe/Berlin"}},
		"a list for a yes or no":  {plainBuilding + "[rules.hours]\nclosed = [\"2026-02-30\"]\n", 15, []string{"true or false is wanted", "closed = true"}},
		"a tariff from a no-day":  {plainBuilding + "[tariff]\ncurrency = \"EUR\"\nprice_per_kwh = 0.3\nvalid_from = \"2026-02-30\"\n", 17, []string{"2026-02-30"}},
		"a machine of no kind":    {with(`"washer"`, `"toaster"`), 13, []string{"toaster", "washer"}},
		"a quote that stays open": {with(`"Plain"`, `"Plain`), 3, []string{"close the text"}},
	} {
		all[name] = b
	}
	return all
}

// refuses runs a command that must fail: with an exit code, a message with each
// word, and no line of what only programmers read.
func refuses(t *testing.T, what string, words []string, args ...string) {
	t.Helper()
	out, errOut, code := command(t, args...)
	if code == 0 {
		t.Errorf("%s: %q goes through:\n%s%s", what, args, out, errOut)
	}
	for _, word := range words {
		if !strings.Contains(errOut, word) {
			t.Errorf("%s: %q does not say %q:\n%s", what, args, word, errOut)
		}
	}
	if strings.Contains(errOut, "panic") || strings.Contains(errOut, "goroutine ") || !strings.HasPrefix(lastMessage(errOut), "drumturn: ") {
		t.Errorf("%s: %q says\n%s", what, args, errOut)
	}
}

// lastMessage is what is said from the program's name on; warnings come before it.
func lastMessage(errOut string) string {
	if i := strings.Index(errOut, "drumturn: "); i == 0 || i > 0 && errOut[i-1] == '\n' {
		return errOut[i:]
	}
	return errOut
}

// at is what must be said of a bad text in a file of that name.
func (b badText) at(name string) []string {
	return append([]string{name + ":" + strconv.Itoa(b.line) + ": "}, b.says...)
}

// put writes a file into a folder and names it.
func put(t *testing.T, dir, name, data string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(data), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// hole is a file of 100 MB that takes no disk.
func hole(t *testing.T, dir, name string) string {
	t.Helper()
	path := put(t, dir, name, "")
	if err := os.Truncate(path, 100_000_000); err != nil {
		t.Fatal(err)
	}
	return path
}

// asNobody runs fn as somebody who may read nothing of ours: root may read all.
func asNobody(t *testing.T, path string, fn func()) {
	t.Helper()
	if os.Getuid() == 0 {
		runtime.LockOSThread() // the id is the thread's; one that cannot get back ends with its goroutine
		if err := syscall.Setfsuid(65534); err != nil {
			t.Fatal(err)
		}
		defer func() {
			if err := syscall.Setfsuid(0); err == nil {
				runtime.UnlockOSThread()
			}
		}()
	} else if err := os.Chmod(path, 0); err != nil {
		t.Fatal(err)
	}
	fn()
}

// TestBadBuildingFiles: every command that reads one refuses it in the same words,
// with file and line, and makes nothing.
func TestBadBuildingFiles(t *testing.T) {
	for name, bad := range badBuildings() {
		dir := t.TempDir()
		path := put(t, dir, "b.toml", bad.data)
		rules, backup := put(t, t.TempDir(), "r.toml", "[rules]\n"), t.TempDir()
		for _, args := range [][]string{
			{"check", "--offline", path}, {"serve", path}, {"backup", path}, {"link", path}, {"rules", "export", path},
			{"rules", "import", rules, path}, {"restore", backup, path},
		} {
			refuses(t, name, bad.at("b.toml"), args...)
		}
		if left := names(t, dir); len(left) != 1 {
			t.Errorf("%s: made is %q", name, left)
		}
		if after, err := os.ReadFile(path); err != nil || string(after) != bad.data {
			t.Errorf("%s: the file was touched", name)
		}
	}
}

// TestBuildingFilesThatCannotBeRead: missing, a folder, far too large, forbidden.
func TestBuildingFilesThatCannotBeRead(t *testing.T) {
	dir := t.TempDir()
	for path, says := range map[string]string{filepath.Join(dir, "none.toml"): "does not exist", dir: "folder", hole(t, dir, "large.toml"): "larger than", os.DevNull: "device"} {
		for _, args := range [][]string{{"check", "--offline"}, {"serve"}, {"backup"}, {"link"}, {"rules", "export"}} {
			refuses(t, says, []string{path, says, "drumturn init"}, append(args, path)...)
		}
	}
	path := put(t, dir, "b.toml", plainBuilding)
	asNobody(t, path, func() { refuses(t, "forbidden", []string{path, "no permission"}, "check", "--offline", path) })
}

// opened is a building that ran once, and its store.
func openedOnce(t *testing.T) (building, db string) {
	t.Helper()
	path := plainFile(t)
	t.Run("first start", func(t *testing.T) { served(t, path) })
	return path, filepath.Join(filepath.Dir(path), "data", storeName)
}

// TestBadHouseRules: they are refused with file and line, and those in force stay.
func TestBadHouseRules(t *testing.T) {
	path, _ := openedOnce(t)
	before, _, _ := command(t, "rules", "export", path)
	all := badTexts()
	for name, b := range map[string]badText{
		"empty":               {"", 1, []string{"no house rules", "begin it with [rules]"}},
		"a building file":     {plainBuilding, 1, []string{"no house rules", "begin it with [rules]"}},
		"a rule twice":        {"[rules]\nhold = \"12m\"\nhold = \"13m\"\n", 3, []string{"set a second time", "line 2"}},
		"an unknown rule":     {"[rules]\nhlod = \"12m\"\n", 2, []string{"did you mean hold?"}},
		"a number for a time": {"[rules]\nhold = 12\n", 2, []string{"a text is wanted", "10m"}},
		"out of range":        {"[rules]\nhold = \"900h\"\n", 2, []string{"from 1m to 3h"}},
		"no days at all":      {"[rules]\nkeep_days = 0\n", 2, []string{"too low", "from 1 to 3660"}},
	} {
		all[name] = b
	}
	for name, bad := range all {
		from := put(t, t.TempDir(), "r.toml", bad.data)
		for _, look := range [][]string{nil, {"--look"}} {
			refuses(t, name, bad.at("r.toml"), append([]string{"rules", "import", from, path}, look...)...)
		}
	}
	dir := t.TempDir()
	for from, says := range map[string]string{filepath.Join(dir, "none.toml"): "does not exist", dir: "folder", hole(t, dir, "large.toml"): "larger than"} {
		refuses(t, says, []string{from, says, "drumturn rules export"}, "rules", "import", from, path)
	}
	good := put(t, dir, "r.toml", "[rules]\nhold = \"12m\"\n")
	refuses(t, "a room that is none", []string{`no room "attic"`, "[rooms."}, "rules", "import", good, path, "--room", "attic")
	if after, _, _ := command(t, "rules", "export", path); after != before {
		t.Errorf("in force is\n%s\nwas\n%s", after, before)
	}
	// What is unusual, and good all the same.
	for name, data := range map[string]string{"a mark": "\xef\xbb\xbf[rules]\nhold = \"12m\"\n", "line ends of Windows": "[rules]\r\nhold = \"13m\"\r\n"} {
		if out, errOut, code := command(t, "rules", "import", put(t, dir, "odd.toml", data), path); code != 0 || !strings.Contains(out, "  hold: 1") {
			t.Errorf("%s: %d\n%s%s", name, code, out, errOut)
		}
	}
}

// TestBadStores: check says so and ends with an error, as does what reads and what
// writes; nobody touches the file.
func TestBadStores(t *testing.T) {
	path, db := openedOnce(t)
	good, err := os.ReadFile(db)
	if err != nil {
		t.Fatal(err)
	}
	later := func() string { // a store of a program to come
		// The number stands behind its name; pages of data have no checksum.
		name, later := []byte("schema\x00\x00\x00\x00\x00\x00\x00"), bytes.Clone(good)
		found := 0
		for at := bytes.Index(later, name); at >= 0; found++ {
			later[at+len(name)] = 99
			next := bytes.Index(later[at+1:], name)
			if at += 1 + next; next < 0 {
				at = -1
			}
		}
		if found == 0 {
			t.Fatal("the store has no number of its schema")
		}
		return string(later)
	}()
	rules := put(t, t.TempDir(), "r.toml", "[rules]\nhold = \"12m\"\n")
	for name, c := range map[string]struct {
		data string
		says []string
	}{
		"text":            {strings.Repeat("holiday pictures ", 4000), []string{"is no drumturn store"}},
		"a building file": {plainBuilding, []string{"is no drumturn store"}},
		"cut short":       {string(good[:8192]), []string{"cut short", "restore a backup"}},
		"a beginning":     {string(good[:100]), []string{"is no drumturn store"}},
		"zeros":           {strings.Repeat("\x00", 64<<10), []string{"is no drumturn store"}},
		"a later version": {later, []string{"newer drumturn", "use the newer program"}},
	} {
		put(t, filepath.Dir(db), storeName, c.data)
		for _, args := range [][]string{
			{"check", "--offline", path}, {"rules", "export", path}, {"rules", "import", rules, path}, {"backup", path, "--to", t.TempDir()}, {"serve", path},
		} {
			refuses(t, name, append(c.says, db), args...)
		}
		if after, err := os.ReadFile(db); err != nil || string(after) != c.data {
			t.Errorf("%s: the store was touched (%v)", name, err)
		}
	}
	// One that is empty holds nothing to lose: the program begins anew, others say so.
	put(t, filepath.Dir(db), storeName, "")
	for _, args := range [][]string{{"check", "--offline", path}, {"rules", "export", path}, {"backup", path, "--to", t.TempDir()}} {
		refuses(t, "empty", []string{db, "it is empty", "restore a backup"}, args...)
	}
	if info, err := os.Stat(db); err != nil || info.Size() != 0 {
		t.Errorf("an empty store was written to: %v, %v", info, err)
	}
}

// TestLookingChangesNothing: check, an export, a look at rules and a backup leave a
// good store as it is, octet by octet.
func TestLookingChangesNothing(t *testing.T) {
	path, db := openedOnce(t)
	before, err := os.ReadFile(db)
	if err != nil {
		t.Fatal(err)
	}
	rules := put(t, t.TempDir(), "r.toml", "[rules]\nhold = \"12m\"\n")
	for _, args := range [][]string{{"check", "--offline", path}, {"rules", "export", path}, {"rules", "import", rules, path, "--look"}, {"backup", path, "--to", t.TempDir()}} {
		if out, errOut, code := command(t, args...); code != 0 {
			t.Errorf("%q: %d\n%s%s", args, code, out, errOut)
		}
		if after, err := os.ReadFile(db); err != nil || !bytes.Equal(before, after) {
			t.Errorf("%q changed the store (%v)", args, err)
		}
	}
}

// TestBadBackups: what is none is not restored, and the store that is there stays.
func TestBadBackups(t *testing.T) {
	path, db := openedOnce(t)
	before, err := os.ReadFile(db)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	file := put(t, dir, "file", "x")
	for from, says := range map[string]string{filepath.Join(dir, "none"): "there is no backup at", file: "is no backup", t.TempDir(): "is no backup"} {
		refuses(t, from, []string{from, says, "drumturn backup"}, "restore", from, path)
	}
	odd := t.TempDir()
	if err := os.Mkdir(filepath.Join(odd, storeName), 0o700); err != nil {
		t.Fatal(err)
	}
	refuses(t, "a folder of the store's name", []string{odd}, "restore", odd, path)
	refuses(t, "a hole", []string{"nothing was replaced"}, "restore", filepath.Dir(hole(t, t.TempDir(), storeName)), path)
	if after, err := os.ReadFile(db); err != nil || !bytes.Equal(before, after) {
		t.Errorf("the store was touched (%v)", err)
	}
	if left := names(t, filepath.Dir(db)); slices.ContainsFunc(left, func(name string) bool {
		return strings.HasPrefix(name, "restor") || strings.HasPrefix(name, "replaced")
	}) {
		t.Errorf("left behind is %q", left)
	}
}

// TestInitWritesOverNothing, whatever is there.
func TestInitWritesOverNothing(t *testing.T) {
	dir := t.TempDir()
	link := filepath.Join(dir, "link.toml")
	if err := os.Symlink(filepath.Join(dir, "nowhere"), link); err != nil {
		t.Fatal(err)
	}
	for name, path := range map[string]string{
		"a file": put(t, dir, "b.toml", "# mine\n"), "an empty file": put(t, dir, "empty.toml", ""), "a folder": dir, "a link to nothing": link, "a device": os.DevNull,
	} {
		refuses(t, name, []string{path, "left as it is", "drumturn init another.toml"}, "init", path)
	}
	if text, err := os.ReadFile(filepath.Join(dir, "b.toml")); err != nil || string(text) != "# mine\n" {
		t.Errorf("%q, %v", text, err)
	}
	if _, err := os.Stat(filepath.Join(dir, "nowhere")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("written behind the link: %v", err)
	}
}

// full is a disk without room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, syscall.ENOSPC }

// TestDiskFull: what could not be written is an error, and a file that was to be
// replaced is still whole.
func TestDiskFull(t *testing.T) {
	path, _ := openedOnce(t)
	if _, err := os.Stat("/dev/full"); err == nil {
		refuses(t, "a full disk", []string{"the house rules were not written", "no space left", "name another file"}, "rules", "export", path, "--to", "/dev/full")
	}
	for _, args := range [][]string{{"init", "--print"}, {"rules", "export", path}} {
		var errOut bytes.Buffer
		if code := run(t.Context(), args, full{}, &errOut); code != 1 || !strings.Contains(errOut.String(), "no space left") {
			t.Errorf("%q into a full disk: %d %s", args, code, errOut.String())
		}
	}
	refuses(t, "a folder", []string{"the house rules were not written", "name another file"}, "rules", "export", path, "--to", t.TempDir())
	refuses(t, "a backup into a file", []string{path}, "backup", path, "--to", path)
	to := put(t, t.TempDir(), "rules.toml", "# older\n")
	if out, errOut, code := command(t, "rules", "export", path, "--to", to); code != 0 {
		t.Errorf("%d\n%s%s", code, out, errOut)
	}
	if left := names(t, filepath.Dir(to)); len(left) != 1 {
		t.Errorf("beside the rules is left %q", left)
	}
}
