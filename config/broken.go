package config

import (
	"bytes"
	"errors"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// skip reports what the parser could not read and returns where to go on: the
// line after it. done is the offset behind the last thing that was read.
func (r *reader) skip(err error, done int) int {
	offset := done
	if perr, ok := errors.AsType[*unstable.ParserError](err); ok {
		offset = r.base + int(r.parser.Range(perr.Highlight).Offset)
	}
	begin := r.firstLine(done)
	line := max(r.lines.at(min(offset, max(len(r.data)-1, 0))), r.lines.at(begin))
	head := strings.TrimSpace(r.textOf(begin))
	n := r.brokenNode(head, r.lines.at(begin))
	r.say(n, line, "this line cannot be read: "+plain(err), adviceFor(head))
	return r.lines.start(line+1, len(r.data))
}

// firstLine is the offset of the first line at or after done with something in
// it. The rest of the line that done stands in is not looked at, unless done is
// at its start.
func (r *reader) firstLine(done int) int {
	line := r.lines.at(done)
	at := r.lines.start(line, len(r.data))
	if done > at {
		rest := strings.TrimSpace(r.textOf(done))
		if rest != "" && rest[0] != '#' && rest[0] != ']' {
			return done
		}
		line++
	}
	for ; line <= len(r.lines); line++ {
		at = r.lines.start(line, len(r.data))
		if text := strings.TrimSpace(r.textOf(at)); text != "" && text[0] != '#' {
			return at
		}
	}
	return min(done, len(r.data))
}

// textOf is what stands from offset to the end of its line.
func (r *reader) textOf(offset int) string {
	rest := r.data[min(offset, len(r.data)):]
	if i := bytes.IndexByte(rest, '\n'); i >= 0 {
		rest = rest[:i]
	}
	return string(rest)
}

// brokenNode remembers that a setting is there although its value cannot be
// read, so that it is not also reported as missing. After a header that cannot
// be read, nothing that follows can be judged.
func (r *reader) brokenNode(head string, line int) *node {
	if strings.HasPrefix(head, "[") {
		r.lost, r.at = true, nil
		return nil
	}
	key, _, _ := splitSetting(head)
	if r.at == nil || key == "" || r.at.child(key) != nil {
		return nil
	}
	return r.at.put(key, &node{shape: brokenShape, line: line})
}

// plain puts the parser's message into plainer words where they are known.
func plain(err error) string {
	text := strings.ToValidUTF8(err.Error(), "?")
	switch {
	case strings.Contains(text, "at start of value"):
		return "what stands after the = is neither a text in quotes nor a number, true or false"
	case strings.HasPrefix(text, "expected newline"):
		return "there is something left over at its end"
	}
	return text
}

// splitSetting finds the name at the begin of a line, and what stands after the
// = that follows it, if one does.
func splitSetting(head string) (key, value string, assigned bool) {
	end := strings.IndexFunc(head, func(r rune) bool { return !isBareRune(r) })
	if end < 0 {
		end = len(head)
	}
	value, assigned = strings.CutPrefix(strings.TrimSpace(head[end:]), "=")
	return head[:end], strings.TrimSpace(value), assigned
}

// adviceFor says how a line that starts as head should look.
func adviceFor(head string) string {
	key, value, assigned := splitSetting(head)
	switch {
	case strings.HasPrefix(head, "[["):
		return "write a header in doubled square brackets alone on its line, such as [[rooms.cellar.machines]]"
	case strings.HasPrefix(head, "["):
		return "write a header in square brackets alone on its line, such as [rooms.cellar]"
	case key != "" && !assigned:
		return `write an = between the name and the value, as in name = "text"`
	case strings.HasPrefix(value, `"`), strings.Contains(value, `\`):
		return `close the text with a " on the same line, and write \\ for each \ in it`
	case key != "" && value != "" && !strings.ContainsAny(value[:1], `'[{`):
		// The value is not repeated: it may be a password.
		return `put a text in quotes, as in ` + key + ` = "text"`
	default:
		return `write one setting on a line, as name = "text" or name = 12, and close each bracket that was opened`
	}
}
