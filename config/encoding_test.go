package config_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf16"

	"drumturn/config"
)

// goodText is a good building file.
const goodText = head + room

// encoded is a text in UTF-16, as some editors save it; "big" or "little" first octets first.
func encoded(text, order string) string {
	var b strings.Builder
	for _, u := range append([]uint16{0xfeff}, utf16.Encode([]rune(text))...) {
		if order == "big" {
			b.Write([]byte{byte(u >> 8), byte(u)})
		} else {
			b.Write([]byte{byte(u), byte(u >> 8)})
		}
	}
	return b.String()
}

// TestFilesOfAnotherKind are refused once, with what they are: not line by line, and
// not for the sections that they lack.
func TestFilesOfAnotherKind(t *testing.T) {
	for name, c := range map[string]struct {
		data string
		line int
		says string
	}{
		"UTF-16, little end first":          {encoded(goodText, "little"), 1, "UTF-16"},
		"UTF-16, big end first":             {encoded(goodText, "big"), 1, "UTF-16"},
		"UTF-16 without its mark":           {encoded(goodText, "little")[2:], 2, "no text file"},
		"Latin-1 in a name":                 {strings.Replace(goodText, "Plover Yard", "Gr\xfcner Hof", 1), 3, "another encoding"},
		"Latin-1 in a comment":              {goodText + "# K\xfcche\n", 1 + strings.Count(goodText, "\n"), "another encoding"},
		"a program":                         {"\x7fELF\x02\x01\x01\x00\x00", 1, "no text file"},
		"a database":                        {"SQLite format 3\x00\x10\x00", 1, "no text file"},
		"a picture":                         {"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", 3, "no text file"},
		"a compressed file":                 {"\x1f\x8b\x08\x00\x00", 1, "no text file"},
		"zeros":                             {strings.Repeat("\x00", 4096), 1, "no text file"},
		"JSON":                              {"{\n  \"building\": {}\n}\n", 1, "JSON"},
		"JSON, indented":                    {"\n  {\"building\": 1}", 1, "JSON"},
		"a web page":                        {"<!doctype html>\n<title>building.toml</title>", 1, "web page"},
		"XML":                               {"<?xml version=\"1.0\"?><a/>", 1, "web page"},
		"a mark, then a web page":           {"\xef\xbb\xbf<html>", 1, "web page"},
		"an octet that begins no character": {"[building]\n\x80", 2, "another encoding"},
		"a character cut off":               {"[building]\nname = \"\xe2\x82", 2, "another encoding"},
	} {
		_, err := config.Parse("b.toml", []byte(c.data), config.Options{})
		all := problemsOf(err)
		if len(all) != 1 || all[0].Line != c.line || all[0].File != "b.toml" || !strings.Contains(all[0].Wrong, c.says) || all[0].Right == "" {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := config.ParseRules("r.toml", []byte(c.data)); len(problemsOf(err)) != 1 {
			t.Errorf("%s as house rules: %v", name, err)
		}
	}
}

// problemsOf are those of a refused file.
func problemsOf(err error) []config.Problem {
	if e, ok := err.(*config.Error); ok {
		return e.Problems
	}
	return nil
}

// TestOrdinaryTextsAreTaken: with the mark of UTF-8, with line ends of either kind,
// and with letters of any script.
func TestOrdinaryTextsAreTaken(t *testing.T) {
	for name, data := range map[string]string{
		"as it is": goodText, "with a mark": "\xef\xbb\xbf" + goodText, "line ends of Windows": strings.ReplaceAll(goodText, "\n", "\r\n"),
		"Arabic": strings.Replace(goodText, "Plover Yard", "الفناء الشمالي", 1), "beyond 16 bits": strings.Replace(goodText, "Plover Yard", "Hof 𝔾", 1),
	} {
		if _, err := config.Parse("b.toml", []byte(data), config.Options{}); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestReadRules: what cannot be read says why and how to mend it.
func TestReadRules(t *testing.T) {
	dir := t.TempDir()
	large := filepath.Join(dir, "large.toml")
	f, err := os.Create(large)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Truncate(100 << 20); err != nil { // a hole: no disk is used
		t.Fatal(err)
	}
	_ = f.Close()
	for path, says := range map[string]string{filepath.Join(dir, "none"): "does not exist", dir: "a folder", large: "larger than"} {
		_, err := config.ReadRules(path)
		if err == nil || !strings.Contains(err.Error(), says) || !strings.Contains(err.Error(), path) || !strings.Contains(err.Error(), "drumturn rules export") {
			t.Errorf("%s: %v", path, err)
		}
	}
	good := filepath.Join(dir, "rules.toml")
	if err := os.WriteFile(good, []byte("[rules]\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if text, err := config.ReadRules(good); err != nil || string(text) != "[rules]\n" {
		t.Errorf("%q, %v", text, err)
	}
}
