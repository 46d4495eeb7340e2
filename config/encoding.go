package config

import (
	"bytes"
	"unicode/utf8"
)

// notText says what is wrong with a file that is no text in UTF-8, or clearly of
// another kind, in which line, and how to mend it; wrong is empty when all is well.
// Such a file would else be refused line by line, which says nothing.
func notText(data []byte) (line int, wrong, right string) {
	switch first := bytes.TrimLeft(data, " \t\r\n"); {
	case bytes.HasPrefix(data, []byte("\xff\xfe")), bytes.HasPrefix(data, []byte("\xfe\xff")):
		return 1, "the file is in the encoding UTF-16", "save it again as UTF-8; editors ask for that in “Save as”"
	case bytes.IndexByte(data, 0) >= 0:
		return 1 + bytes.Count(data[:bytes.IndexByte(data, 0)], []byte("\n")), "this is no text file", "correct its name: a text with settings such as name = \"Cellar\" is wanted"
	case bytes.HasPrefix(first, []byte("{")):
		return 1, "this looks like JSON", "write it as TOML, one setting on a line such as name = \"Cellar\"; drumturn init --print shows how"
	case bytes.HasPrefix(first, []byte("<")):
		return 1, "this looks like a web page (HTML or XML)", "save the file itself rather than the page that shows it"
	}
	for at := 0; at < len(data); {
		r, size := utf8.DecodeRune(data[at:])
		if r == utf8.RuneError && size == 1 {
			line = 1 + bytes.Count(data[:at], []byte("\n"))
			return line, "there is a character in another encoding than UTF-8", "save the file again as UTF-8; editors ask for that in “Save as”"
		}
		at += size
	}
	return 0, "", ""
}
